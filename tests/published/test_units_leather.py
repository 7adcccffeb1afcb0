"""Ounces and square feet against their exact definitions.

Source: 1 in = 25.4 mm exactly (yard and pound agreement, 1959); the leather ounce is 1/64 in,
the foot 12 in. Trade tables round the ounce to 0.4 mm.
"""

from __future__ import annotations

import csv
from fractions import Fraction
from pathlib import Path

import pytest

from catalog.stamps import ounces_to_um, square_feet_to_dm2

DATA = Path(__file__).parent / "data"


def rows(name: str) -> list[dict[str, str]]:
    """Return the rows of a table."""
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", rows("leather_ounce_to_mm.csv"), ids=lambda row: f"{row['ounces']} oz")
def test_ounces_are_64ths_of_an_inch(row: dict[str, str]) -> None:
    millimeters = ounces_to_um(Fraction(row["ounces"])) / 1000
    irons = millimeters / Fraction("25.4") * 48
    assert abs(millimeters - Fraction(row["mm_exact"])) <= Fraction(1, 2 * 10**6)
    assert abs(millimeters - Fraction(row["mm_trade_rule_0_4"])) <= millimeters / 100
    assert abs(irons - Fraction(row["irons_1_48in"])) <= Fraction(1, 2 * 10**4)


@pytest.mark.parametrize("row", rows("square_feet_to_dm2.csv"), ids=lambda row: f"{row['square_feet']} sq ft")
def test_square_feet_are_exact_square_decimeters(row: dict[str, str]) -> None:
    assert square_feet_to_dm2(Fraction(row["square_feet"])) == Fraction(row["dm2"])
