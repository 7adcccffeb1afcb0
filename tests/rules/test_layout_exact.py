"""Layout within the exact range: equal to a solver that shares no code or idea with it."""

from __future__ import annotations

import random

import pytest

from rules.layout import EXACT_UP_TO, Piece, Rect, lay_out, verify
from rules.layout.assign import Assignment, lie_in_one
from rules.layout.budget import Budget, BudgetSpentError
from rules.layout.construct import construct
from rules.layout.panels import Kind, Sheet, enlarged
from rules.layout.settle import Settling, Strip
from rules.layout.sweep import Sweep

cp_model = pytest.importorskip("ortools.sat.python.cp_model", reason="ortools is not installed")

# 11 strips (start, end, across) that fill 7 columns of 12 and lie in no order.
KNOT = [(0, 4, 6), (0, 2, 5), (0, 5, 1), (2, 7, 3), (2, 5, 1), (2, 4, 1)]
KNOT += [(4, 7, 4), (4, 6, 3), (5, 6, 2), (6, 7, 4), (6, 7, 1)]


def solved(pieces: list[Piece], rects: list[Rect], gap_um: int) -> bool:
    """Ask OR-Tools CP-SAT: optional intervals per rectangle and turn, no overlap in two axes."""
    model = cp_model.CpModel()
    boxes: list[tuple[list[object], list[object]]] = [([], []) for _ in rects]
    for piece in pieces:
        for _ in range(piece.count):
            chosen = []
            sizes = {(piece.along_um, piece.across_um)}
            if piece.turnable:
                sizes.add((piece.across_um, piece.along_um))
            for rect, (along, across) in zip(rects, boxes, strict=True):
                for a, b in sorted(sizes):
                    if a > rect.along_um or b > rect.across_um:
                        continue
                    here = model.new_bool_var("")
                    x = model.new_int_var(0, rect.along_um - a, "")
                    y = model.new_int_var(0, rect.across_um - b, "")
                    along.append(model.new_optional_fixed_size_interval_var(x, a + gap_um, here, ""))
                    across.append(model.new_optional_fixed_size_interval_var(y, b + gap_um, here, ""))
                    chosen.append(here)
            model.add_exactly_one(chosen)
    for along, across in boxes:
        model.add_no_overlap_2d(along, across)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    status = solver.solve(model)
    assert status in (cp_model.OPTIMAL, cp_model.FEASIBLE, cp_model.INFEASIBLE)
    return bool(status != cp_model.INFEASIBLE)


def instance(rng: random.Random, most: int, turn: float) -> tuple[list[Piece], list[Rect], int]:
    """Draw panels that fill 75 to 100 % of one to three rectangles, gap counted."""
    rects = [Rect(rng.randint(8, 30), rng.randint(8, 30)) for _ in range(rng.choice((1, 1, 2, 3)))]
    gap_um = rng.choice((0, 0, 1))
    room = sum((r.along_um + gap_um) * (r.across_um + gap_um) for r in rects)
    target = room * rng.uniform(0.75, 1)
    while True:
        count = rng.randint(3, most)
        side = (target / count) ** 0.5
        pieces = []
        for i in range(count):
            along = max(1, round(side * rng.uniform(0.4, 1.9)) - gap_um)
            across = max(1, round(side * rng.uniform(0.4, 1.9)) - gap_um)
            pieces.append(Piece(along, across, rng.random() < turn, 1, str(i)))
        area = sum((p.along_um + gap_um) * (p.across_um + gap_um) for p in pieces)
        if 0.9 * target <= area <= room:
            return pieces, rects, gap_um


@pytest.mark.parametrize("seed", range(12))
def test_equal_to_a_solver_on_random_instances(seed: int) -> None:
    rng = random.Random(seed)
    answers = []
    for turn in (0, 0.5, 1):
        for _ in range(10):
            pieces, rects, gap_um = instance(rng, 12 if turn == 0 else 9, turn)
            layout = lay_out(pieces, rects, gap_um)
            verify(layout, pieces, rects, gap_um)
            assert layout.exact
            assert layout.found == solved(pieces, rects, gap_um), (pieces, rects, gap_um)
            answers.append(layout.found)
    assert True in answers
    assert False in answers


def cut_apart(rng: random.Random, along: int, across: int, count: int) -> list[tuple[int, int]]:
    """Cut a rectangle into ``count`` by straight cuts, the largest part next."""
    parts = [(along, across)]
    while len(parts) < count:
        parts.sort(key=lambda part: part[0] * part[1])
        a, b = parts.pop()
        if a >= b:
            cut = rng.randint(a // 4, a - a // 4)
            parts += [(cut, b), (a - cut, b)]
        else:
            cut = rng.randint(b // 4, b - b // 4)
            parts += [(a, cut), (a, b - cut)]
    return parts


@pytest.mark.parametrize("seed", range(6))
def test_a_rectangle_cut_apart_is_found_and_one_um_less_refuted(seed: int) -> None:
    rng = random.Random(seed)
    parts = cut_apart(rng, 300_000, 200_000, EXACT_UP_TO)
    pieces = [Piece(a, b, turnable=seed % 2 == 1, count=1) for a, b in parts]
    layout = lay_out(pieces, [Rect(300_000, 200_000)], 0)
    verify(layout, pieces, [Rect(300_000, 200_000)], 0)
    assert layout.found
    less = lay_out(pieces, [Rect(299_999, 200_000)], 0)
    assert (less.found, less.exact) == (False, True)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("rules.layout.sweep._UNSETTLED_BEFORE_LOOKING", 0),
        ("rules.layout.sweep._KEPT_AT_MOST", 0),
        ("rules.layout.remaining._SUMS_AT_MOST", 2),
        ("rules.layout.assign._SLICES", ()),
        ("rules.layout.assign._SLICES", (5, 50)),
    ],
)
def test_no_measured_setting_changes_an_answer(name: str, value: object, monkeypatch: pytest.MonkeyPatch) -> None:
    rng = random.Random(100)
    cases = [instance(rng, 8, 0.5)[:2] for _ in range(40)]
    # Two sizes, many copies: enough failures across to look at starts half chosen.
    cases += [([Piece(5, 3, True, 4), Piece(4, 3, False, 3)], [Rect(a, 10)]) for a in range(9, 13)]
    expected = [lay_out(*case, 0).found for case in cases]
    monkeypatch.setattr(name, value)
    for (pieces, rects), found in zip(cases, expected, strict=True):
        kinds = enlarged(pieces, 0)
        sheets = [Sheet(r.along_um, r.across_um) for r in sorted(rects)]
        assert (Assignment(kinds, sheets, Budget(10**6)).run() is not None) == found
        assert found or construct(kinds, sheets) is None


def test_of_equal_rectangles_one_is_tried() -> None:
    kinds = [Kind(6, 4, False, 1), Kind(5, 5, False, 1), Kind(4, 6, False, 1)]
    assert Assignment(kinds, [Sheet(6, 6)] * 2, Budget(100)).run() is None
    assert Assignment(kinds, [Sheet(6, 6)] * 3, Budget(100)).run() is not None


def test_columns_that_overflow_are_refused_and_so_is_a_knot() -> None:
    assert Settling([Strip(0, 2, 3), Strip(1, 2, 2)], 4, Budget(1000)).run() is None
    strips = [Strip(*strip) for strip in KNOT]
    assert Settling(strips, 12, Budget(10**5)).run() is None
    assert Settling(strips, 13, Budget(10**5)).run() is not None


@pytest.mark.parametrize("kept", [0, 1000])
def test_half_chosen_starts_that_cannot_settle_are_left(kept: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Panels of which some starts fit every column, yet not across (found by random search)."""
    monkeypatch.setattr("rules.layout.sweep._UNSETTLED_BEFORE_LOOKING", 0)
    monkeypatch.setattr("rules.layout.sweep._KEPT_AT_MOST", kept)
    sizes = [(20, 13), (19, 13), (17, 13), (16, 13), (15, 11), (15, 11)]
    sizes += [(12, 13), (11, 13), (16, 8), (9, 11), (13, 6), (20, 3)]
    pieces = [Piece(a, b, False, 1, str(i)) for i, (a, b) in enumerate(sizes)]
    spots = Sweep(enlarged(pieces, 0), Sheet(60, 40), Budget(10**6)).run()
    assert spots is not None


def test_a_search_across_the_sheet_gives_its_places_along(monkeypatch: pytest.MonkeyPatch) -> None:
    kinds = [Kind(60, 40, False, 2), Kind(40, 60, False, 2), Kind(20, 20, False, 1), Kind(9, 90, True, 1)]
    inside = 0
    for steps in range(1, 60):
        monkeypatch.setattr("rules.layout.assign._SLICES", (steps,))
        spots = lie_in_one(kinds, Sheet(100, 110), Budget(10**6))
        for spot in spots or ():
            kind = kinds[spot.kind]
            along, across = (kind.across, kind.along) if spot.turned else kind[:2]
            assert spot.at_along + along <= 100
            assert spot.at_across + across <= 110
            inside += 1
    assert inside == 59 * 6


def test_a_spent_budget_proves_nothing() -> None:
    kinds = [Kind(60, 40, False, 2), Kind(40, 60, False, 2), Kind(20, 20, False, 1)]
    with pytest.raises(BudgetSpentError):
        lie_in_one(kinds, Sheet(100, 100), Budget(3))
    assert lie_in_one(kinds, Sheet(100, 100), Budget(10**6)) is not None


def test_an_inexact_no_says_so() -> None:
    pieces = [Piece(6, 4, False, 2), Piece(4, 6, False, 2), Piece(2, 2, False, 1)]
    pieces += [Piece(1, 1, False, 1)]
    assert not lay_out(pieces, [Rect(10, 11)], 0, steps=2).exact


def full_columns(rng: random.Random, columns: int, across: int) -> list[Strip]:
    """Draw strips that fill every column, so that only their order across is in question."""
    strips: list[Strip] = []
    for column in range(columns):
        free = across - sum(s.across for s in strips if s.start <= column < s.end)
        while free:
            size = rng.randint(1, free)
            strips.append(Strip(column, rng.randint(column + 1, columns), size))
            free -= size
    return strips


def dropped(strips: list[Strip], heights: tuple[int, ...], across: int, seen: set[object]) -> bool:
    """Drop the strips in every order: one of the orders is that of a settled layout."""
    if (tuple(strips), heights) in seen:
        return False
    seen.add((tuple(strips), heights))
    for i, s in enumerate(strips):
        top = max(heights[s.start : s.end]) + s.across
        now = (*heights[: s.start], *[top] * (s.end - s.start), *heights[s.end :])
        if top <= across and dropped(strips[:i] + strips[i + 1 :], now, across, seen):
            return True
    return not strips


def test_settling_is_equal_to_dropping_in_every_order() -> None:
    rng = random.Random(5)
    answers: list[bool] = []
    while answers.count(False) < 2:
        strips = full_columns(rng, 7, 12)
        if len(strips) > 13:
            continue
        places = Settling(strips, 12, Budget(10**5)).run()
        if len(answers) < 40 or places is None:
            assert (places is not None) == dropped(strips, (0,) * 7, 12, set())
            answers.append(places is not None)
    assert len(answers) >= 40
