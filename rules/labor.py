"""Bench minutes of an order, exact (calibrate the figures to your own stopwatch)."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Final

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
    return case.keep("time", lambda: _order_parts(case))


def _order_parts(case: Case) -> int | None:
    piece = case.piece
    if piece.pattern is None:
        return None
    times = piece.indexes.times
    once = 0 if piece.spec.monogram is None else times.monogram_once
    return (_fixed(piece, times) + case.shape.split_panels * times.split_panel) * piece.quantity + once


def _fixed(piece: Piece, times: Times) -> int:
    """Return the time of one piece that does not depend on the lots."""
    if piece.pattern is None:
        return 0
    total = times.patterns[piece.pattern.code].always
    for time_of in _BY_SLOT:
        total += time_of(piece, times)
    return total


def _stitching(piece: Piece, times: Times) -> int:
    return times.patterns[piece.pattern.code].stitch.get(piece.stitch or "", 0) if piece.pattern else 0


def _edge(piece: Piece, times: Times) -> int:
    if piece.pattern is None or piece.edge is None:
        return 0
    return times.patterns[piece.pattern.code].edge.get(piece.edge.finish, 0)


def _fitting(piece: Piece, times: Times) -> int:
    total = 0
    for slot, hardware in piece.hardware.items():
        if piece.pattern is not None and hardware.type in piece.pattern.fixings[slot].types:
            total += times.hardware_each
    return total


def _modifying(piece: Piece, times: Times) -> int:
    total = 0
    for code in piece.modifications:
        if piece.pattern is not None and code in piece.pattern.modifications:
            total += times.modification.get(code, 0)
    return total


def _lettering(piece: Piece, times: Times) -> int:
    monogram = piece.spec.monogram
    return 0 if monogram is None else len(monogram.text.replace(" ", "")) * times.monogram_letter


#: What takes time beside what a pattern always takes, by what it reads of a piece; each by itself.
TIMES_BY_READ: Final[Mapping[str, Callable[[Piece, Times], int]]] = MappingProxyType(
    {
        "stitch": _stitching, "edge": _edge, "hardware": _fitting, "modifications": _modifying,
        "letters": _lettering,
    }
)  # fmt: skip
_BY_SLOT = tuple(TIMES_BY_READ.values())
