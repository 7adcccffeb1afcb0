"""Fold strain against the bend formula of a textbook.

Source: a manufacturing-engineering textbook, 6th edition, equations 16.2 to 16.4, p. 418:
e = 1 / (2R/T + 1) for the outer fiber, and from it the least radius R = T (1 - e) / 2e. The
table holds numbers computed from those equations; the formula was read, not recalled.
"""

from __future__ import annotations

import csv
from fractions import Fraction
from pathlib import Path

import pytest

from rules.measures.folds import bend_strain

DATA = Path(__file__).parent / "data"


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def um(mm: str) -> Fraction:
    return Fraction(mm) * 1000


@pytest.mark.parametrize(
    "row", rows("bend_strain_cases.csv"), ids=lambda row: f"{row['thickness_mm']}-{row['inside_radius_mm']}"
)
def test_strain_at_a_bend_is_the_textbook_formula(row: dict[str, str]) -> None:
    ours = bend_strain(int(um(row["thickness_mm"])), int(um(row["inside_radius_mm"])))
    assert abs(ours - Fraction(row["outer_strain_mid_axis"])) <= Fraction(1, 2_000_000), "six decimals are printed"


@pytest.mark.parametrize(
    "row", rows("min_bend_radius_cases.csv"), ids=lambda row: f"{row['thickness_mm']}-{row['allowed_outer_strain']}"
)
def test_at_the_least_radius_the_strain_is_just_allowed(row: dict[str, str]) -> None:
    """A radius at the textbook's least passes; a hundredth of a millimeter less is over."""
    thickness, allowed = um(row["thickness_mm"]), Fraction(row["allowed_outer_strain"])
    radius = um(row["min_inside_radius_mm"])
    assert bend_strain(int(thickness), int(radius) + 1) <= allowed
    assert bend_strain(int(thickness), int(radius) - 10) > allowed
