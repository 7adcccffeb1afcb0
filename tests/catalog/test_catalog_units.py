"""What people read: rounded half even to 3 decimals for show, exact underneath."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from catalog.units import DM2_UM2, OUNCE_UM, SQUARE_FOOT_UM2, UNITS, shown


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (1_400, "mm", "1.400"),
        (1, "mm", "0.001"),
        (Fraction(1, 2), "mm", "0.000"),
        (Fraction(3, 2), "mm", "0.002"),
        (2_351_500, "m", "2.352"),
        (2_350_500, "m", "2.350"),
        (29_830_000_000, "dm2", "2.983"),
        (Fraction(7, 50), "ratio", "0.140"),
        (2_313, "de00", "2.313"),
    ],
)
def test_a_value_is_shown_in_its_unit(value: int | Fraction, unit: str, text: str) -> None:
    assert shown(value, unit) == Decimal(text)


def test_the_constants_are_exact() -> None:
    assert Fraction("396.875") == OUNCE_UM
    assert Fraction(SQUARE_FOOT_UM2, DM2_UM2) == Fraction("9.290304")


def test_every_unit_is_listed_under_its_symbol() -> None:
    assert all(unit.symbol == symbol and unit.per >= 1 for symbol, unit in UNITS.items())
