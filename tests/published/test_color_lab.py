"""sRGB to CIELAB under D65, against a second library and against the standard's own constants.

Two libraries differ by up to 0.03 because each rounds the matrix of IEC 61966-2-1 (4 decimals in
the standard) and the white point in its own way; a difference that people see is 1 or more.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from catalog.color import swatch

TOLERANCE = 0.03

with (Path(__file__).parent / "data" / "srgb_lab_d65_second_library.csv").open(encoding="utf-8", newline="") as _file:
    ROWS = list(csv.DictReader(_file))

# IEC 61966-2-1:1999, sRGB to CIE XYZ, as printed, 4 decimals.
MATRIX = ((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505))
WHITE = tuple(sum(row) for row in MATRIX)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["hex"])
def test_lab_agrees_with_a_second_library(row: dict[str, str]) -> None:
    found = swatch(row["hex"]).lab
    published = [float(row[name]) for name in ("L_d65", "a_d65", "b_d65")]
    assert list(found) == pytest.approx(published, abs=TOLERANCE)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["hex"])
def test_lab_agrees_with_the_constants_of_the_standards(row: dict[str, str]) -> None:
    assert list(swatch(row["hex"]).lab) == pytest.approx(restated(row["hex"]), abs=TOLERANCE)


def restated(srgb: str) -> list[float]:
    """Compute Lab from IEC 61966-2-1 and CIE 15 (CIELAB), written out."""
    linear = [_linear(int(srgb[at : at + 2], 16) / 255) for at in (1, 3, 5)]
    xyz = [sum(c * v for c, v in zip(row, linear, strict=True)) for row in MATRIX]
    x, y, z = (_cube_root(value / white) for value, white in zip(xyz, WHITE, strict=True))
    return [116 * y - 16, 500 * (x - y), 200 * (y - z)]


def _linear(value: float) -> float:
    return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4


def _cube_root(value: float) -> float:
    return value ** (1 / 3) if value > (6 / 29) ** 3 else value / (3 * (6 / 29) ** 2) + 4 / 29
