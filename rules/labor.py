"""Bench minutes by operation, exact (calibrate the figures to your own stopwatch)."""

from __future__ import annotations

from fractions import Fraction

from catalog.model import Number, Pattern
from rules.case import Case
from rules.piece import Piece
from rules.thread import stitches_of

_HUNDRED_MM = 100_000


def order_minutes(case: Case) -> Number | None:
    """Return the minutes of the whole order, or None where the pattern is unknown."""
    each = piece_minutes(case)
    return None if each is None else each * case.piece.quantity + once_minutes(case.piece)


def once_minutes(piece: Piece) -> Number:
    """Return the minutes that a monogram takes once an order."""
    labor = piece.catalog.labor
    return labor.monogram_setup + labor.monogram_test_strike if piece.spec.monogram is not None else 0


def piece_minutes(case: Case) -> Number | None:
    """Return the minutes of one piece; what is missing or not offered takes none."""
    pattern = case.pattern
    if pattern is None:
        return None
    return fixed_minutes(case.piece, pattern) + _splitting(case)


def fixed_minutes(piece: Piece, pattern: Pattern) -> Number:
    """Return the minutes of one piece that do not depend on the lots."""
    memo: dict[str, Number] = piece.memo
    if "fixed_minutes" not in memo:
        labor = piece.catalog.labor
        seams = sum(seam.length_um for seam in pattern.seams.values())
        memo["fixed_minutes"] = (
            labor.per_piece.get(pattern.code, 0)
            + labor.cut_panel * sum(panel.count for panel in pattern.panels.values())
            + Fraction(seams, _HUNDRED_MM) * (labor.skive_per_100_mm + labor.glue_per_100_mm)
            + _edge(piece, pattern) + _stitching(piece, pattern, seams) + _extras(piece, pattern)
        )  # fmt: skip
    return memo["fixed_minutes"]


def _splitting(case: Case) -> Number:
    split = (
        panel.count
        for panel in case.panels
        if (use := case.thickness(panel.code)) is not None and use.how in ("split", "split_sign_off")
    )
    return case.piece.catalog.labor.split_panel * sum(split)


def _edge(piece: Piece, pattern: Pattern) -> Number:
    if piece.edge is None or piece.edge.finish not in pattern.edge_finishes:
        return 0
    per_100_mm = piece.catalog.labor.edge_per_100_mm[piece.edge.finish]
    return Fraction(pattern.edge_length_um, _HUNDRED_MM) * per_100_mm * pattern.edge_time_factor


def _stitching(piece: Piece, pattern: Pattern, seams_um: int) -> Number:
    if piece.stitch not in pattern.stitches:
        return 0
    labor = piece.catalog.labor
    stitches = sum(stitches_of(pattern, seam) for seam in pattern.seams.values())
    if piece.stitch == "machine":
        machine = Fraction(seams_um, _HUNDRED_MM) * labor.machine_stitch_per_100_mm
        return stitches * labor.prick_per_hole + machine
    by_hand = labor.whip_stitch if piece.stitch == "whip" else labor.hand_stitch
    return stitches * (labor.prick_per_hole + by_hand)


def _extras(piece: Piece, pattern: Pattern) -> Number:
    labor = piece.catalog.labor
    fitted = sum(hardware.type in pattern.fixings[slot].types for slot, hardware in piece.hardware.items())
    total: Number = fitted * labor.hardware_each
    for code in piece.modifications:
        if code in pattern.modifications:
            total += labor.modification.get(code, 0)
    if piece.spec.monogram is not None:
        total += len(piece.spec.monogram.text.replace(" ", "")) * labor.monogram_letter
    return total
