"""Stamps are read by a named convention only, exactly; ounces and square feet likewise."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalog.stamps import DECIMAL, DM2, QUARTERS, TENTHS, ounces_to_um, square_feet_to_dm2, stamp_um2
from catalog.units import DM2_UM2, SQUARE_FOOT_UM2


@pytest.mark.parametrize(
    ("stamp", "convention", "square_feet"),
    [
        ("2/1", QUARTERS, Fraction(9, 4)),
        ("2/0", QUARTERS, Fraction(2)),
        ("18.2", QUARTERS, Fraction(37, 2)),
        ("18.2", TENTHS, Fraction(91, 5)),
        ("18", TENTHS, Fraction(18)),
        ("23.25", DECIMAL, Fraction(93, 4)),
        (" 4/1 ", QUARTERS, Fraction(17, 4)),
    ],
)
def test_the_same_stamp_is_another_area_under_another_convention(
    stamp: str, convention: str, square_feet: Fraction
) -> None:
    assert stamp_um2(stamp, convention) == square_feet * SQUARE_FOOT_UM2


def test_square_decimeters_are_read_as_they_stand() -> None:
    assert stamp_um2("18.6", DM2) == Fraction(186, 10) * DM2_UM2


@pytest.mark.parametrize(
    ("stamp", "convention", "says"),
    [
        ("4/4", QUARTERS, "'4/4' names 4 quarters; a stamp in quarters ends in 0, 1, 2 or 3"),
        ("2/5", QUARTERS, "'2/5' names 5 quarters"),
        ("23.4", QUARTERS, "'23.4' names 4 quarters"),
        ("23.25", QUARTERS, "'23.25' names 25 quarters"),
        ("2-1", QUARTERS, "'2-1' is not feet and quarters"),
        ("", QUARTERS, "'' is not feet and quarters"),
        ("0/0", QUARTERS, "says that there is no leather"),
        ("18.25", TENTHS, "more than one figure after the point"),
        ("18/2", TENTHS, "'18/2' is not feet and tenths"),
        ("18,6", DM2, "'18,6' is not a number of square decimeters"),
        ("-3", DECIMAL, "'-3' is not a number of square feet"),
        ("٢/1", QUARTERS, "is not feet and quarters"),
        ("2/1", "unknown", "'unknown' is no way to read a stamp"),
        ("2/1", "", "'' is no way to read a stamp"),
    ],
)
def test_a_stamp_that_cannot_be_meant_is_refused_and_the_reason_told(stamp: str, convention: str, says: str) -> None:
    with pytest.raises(ValueError, match=says.replace("'", ".").replace("?", ".")):
        stamp_um2(stamp, convention)


@given(st.text(max_size=12), st.sampled_from([QUARTERS, TENTHS, DECIMAL, DM2, "unknown"]))
def test_any_text_is_a_positive_area_or_refused(stamp: str, convention: str) -> None:
    try:
        area = stamp_um2(stamp, convention)
    except ValueError:
        return
    assert area > 0


@given(st.integers(1, 9_999), st.integers(0, 3))
def test_quarters_written_with_a_stroke_or_a_point_are_the_same(feet: int, quarters: int) -> None:
    assert stamp_um2(f"{feet}/{quarters}", QUARTERS) == stamp_um2(f"{feet}.{quarters}", QUARTERS)


def test_conversions_are_exact() -> None:
    assert ounces_to_um(4) == Fraction(3_175, 2)
    assert ounces_to_um(Fraction(1, 2)) * 2 == ounces_to_um(1)
    assert square_feet_to_dm2(1) == Fraction(9_290_304, 1_000_000)
