"""Bench minutes of a rush order against the room that is kept free for one (PRC-03)."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from support.independent.board import Board, Term
from support.independent.data import Context
from support.independent.monograms import Letters
from support.independent.seams import stitches


def add_minutes(board: Board, told: Context) -> None:
    """PRC-03. Minutes of a piece times the quantity, letters set up once an order."""
    if not told.rush:
        return
    labor, pattern = told.catalog.labor, told.pattern
    seams = Fraction(sum(seam.length_um for seam in pattern.seams.values()), 100_000)
    count = sum(stitches(pattern, seam) for seam in pattern.seams.values())
    fixed = Fraction(labor.per_piece.get(pattern.code, 0))
    fixed += labor.cut_panel * sum(panel.count for panel in pattern.panels.values())
    fixed += seams * (labor.skive_per_100_mm + labor.glue_per_100_mm) + count * Fraction(labor.prick_per_hole)
    by_stitch = {
        "hand": count * Fraction(labor.hand_stitch),
        "whip": count * Fraction(labor.whip_stitch),
        "machine": seams * labor.machine_stitch_per_100_mm,
    }
    edge = Fraction(pattern.edge_length_um, 100_000) * pattern.edge_time_factor
    terms: list[Term] = []
    for slot, values in board.slots.items():
        for value, var in values.items():
            minutes = _of(told, slot, value, by_stitch, edge)
            once = labor.monogram_setup + labor.monogram_test_strike if isinstance(value, Letters) else 0
            terms.append((minutes * told.quantity + once, var))
    board.at_most(terms, told.catalog.workshop.rush_minutes_per_week - fixed * told.quantity)


def _of(told: Context, slot: str, value: Any, by_stitch: dict[str, Fraction], edge: Fraction) -> Fraction:
    """Return what one choice adds to the minutes of a piece."""
    labor = told.catalog.labor
    noun, _, code = slot.partition("/")
    if noun == "part":
        return Fraction(value.splits * labor.split_panel)
    if noun == "stitch":
        return by_stitch[value]
    if noun == "edge":
        return edge * labor.edge_per_100_mm[value.finish]
    if noun == "hardware" and value is not None:
        return Fraction(labor.hardware_each)
    if noun == "mod" and value:
        return Fraction(labor.modification.get(code, 0))
    if isinstance(value, Letters):
        return value.count * Fraction(labor.monogram_letter)
    return Fraction(0)
