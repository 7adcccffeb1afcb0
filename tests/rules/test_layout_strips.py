"""Strips of one size: sound, and better than a plain grid where the leftover suits the other way."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from rules.layout import Piece, Rect, lay_out, verify
from rules.layout.panels import Kind, Sheet
from rules.layout.strips import strip


def test_fourteen_pockets_lie_in_a_coral_goat_of_380_by_260() -> None:
    """Worked by hand: two strips of five turned (86 across each) and one of four upright: 86+3+86+3+66 = 244."""
    pockets = [Piece(86_000, 66_000, True, 14, "pocket")]
    lot = [Rect(380_000, 260_000)]
    layout = lay_out(pockets, lot, 3_000)
    verify(layout, pockets, lot, 3_000)
    assert layout.found


@given(
    along=st.integers(5, 60), across=st.integers(5, 60), turnable=st.booleans(), copies=st.integers(1, 40),
    sheets=st.lists(st.tuples(st.integers(5, 200), st.integers(5, 200)), min_size=1, max_size=3), gap=st.integers(0, 4),
)  # fmt: skip
@settings(max_examples=200, deadline=None)
def test_strips_are_sound_and_hold_at_least_the_plain_grid(
    along: int, across: int, turnable: bool, copies: int, sheets: list[tuple[int, int]], gap: int
) -> None:
    kind = Kind(along + gap, across + gap, turnable, copies)
    wide = [Sheet(a + gap, b + gap) for a, b in sheets]
    grid = sum((sheet.along // kind.along) * (sheet.across // kind.across) for sheet in wide)
    spots = strip([kind], wide)
    if copies <= grid:
        assert spots is not None
    if spots is not None:
        assert len(spots) == copies
        piece = [Piece(along, across, turnable, copies, "panel")]
        rects = [Rect(a, b) for a, b in sheets]
        layout = lay_out(piece, rects, gap)
        assert layout.found
        verify(layout, piece, rects, gap)
        taken: set[tuple[int, int, int]] = set()
        for spot in spots:
            size = (kind.across, kind.along) if spot.turned else (kind.along, kind.across)
            assert spot.at_along + size[0] <= wide[spot.sheet].along
            assert spot.at_across + size[1] <= wide[spot.sheet].across
            cells = {
                (spot.sheet, a, b)
                for a in range(spot.at_along, spot.at_along + size[0])
                for b in range(spot.at_across, spot.at_across + size[1])
            }
            assert not cells & taken
            taken |= cells


def test_several_sizes_are_left_to_the_other_searches() -> None:
    assert strip([Kind(5, 5, False, 1), Kind(4, 4, False, 1)], [Sheet(50, 50)]) is None
