"""A case: a piece, with lots given to its parts. All geometry that rules share stands here.

A part cut from several lots takes the worst of them: the largest thickness for stacks and
folds, the smallest for strength, the poorer grade.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

from catalog.model import Kind, Layer, Lot, Number, Panel, Pattern, Seam
from rules.holding import Demand, Holding, leather_parts, share_out
from rules.layout import Piece as LaidPiece
from rules.piece import FLESH, OUTSIDE, PartUse, Piece
from rules.stock import Warehouse, need_um2

_UNKNOWN = "not yet known"


@dataclass(frozen=True, slots=True)
class ThicknessUse:
    """What a panel is worked at from one lot. ``how`` names the first rule of use that applies."""

    how: str
    used_um: int


def thickness_from(piece: Piece, panel: Panel, part: PartUse, lot: Lot) -> ThicknessUse:
    """Return the thickness a panel is worked at from a lot (common practice, no source).

    First that applies: too thin (as it is); fits; over by the tolerance, with some of the lot
    within (the maximum is chosen on the hide); flesh out, unsplittable, too delicate, bearing
    (never split); else split to the maximum.
    """
    low, high, most = lot.thickness.min_um, lot.thickness.max_um, panel.thickness.max_um
    if high < panel.thickness.min_um:
        return ThicknessUse("too_thin", high)
    if high <= most:
        return ThicknessUse("fits", high)
    if low <= most and high - most <= piece.threshold("thickness_over_tolerance_mm"):
        return ThicknessUse("tolerated", most)
    return _taken_off(piece, part.side, piece.catalog.leathers[lot.leather].kind, high, most)


def _taken_off(piece: Piece, side: str, kind: Kind, high: int, most: int) -> ThicknessUse:
    """Return the use of a lot that is over a panel's maximum, beyond the tolerance."""
    if side == FLESH:
        return ThicknessUse("flesh_out", most)
    if kind.split == "refuse":
        return ThicknessUse("unsplittable", high)
    if most < kind.split_min_um:
        return ThicknessUse("too_delicate", high)
    if piece.bearing:
        return ThicknessUse("bearing", most)
    return ThicknessUse("split_sign_off" if kind.split == "sign_off" else "split", most)


@dataclass(frozen=True, slots=True)
class Stack:
    """The sum of known layers, and whether every layer is known."""

    total_um: int
    complete: bool


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
        self._used: dict[str, ThicknessUse | None] = {}
        self._stacks: dict[tuple[Layer, ...], Stack] = {}
        self._holdings: dict[str, Holding] = {}
        self._thickest: Seam | str | None = _UNKNOWN
        #: What others worked out about these lots; forgotten when the lots change.
        self.kept: dict[str, Any] = {}

    def give(self, part: str, lots: tuple[Lot, ...] | None) -> None:
        """Give a part its lots; None takes them back."""
        if lots is None:
            self.lots.pop(part, None)
        else:
            self.lots[part] = lots
        for panel in self.panels:
            if panel.part == part:
                self._used.pop(panel.code, None)
        self._stacks.clear()
        self.kept.clear()
        self._thickest = _UNKNOWN
        leather = self.piece.parts[part].leather
        if leather is not None:
            self._holdings.pop(leather.code, None)

    def put(self, lots: Mapping[str, tuple[Lot, ...]]) -> None:
        """Give every part the lots named, and take back those of the others."""
        for part in self.piece.parts:
            wanted = lots.get(part)
            if wanted is not self.lots.get(part):
                self.give(part, wanted)

    @property
    def pattern(self) -> Pattern | None:
        """The pattern, if known."""
        return self.piece.pattern

    @cached_property
    def panels(self) -> tuple[Panel, ...]:
        """The pattern's panels; none where the pattern is unknown."""
        return tuple(self.piece.panels.values())

    def lots_for(self, part: str) -> tuple[Lot, ...]:
        """Return the lots given to a part; none where the leather is unknown or has no lot."""
        return self.lots.get(part, ())

    def thickness(self, panel_code: str) -> ThicknessUse | None:
        """Return the worst thickness that a panel is worked at, or None where not known."""
        if panel_code not in self._used:
            self._used[panel_code] = self._thickness(panel_code)
        return self._used[panel_code]

    def _thickness(self, panel_code: str) -> ThicknessUse | None:
        panel = self.piece.panels[panel_code]
        part = self.piece.parts[panel.part]
        lots = self.lots_for(panel.part)
        if len(lots) == 1:
            return self.use_of(panel, part, lots[0])
        return max((self.use_of(panel, part, lot) for lot in lots), key=lambda use: use.used_um, default=None)

    def use_of(self, panel: Panel, part: PartUse, lot: Lot) -> ThicknessUse:
        """Return what a panel is worked at from one lot."""
        key = (self.piece.spec.pattern, panel.code, part.side, lot.code)
        use: ThicknessUse = self.warehouse.uses.get(key, lambda: thickness_from(self.piece, panel, part, lot))
        return use

    def layer_um(self, layer: Layer) -> int | None:
        """Return the thickness of one layer in a stack, pared where the layer says so."""
        use = self.thickness(layer.panel)
        if use is None:
            return None
        return use.used_um if layer.skived_to_um is None else min(use.used_um, layer.skived_to_um)

    def stack(self, layers: tuple[Layer, ...]) -> Stack:
        """Return the sum of a stack's layers."""
        if layers not in self._stacks:
            heights = [(layer.count, self.layer_um(layer)) for layer in layers]
            total = sum(count * height for count, height in heights if height is not None)
            self._stacks[layers] = Stack(total, all(height is not None for _, height in heights))
        return self._stacks[layers]

    def panels_stack(self, panels: Iterable[str], skived_to_um: int | None) -> Stack:
        """Return the sum of panels laid on each other, capped where they are pared."""
        found = self.stack(tuple(Layer(panel, 1) for panel in panels))
        if skived_to_um is None:
            return found
        return Stack(min(found.total_um, skived_to_um), found.complete)

    @property
    def thickest_seam(self) -> Seam | None:
        """The seam with the thickest stack, the first of equals; None without seams."""
        if isinstance(self._thickest, str):
            seams = () if self.pattern is None else tuple(self.pattern.seams.values())
            self._thickest = max(seams, key=lambda seam: self.stack(seam.layers).total_um, default=None)
        return self._thickest

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
        given = tuple(
            (part, tuple(lot.code for lot in self.lots_for(part))) for part in leather_parts(self.piece)[leather]
        )
        return leather, given, self.piece.laid_by

    def holding(self, leather: str) -> Holding:
        """Return what the order needs of a leather and how its lots hold it."""
        found = self._holdings.get(leather)
        if found is None:
            found = self._holdings[leather] = self.warehouse.holdings.get(
                self.held_by(leather), lambda: self._hold(leather)
            )
        return found

    def _hold(self, leather: str) -> Holding:
        parts = leather_parts(self.piece)[leather]
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
