"""What is left of a lot after a cut. Sizes in micrometers."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from catalog.model import HeldPanel
from rules.layout import Piece, Rect, lay_out
from rules.offcut import left_after

GAP = 3_000
SHELL = Rect(330_000, 235_000)
BACK = HeldPanel(99_000, 235_000, turnable=False, count=1)
POCKET = HeldPanel(66_000, 98_000, turnable=True, count=1)


def area(rects: tuple[Rect, ...]) -> int:
    return sum(rect.along_um * rect.across_um for rect in rects)


def sizes(most: int) -> st.SearchStrategy[HeldPanel]:
    side = st.integers(5, 60).map(lambda n: n * 1_000)
    return st.builds(HeldPanel, side, side, st.booleans(), st.integers(0, most))


RECTS = st.lists(st.builds(Rect, *[st.integers(20, 150).map(lambda n: n * 1_000)] * 2), max_size=3)


def test_a_panel_over_the_whole_width_leaves_one_rectangle_behind_it() -> None:
    assert left_after([SHELL], [BACK], [], GAP) == (Rect(228_000, 235_000),)


def test_a_panel_in_a_corner_leaves_the_split_whose_larger_part_is_larger() -> None:
    panel = HeldPanel(100_000, 100_000, turnable=False, count=1)
    left = left_after([SHELL], [panel], [], GAP)
    assert left == (Rect(227_000, 235_000), Rect(100_000, 132_000))


def test_the_other_split_is_taken_where_only_it_keeps_what_is_held() -> None:
    panel = HeldPanel(100_000, 100_000, turnable=False, count=1)
    strap = HeldPanel(330_000, 30_000, turnable=False, count=1)
    left = left_after([SHELL], [panel], [strap], GAP)
    assert left == (Rect(227_000, 100_000), Rect(330_000, 132_000))


def test_the_rectangle_that_fits_best_is_cut_and_the_others_stay_in_their_places() -> None:
    rects = [SHELL, Rect(110_000, 240_000), Rect(50_000, 20_000)]
    assert left_after(rects, [BACK], [], GAP) == (SHELL, Rect(8_000, 240_000), Rect(99_000, 2_000), rects[2])


def test_a_cut_that_uses_everything_up_leaves_nothing() -> None:
    assert left_after([Rect(99_000, 235_000)], [BACK], [], GAP) == ()


def test_without_a_cut_everything_is_left() -> None:
    assert left_after([SHELL], [replace(BACK, count=0)], [POCKET], GAP) == (SHELL,)
    assert left_after([], [], [], GAP) == ()


def test_there_is_no_default_where_the_panels_do_not_lie() -> None:
    assert left_after([SHELL], [replace(BACK, count=4)], [], GAP) is None
    assert left_after([], [BACK], [], GAP) is None


def test_there_is_no_default_where_what_is_held_would_not_lie_any_more() -> None:
    assert left_after([SHELL], [BACK], [replace(BACK, count=2)], GAP) is not None
    assert left_after([SHELL], [replace(BACK, count=2)], [replace(BACK, count=2)], GAP) is None


def test_panels_round_a_hole_cannot_be_cut_from_edge_to_edge() -> None:
    wheel = [HeldPanel(60, 40, turnable=False, count=2), HeldPanel(40, 60, turnable=False, count=2)]
    assert lay_out([Piece(each.along_um, each.across_um, each.turnable, each.count) for each in wheel],
                   [Rect(100, 100)], 0).found  # fmt: skip
    assert left_after([Rect(100, 100)], wheel, [], 0) is None


def test_a_panel_with_a_direction_is_never_turned() -> None:
    across = Rect(235_000, 99_000)
    assert left_after([across], [BACK], [], GAP) is None
    assert left_after([across], [replace(BACK, turnable=True)], [], GAP) == ()
    assert left_after([SHELL, across], [BACK], [BACK], GAP) == (Rect(228_000, 235_000), across)
    assert left_after([SHELL, across], [replace(BACK, count=2)], [replace(BACK, count=2)], GAP) is None


def test_a_thousand_equal_panels_are_cut_in_rows() -> None:
    left = left_after([Rect(1_500_000, 1_500_000)], [HeldPanel(30_000, 30_000, turnable=False, count=1_000)], [], GAP)
    assert left is not None
    assert area((Rect(1_500_000, 1_500_000),)) - area(left) >= 1_000 * 30_000 * 30_000


def test_the_search_ends_where_the_last_of_many_panels_does_not_lie() -> None:
    assert left_after([SHELL], [HeldPanel(60_000, 50_000, turnable=True, count=24)], [], GAP) is None


@given(RECTS, st.lists(sizes(3), max_size=3), st.lists(sizes(2), max_size=2), st.sampled_from([0, 3_000]))
@settings(max_examples=150, deadline=None)
def test_what_is_kept_lies_in_what_is_left_and_no_area_comes_from_nowhere(
    rects: list[Rect], cut: list[HeldPanel], keep: list[HeldPanel], gap_um: int
) -> None:
    left = left_after(rects, cut, keep, gap_um)
    assert left == left_after(rects, cut, keep, gap_um)
    if left is None:
        return
    pieces = [Piece(each.along_um, each.across_um, each.turnable, each.count) for each in keep]
    assert lay_out(pieces, left, gap_um).found
    assert all(rect.along_um > 0 and rect.across_um > 0 for rect in left)
    assert area(left) <= area(tuple(rects)) - sum(each.along_um * each.across_um * each.count for each in cut)


@given(RECTS, sizes(1))
def test_one_panel_is_always_cut_where_it_lies(rects: list[Rect], panel: HeldPanel) -> None:
    piece = Piece(panel.along_um, panel.across_um, panel.turnable, panel.count)
    assert (left_after(rects, [panel], [], GAP) is not None) == lay_out([piece], rects, GAP).found
