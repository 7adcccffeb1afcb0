"""Layout: limits, soundness, laws. Sizes in micrometers."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.layout import EXACT_UP_TO, Layout, Piece, Placement, Rect, lay_out, verify

ONE = Piece(86_000, 66_000, turnable=False, count=1, label="card.pocket")


def assert_sound(layout: Layout, pieces: list[Piece], rects: list[Rect], gap_um: int) -> None:
    """Restate what a layout is, apart from :func:`verify`: by pairs and by sorted lists."""
    boxes = [
        (
            p.rect,
            p.at_along_um,
            p.at_across_um,
            p.at_along_um + p.along_um,
            p.at_across_um + p.across_um,
        )
        for p in layout.placements
    ]
    for rect, a0, b0, a1, b1 in boxes:
        assert 0 <= a0 < a1 <= rects[rect].along_um
        assert 0 <= b0 < b1 <= rects[rect].across_um
    for i, (r, a0, b0, a1, b1) in enumerate(boxes):
        for q, c0, d0, c1, d1 in boxes[:i]:
            apart = max(c0 - a1, a0 - c1, d0 - b1, b0 - d1)
            assert r != q or apart >= gap_um
    lying = sorted(
        (p.label, p.across_um, p.along_um) if p.turned else (p.label, p.along_um, p.across_um)
        for p in layout.placements
    )
    asked = sorted((p.label, p.along_um, p.across_um) for p in pieces for _ in range(p.count))
    assert lying == asked
    fixed = {p.label for p in pieces if not p.turnable}
    assert not any(p.turned and p.label in fixed for p in layout.placements)


def found(pieces: list[Piece], rects: list[Rect], gap_um: int = 0) -> bool:
    """Lay out, check soundness when found and exactness in its range."""
    layout = lay_out(pieces, rects, gap_um)
    verify(layout, pieces, rects, gap_um)
    if layout.found:
        assert_sound(layout, pieces, rects, gap_um)
    if sum(p.count for p in pieces) <= EXACT_UP_TO:
        assert layout.exact
    return layout.found


def test_nothing_to_lay_out_lies_anywhere() -> None:
    assert lay_out([], [], 0) == Layout(found=True, placements=(), exact=True)
    assert lay_out([replace(ONE, count=0)], [], 0).found


def test_a_panel_lies_in_its_own_size_and_not_one_um_less() -> None:
    assert found([ONE], [Rect(86_000, 66_000)], gap_um=3_000)
    assert not found([ONE], [Rect(85_999, 66_000)])
    assert not found([ONE], [Rect(86_000, 65_999)])


def test_only_a_turnable_panel_is_turned() -> None:
    assert not found([ONE], [Rect(66_000, 86_000)])
    assert found([replace(ONE, turnable=True)], [Rect(66_000, 86_000)])
    assert lay_out([replace(ONE, turnable=True)], [Rect(66_000, 86_000)], 0).placements[0].turned


@pytest.mark.parametrize("turnable", [False, True])
def test_two_panels_keep_the_gap_to_the_um(turnable: bool) -> None:
    pair = [replace(ONE, count=2, turnable=turnable)]
    assert found(pair, [Rect(175_000, 66_000)], gap_um=3_000)
    assert not found(pair, [Rect(174_999, 66_000)], gap_um=3_000)
    assert not found(pair, [Rect(175_000, 66_000)], gap_um=3_001)


def test_a_panel_is_never_split_over_two_rectangles() -> None:
    assert not found([ONE], [Rect(43_000, 66_000), Rect(43_000, 66_000)])
    assert found([replace(ONE, count=2)], [Rect(86_000, 66_000)] * 2)
    assert not found([replace(ONE, count=3)], [Rect(86_000, 66_000)] * 2)


def test_a_pinwheel_that_no_straight_cuts_make_is_found() -> None:
    arms = [
        Piece(60, 40, False, 2, "a"),
        Piece(40, 60, False, 2, "b"),
        Piece(20, 20, False, 1, "c"),
    ]
    assert found(arms, [Rect(100, 100)])
    assert not found(arms, [Rect(100, 99)])
    assert not found([*arms, Piece(1, 1, False, 1, "d")], [Rect(100, 100)])


def test_an_overhang_on_both_sides_of_a_high_panel_is_found() -> None:
    """A layout in which no panel stands in the corner of the lowest niche."""
    pieces = [
        Piece(3, 4, False, 2, "wall"),
        Piece(4, 6, False, 2, "over"),
        Piece(2, 10, False, 1, "high"),
    ]
    assert found(pieces, [Rect(10, 10)])


@pytest.mark.parametrize(("across", "expected"), [(380, True), (379, False)])
def test_the_plain_grid_of_many_equal_panels_is_found(across: int, expected: bool) -> None:
    cards = [Piece(50, 38, turnable=False, count=50, label="card")]
    assert found(cards, [Rect(250, across)]) is expected
    assert lay_out(cards, [Rect(250, across)], 0).exact


def test_a_common_quantity_lies_above_the_exact_range() -> None:
    pockets = [Piece(86_000, 66_000, turnable=False, count=16, label="pocket")]
    assert found(pockets, [Rect(4 * 86_000 + 9_000, 4 * 66_000 + 9_000)], gap_um=3_000)
    assert not found(pockets, [Rect(4 * 86_000 + 8_999, 4 * 66_000 + 9_000)], gap_um=3_000)


def test_five_hundred_panels_get_an_answer() -> None:
    rng = random.Random(7)
    pieces = [Piece(rng.randint(20, 90), rng.randint(20, 90), i % 2 == 0, 1, str(i)) for i in range(500)]
    area = sum(p.along_um * p.across_um for p in pieces)
    side = int((2 * area) ** 0.5)
    assert found([Piece(50, 38, True, 500, "card")], [Rect(1000, 1000)])
    lay_out(pieces, [Rect(side, side)], 0)
    assert not found(pieces, [Rect(side // 2, side // 2)])


def test_equal_sizes_keep_their_labels() -> None:
    pieces = [
        Piece(20, 10, True, 1, "a"),
        Piece(10, 20, True, 1, "b"),
        Piece(20, 10, False, 1, "c"),
    ]
    assert found(pieces, [Rect(20, 30)])


@pytest.mark.parametrize(
    ("piece", "rect", "gap_um"),
    [
        (replace(ONE, along_um=0), Rect(1, 1), 0),
        (replace(ONE, across_um=-1), Rect(1, 1), 0),
        (replace(ONE, count=-1), Rect(1, 1), 0),
        (ONE, Rect(0, 1), 0),
        (ONE, Rect(1, 1), -1),
    ],
)
def test_impossible_sizes_are_refused(piece: Piece, rect: Rect, gap_um: int) -> None:
    with pytest.raises(ValueError, match="must"):
        lay_out([piece], [rect], gap_um)


AT = Placement("a", 0, 0, 0, 20, 10, turned=False)
NEXT = replace(AT, label="b", at_across_um=12)
ASKED = [Piece(20, 10, False, 1, "a"), Piece(20, 10, False, 1, "b")]


@pytest.mark.parametrize(
    ("layout", "fault"),
    [
        (Layout(False, (AT,), True), "not found"),
        (Layout(True, (AT,), True), "asked"),
        (Layout(True, (AT, AT), True), "asked"),
        (Layout(True, (AT, replace(NEXT, at_across_um=11)), True), "closer"),
        (Layout(True, (AT, replace(NEXT, at_across_um=13)), True), "reaches over"),
        (Layout(True, (AT, replace(NEXT, at_along_um=-1)), True), "reaches over"),
        (Layout(True, (AT, replace(NEXT, rect=1)), True), "no rectangle"),
        (Layout(True, (AT, replace(NEXT, along_um=10, across_um=20, turned=True)), True), "turned"),
    ],
)
def test_verify_names_the_fault(layout: Layout, fault: str) -> None:
    verify(Layout(True, (AT, NEXT), True), ASKED, [Rect(20, 22)], 2)
    with pytest.raises(ValueError, match=fault):
        verify(layout, ASKED, [Rect(20, 22)], 2)


def pieces_of(most: int, side: int = 12) -> st.SearchStrategy[list[Piece]]:
    """Up to ``most`` panels of sizes 1 to ``side``, each its own label."""
    size = st.integers(1, side)
    kind = st.tuples(size, size, st.booleans(), st.integers(1, 3))
    lists = st.lists(kind, min_size=1, max_size=most // 2).filter(lambda kinds: sum(k[3] for k in kinds) <= most)
    return lists.map(lambda kinds: [Piece(*k, label=str(i)) for i, k in enumerate(kinds)])


RECTS = st.lists(st.builds(Rect, st.integers(4, 24), st.integers(4, 24)), min_size=1, max_size=3)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(pieces_of(40), RECTS, st.integers(0, 3))
def test_what_is_found_is_sound_at_any_count(pieces: list[Piece], rects: list[Rect], gap_um: int) -> None:
    found(pieces, rects, gap_um)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(pieces_of(10), RECTS, st.integers(0, 1), st.data())
def test_more_room_or_fewer_panels_never_turn_yes_into_no(
    pieces: list[Piece], rects: list[Rect], gap_um: int, data: st.DataObject
) -> None:
    if not found(pieces, rects, gap_um):
        return
    assert found(pieces, [*rects, data.draw(RECTS)[0]], gap_um)
    i = data.draw(st.integers(0, len(rects) - 1))
    grown = replace(rects[i], along_um=rects[i].along_um + data.draw(st.integers(1, 4)))
    assert found(pieces, [*rects[:i], grown, *rects[i + 1 :]], gap_um)
    i = data.draw(st.integers(0, len(pieces) - 1))
    less = replace(pieces[i], count=pieces[i].count - 1)
    assert found([*pieces[:i], less, *pieces[i + 1 :]], rects, gap_um)
    turnable = replace(pieces[i], turnable=True)
    assert found([*pieces[:i], turnable, *pieces[i + 1 :]], rects, gap_um)
    assert gap_um == 0 or found(pieces, rects, gap_um - 1)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(pieces_of(20), RECTS, st.integers(0, 1), st.randoms(use_true_random=False))
def test_the_order_of_pieces_and_rectangles_is_irrelevant(
    pieces: list[Piece], rects: list[Rect], gap_um: int, rng: random.Random
) -> None:
    layout = lay_out(pieces, rects, gap_um)
    mixed = rng.sample(pieces, len(pieces))
    assert lay_out(mixed, rects, gap_um) == layout
    other = lay_out(mixed, rng.sample(rects, len(rects)), gap_um)
    assert (other.found, other.exact) == (layout.found, layout.exact)
