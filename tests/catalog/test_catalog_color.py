"""Colors: whole thousandths leave, the same whichever way round."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalog.color import de00_milli, swatch

_hex = st.integers(0, 0xFFFFFF).map(lambda value: f"#{value:06x}")


def test_a_swatch_keeps_its_hex_and_has_lightness_in_thousandths() -> None:
    found = swatch("#4A1420")
    assert found.srgb == "#4a1420"
    assert found.lightness_milli == 15_802
    assert swatch("#000000").lightness_milli == 0
    assert swatch("#ffffff").lightness_milli == 100_000


@pytest.mark.parametrize("text", ["red", "#fff", "4a1420", "#4a142", "#4a14200", "#4a142g", "", "#\uff14a1420"])
def test_what_is_no_hex_color_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="expected a color"):
        swatch(text)


@given(_hex, _hex)
def test_a_distance_is_symmetric_and_zero_only_to_itself(first: str, second: str) -> None:
    a, b = swatch(first), swatch(second)
    assert de00_milli(a, b) == de00_milli(b, a) >= 0
    assert de00_milli(a, a) == 0


@pytest.mark.parametrize(
    ("first", "second", "tenths"),
    [
        ("#9a5a2a", "#a8743f", 96),
        ("#4a1420", "#541a26", 23),
        ("#1c2745", "#1d2744", 4),
        ("#c8553d", "#cf5b43", 23),
        ("#c8553d", "#c8553f", 6),
        ("#9a5a2a", "#c8553f", 142),
        ("#17161a", "#151515", 33),
        ("#17161a", "#1b1a19", 39),
        ("#17161a", "#1a1a1c", 21),
        ("#1b1a19", "#1c1b1b", 9),
    ],
)
def test_distances_of_the_demo_are_those_worked_out_for_it_to_a_tenth(first: str, second: str, tenths: int) -> None:
    assert abs(de00_milli(swatch(first), swatch(second)) - 100 * tenths) <= 50
