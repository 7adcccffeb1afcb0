"""Which lots are taken first for a part.

Fewer lots, least thickness to take off, remnant before whole, grade A before others for the
outside, least free area, lot codes.
"""

from __future__ import annotations

from collections.abc import Iterable

from catalog.model import Lot
from rules.piece import OUTSIDE, Piece

Lots = tuple[Lot, ...]


def preferred(piece: Piece, part: str, choices: Iterable[Lots]) -> list[Lots]:
    """Return the choices of lots for a part, best first."""
    return sorted(choices, key=lambda choice: preference(piece, part, choice))


def preference(piece: Piece, part: str, choice: Lots) -> tuple[object, ...]:
    """Return the order of preference among a part's lots, smallest first."""
    return (
        len(choice),
        max((_to_take_off(piece, part, lot) for lot in choice), default=0),
        any(lot.form != "remnant" for lot in choice),
        part == OUTSIDE and any(lot.grade != "A" for lot in choice),
        sum(lot.free_um2 for lot in choice),
        tuple(lot.code for lot in choice),
    )


def _to_take_off(piece: Piece, part: str, lot: Lot) -> int:
    most = [panel.thickness.max_um for panel in piece.panels.values() if panel.part == part]
    return max((max(0, lot.thickness.max_um - each) for each in most), default=0)
