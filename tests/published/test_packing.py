"""Layout against published packings. Source named beside each check."""

from __future__ import annotations

import csv
import os
from collections import defaultdict
from pathlib import Path

import pytest

from rules.layout import EXACT_UP_TO, Piece, Rect, lay_out, verify

# Squared rectangle of order 9, 33 x 32: Z. Moron 1925, "O rozkladach prostokatow na kwadraty",
# Przeglad Mat. Fiz. 3 (from memory; the areas add up: test below).
MORON = (18, 15, 14, 10, 9, 8, 7, 4, 1)
# Squared rectangle of order 10, 65 x 47: the same paper (from memory, areas add up).
MORON_SECOND = (25, 24, 23, 22, 19, 17, 11, 6, 5, 3)
# Simple perfect squared square of lowest order, 21, side 112: A. J. W. Duijvestijn 1978,
# Journal of Combinatorial Theory B 25 (from memory, areas add up).
DUIJVESTIJN = (50, 42, 37, 35, 33, 29, 27, 25, 24, 19, 18, 17, 16, 15, 11, 9, 8, 7, 6, 4, 2)

GENERATED = Path(__file__).parent / "data" / "packing_generated_perfect.csv"
CHECK_VALUES = os.environ.get("QUARTERFOOT_CHECK_VALUES")


def squares(sides: tuple[int, ...]) -> list[Piece]:
    """Make one square panel of each side."""
    return [Piece(side, side, False, 1, f"square {side}") for side in sides]


@pytest.mark.parametrize(("sides", "along", "across"), [(MORON, 33, 32), (MORON_SECOND, 65, 47)])
def test_moron_squared_rectangles_are_found_and_one_less_is_refuted(
    sides: tuple[int, ...], along: int, across: int
) -> None:
    pieces = squares(sides)
    assert sum(side * side for side in sides) == along * across
    for rect in (Rect(along, across), Rect(across, along)):
        layout = lay_out(pieces, [rect], 0)
        verify(layout, pieces, [rect], 0)
        assert layout.found
    for rect in (Rect(along - 1, across), Rect(along, across - 1)):
        layout = lay_out(pieces, [rect], 0)
        assert (layout.found, layout.exact) == (False, True)


def test_moron_squares_need_more_than_their_area() -> None:
    """31 x 35 has 29 square units to spare and holds none (CP-SAT agrees, checked once)."""
    assert lay_out(squares(MORON), [Rect(34, 32)], 0).found
    layout = lay_out(squares(MORON), [Rect(31, 35)], 0)
    assert (layout.found, layout.exact) == (False, True)


def test_duijvestijn_squared_square_above_the_exact_range_is_sound() -> None:
    """Order 21 lies above the exact range: a miss must say that it proves nothing."""
    pieces = squares(DUIJVESTIJN)
    assert sum(side * side for side in DUIJVESTIJN) == 112 * 112
    assert len(pieces) > EXACT_UP_TO
    layout = lay_out(pieces, [Rect(112, 112)], 0)
    verify(layout, pieces, [Rect(112, 112)], 0)
    assert layout.found or not layout.exact


def generated() -> dict[str, list[dict[str, str]]]:
    """Read own instances: sheets cut by straight cuts, so all panels fit without waste."""
    rows: dict[str, list[dict[str, str]]] = defaultdict(list)
    with GENERATED.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            rows[row["instance"]].append(row)
    return rows


@pytest.mark.parametrize("name", sorted(generated()))
def test_generated_sheets_without_waste(name: str) -> None:
    rows = generated()[name]
    sheet = Rect(int(rows[0]["sheet_w_mm"]), int(rows[0]["sheet_h_mm"]))
    pieces = [Piece(int(row["item_w_mm"]), int(row["item_h_mm"]), False, 1, row["item"]) for row in rows]
    layout = lay_out(pieces, [sheet], 0)
    verify(layout, pieces, [sheet], 0)
    if len(pieces) <= EXACT_UP_TO:
        assert layout.found
    assert layout.found or not layout.exact
    less = lay_out(pieces, [Rect(sheet.along_um - 1, sheet.across_um)], 0)
    assert (less.found, less.exact) == (False, True)


@pytest.mark.skipif(
    CHECK_VALUES is None,
    reason="set QUARTERFOOT_CHECK_VALUES to the folder of instances that may not be copied here",
)
def test_zero_waste_strips_are_never_refuted() -> None:
    """Hopper and Turton 2001, C1: each strip is filled without waste, so "no" is never proven."""
    strips: dict[str, list[dict[str, str]]] = defaultdict(list)
    path = Path(str(CHECK_VALUES)) / "packing_strip_zero_waste.csv"
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            strips[row["instance"]].append(row)
    assert strips
    for rows in strips.values():
        rect = Rect(int(rows[0]["strip_width"]), int(rows[0]["optimal_height"]))
        # That file allows quarter turns in some instances, so every item may turn.
        pieces = [Piece(int(r["item_w"]), int(r["item_h"]), True, int(r["copies"]), r["item"]) for r in rows]
        layout = lay_out(pieces, [rect], 0)
        verify(layout, pieces, [rect], 0)
        assert layout.found or not layout.exact
