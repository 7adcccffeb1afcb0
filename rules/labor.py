"""Bench minutes of an order, exact (calibrate the figures to your own stopwatch)."""

from __future__ import annotations

from catalog.model import Number
from rules.bench import Times
from rules.case import Case
from rules.piece import Piece


def order_minutes(case: Case) -> Number | None:
    """Return the minutes of the whole order, or None where the pattern is unknown."""
    parts = order_parts(case)
    return None if parts is None else case.piece.indexes.times.minutes(parts)


def order_parts(case: Case) -> int | None:
    """Return the time of the whole order in parts of a minute (:class:`rules.bench.Times`).

    A monogram is set up once an order; all else takes its time for each piece, and what is missing
    or not offered takes none. None where the pattern is unknown.
    """
    if "time" not in case.kept:
        case.kept["time"] = _order_parts(case)
    found: int | None = case.kept["time"]
    return found


def _order_parts(case: Case) -> int | None:
    piece = case.piece
    if piece.pattern is None:
        return None
    times = piece.indexes.times
    once = 0 if piece.spec.monogram is None else times.monogram_once
    return (_fixed(piece, times) + case.shape.split_panels * times.split_panel) * piece.quantity + once


def _fixed(piece: Piece, times: Times) -> int:
    """Return the time of one piece that does not depend on the lots."""
    pattern = piece.pattern
    if pattern is None:
        return 0
    own, edge, spec = times.patterns[pattern.code], piece.edge, piece.spec
    total = own.always + own.stitch.get(piece.stitch or "", 0)
    if edge is not None:
        total += own.edge.get(edge.finish, 0)
    for slot, hardware in piece.hardware.items():
        if hardware.type in pattern.fixings[slot].types:
            total += times.hardware_each
    for code in piece.modifications:
        if code in pattern.modifications:
            total += times.modification.get(code, 0)
    if spec.monogram is not None:
        total += len(spec.monogram.text.replace(" ", "")) * times.monogram_letter
    return total
