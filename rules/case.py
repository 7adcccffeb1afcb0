"""A case: a piece, with lots given to its parts, and the geometry that follows from both."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from datetime import date
from typing import Any, TypeVar, cast

from catalog.model import Lot, Number, Panel, Pattern
from rules.holding import Demand, Holding, share_out
from rules.layout import Piece as LaidPiece
from rules.lazy import once
from rules.piece import OUTSIDE, Piece
from rules.shape import Shape
from rules.stock import Warehouse, need_um2

Kept = TypeVar("Kept")


class Case:
    """One assignment of lots to the parts of a piece.

    A search gives and takes lots part by part (:meth:`give`); what was derived from a part's
    lots is then derived anew.
    """

    def __init__(self, piece: Piece, lots: Mapping[str, tuple[Lot, ...]], warehouse: Warehouse, today: date) -> None:
        self.piece = piece
        self.lots = dict(lots)
        self.warehouse = warehouse
        self.today = today
        self._holdings: dict[str, Holding] = {}
        self._shape: Shape | None = None
        self._kept: dict[str, Any] = {}

    def give(self, part: str, lots: tuple[Lot, ...] | None) -> None:
        """Give a part its lots; None takes them back."""
        if lots is None:
            self.lots.pop(part, None)
        else:
            self.lots[part] = lots
        self._kept.clear()
        self._shape = None
        leather = self.piece.parts[part].leather
        if leather is not None:
            self._holdings.pop(leather.code, None)

    def put(self, lots: Mapping[str, tuple[Lot, ...]]) -> None:
        """Give every part the lots named, and take back those of the others."""
        for part in self.piece.parts:
            wanted = lots.get(part)
            if wanted is not self.lots.get(part):
                self.give(part, wanted)

    def keep(self, name: str, work_out: Callable[[], Kept]) -> Kept:
        """Return what was worked out about these lots under a name, working it out the first time."""
        if name not in self._kept:
            self._kept[name] = work_out()
        found: Kept = self._kept[name]
        return found

    @property
    def pattern(self) -> Pattern | None:
        """The pattern, if known."""
        return self.piece.pattern

    @once
    def panels(self) -> tuple[Panel, ...]:
        """The pattern's panels; none where the pattern is unknown."""
        return tuple(self.piece.panels.values())

    def lots_for(self, part: str) -> tuple[Lot, ...]:
        """Return the lots given to a part; none where the leather is unknown or has no lot."""
        return self.lots.get(part, ())

    @property
    def shape(self) -> Shape:
        """How thick the pattern comes out from the lots given. Raises ValueError where no pattern is known."""
        if self._shape is None:
            piece = self.piece
            if piece.pattern is None:
                raise ValueError("no pattern is known")
            parts = [(part.side, self.lots_for(code)) for code, part in piece.parts.items()]
            key = piece.pattern.code, *[(side, *[lot.key for lot in lots]) for side, lots in parts]
            self._shape = self.warehouse.shapes.get(key, self._shaped)
        return self._shape

    def _shaped(self) -> Shape:
        piece = self.piece
        sides = {code: part.side for code, part in piece.parts.items()}
        lots = {code: self.lots_for(code) for code in piece.parts}
        return Shape(piece.catalog, cast("Pattern", piece.pattern), sides, lots)

    def finished_um(self, panel: Panel) -> tuple[int, int]:
        """Return a panel's finished width and height with the sizes asked for."""
        piece = self.piece
        width = next((um for um in (piece.size_um("lug_mm"), piece.size_um("width_mm")) if um), panel.width_um)
        return width, strap_length_um(piece) or panel.height_um

    def laid(self, part: str) -> list[LaidPiece]:
        """Return the panels of a part as they are laid on the hide, times the quantity."""
        found = []
        for panel in self.panels:
            if panel.part == part:
                across, along = cut_um(self.piece, panel)
                found.append(LaidPiece(along, across, panel.turnable, panel.count * self.piece.quantity, panel.code))
        return found

    def held_by(self, leather: str) -> tuple[Hashable, ...]:
        """Return all that the holding of a leather follows from, beside the catalog."""
        given = tuple((part, tuple(lot.key for lot in self.lots_for(part))) for part in self.piece.cut_from[leather])
        return leather, self.piece.catalog.shelf(leather), given, self.piece.laid_by

    def holding(self, leather: str) -> Holding:
        """Return what the order needs of a leather and how its lots hold it."""
        found = self._holdings.get(leather)
        if found is None:
            found = self._holdings[leather] = self.warehouse.holdings.get(
                self.held_by(leather), lambda: self._hold(leather)
            )
        return found

    def _hold(self, leather: str) -> Holding:
        parts = self.piece.cut_from[leather]
        kind = self.piece.catalog.leathers[leather].kind
        demands = [Demand(part, tuple(self.laid(part)), self.lots_for(part)) for part in parts]
        need = need_um2([panel for demand in demands for panel in demand.panels], self.warehouse.gap_um, kind)
        free = sum(lot.free_um2 for lot in self.piece.catalog.lots_of(leather))
        share = None if need > free else share_out(demands, kind, self.warehouse)
        return Holding(need, free, share)

    @property
    def outside_lots(self) -> tuple[Lot, ...]:
        """The lots of the outside."""
        return self.lots_for(OUTSIDE)


def strap_length_um(piece: Piece) -> int | None:
    """Return the finished length that sizes give: asked for, or a belt's by its waist."""
    waist = piece.size_um("waist_to_hole_mm")
    if waist is not None:
        return waist + int(piece.threshold("belt_buckle_turn_mm")) + int(piece.threshold("belt_tail_mm"))
    return piece.size_um("length_mm")


def cut_um(piece: Piece, panel: Panel) -> tuple[int, int]:
    """Return the cut width and height of a panel with the sizes asked for."""
    width, height = panel.cut_width_um, panel.cut_height_um
    for size in ("lug_mm", "width_mm"):
        asked = piece.size_um(size)
        if asked is not None:
            width = asked + int(piece.threshold(f"cut_allowance_{size}"))
    length = strap_length_um(piece)
    if length is not None:
        height = length + int(piece.threshold("cut_allowance_length_mm"))
    return width, height


def belt_cut_um(piece: Piece) -> Number | None:
    """Return the cut length of a belt, or None where no waist is given."""
    if piece.size_um("waist_to_hole_mm") is None:
        return None
    length = strap_length_um(piece)
    return None if length is None else length + piece.threshold("cut_allowance_length_mm")
