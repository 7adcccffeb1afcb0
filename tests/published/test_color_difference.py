"""CIEDE2000 against the published test data.

Source: Sharma, Wu and Dalal, Color Res. Appl. 30(1), 2005, table 1, doi 10.1002/col.20070. The
pairs were chosen by the authors to catch the usual mistakes (mean hue, hue over 180 degrees).
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from catalog.color import de00
from catalog.model import Lab

with (Path(__file__).parent / "data" / "ciede2000_sharma2005.csv").open(encoding="utf-8", newline="") as _file:
    PAIRS = list(csv.DictReader(_file))


def lab(row: dict[str, str], which: int) -> Lab:
    """Return one of the two colors of a row."""
    return (float(row[f"L{which}"]), float(row[f"a{which}"]), float(row[f"b{which}"]))


def test_all_34_pairs_are_here() -> None:
    assert [int(row["pair"]) for row in PAIRS] == list(range(1, 35))


@pytest.mark.parametrize("row", PAIRS, ids=lambda row: f"pair {row['pair']}")
def test_a_pair_is_as_far_apart_as_published_to_4_decimals(row: dict[str, str]) -> None:
    first, second = lab(row, 1), lab(row, 2)
    assert f"{de00(first, second):.4f}" == row["de00"]
    assert f"{de00(second, first):.4f}" == row["de00"]
