"""Leather in stock: the panels as they are cut, area with yield, and which lots can hold what (STO-01, STO-03)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import floor
from typing import Any

from support.independent.board import Board
from support.independent.data import Context
from support.independent.layout import Rect, Sheet
from support.independent.parts import Option

from catalog.model import Leather, Lot, Panel, Pattern


def range_um(told: Context, size: str) -> int:
    """Return the figure for a size of a range: as asked for, else the least, which takes the least leather."""
    if size in told.lengths:
        return told.lengths[size]
    least = int(told.threshold("inch_long_below_mm"))
    own = told.pattern.sizes[size]
    least = max(least, own.min_um or 0)
    if size == "waist_to_hole_mm":
        around = told.threshold("belt_buckle_turn_mm") + told.threshold("belt_tail_mm")
        least = max(least, int(told.threshold("belt_cut_min_mm") - around - told.threshold("cut_allowance_length_mm")))
    return least


def range_fits(told: Context, size: str, um: int) -> bool:
    """CAT-05, CAT-09, FIT-09 of a length."""
    own = told.pattern.sizes[size]
    if um < told.threshold("inch_long_below_mm"):
        return False
    if (own.min_um is not None and um < own.min_um) or (own.max_um is not None and um > own.max_um):
        return False
    if size != "waist_to_hole_mm":
        return True
    around = told.threshold("belt_buckle_turn_mm") + told.threshold("belt_tail_mm")
    cut = um + around + told.threshold("cut_allowance_length_mm")
    return told.threshold("belt_cut_min_mm") <= cut <= told.threshold("belt_cut_max_mm")


@dataclass(frozen=True)
class Cutting:
    """The panels of a pattern as they are cut, with the sizes asked for and times the quantity."""

    told: Context

    @property
    def gap(self) -> int:
        """What lies between two panels, micrometers."""
        return int(self.told.threshold("nest_gap_mm"))

    def panels(self, part: str, width_um: int | None) -> tuple[Rect, ...]:
        """Return the panels of a part, the height along the backbone; ``width_um`` where a size gives the width."""
        pattern = self.told.pattern
        found = []
        for panel in pattern.panels.values():
            if panel.part == part:
                across = panel.cut_width_um if width_um is None else width_um + self._allowance(pattern)
                found.append(Rect(self._along(panel), across, panel.turnable, panel.count * self.told.quantity))
        return tuple(found)

    def _allowance(self, pattern: Pattern) -> int:
        name = "lug_mm" if "lug_mm" in pattern.sizes else "width_mm"
        return int(self.told.threshold(f"cut_allowance_{name}"))

    def _along(self, panel: Panel) -> int:
        told, extra = self.told, int(self.told.threshold("cut_allowance_length_mm"))
        if "waist_to_hole_mm" in told.pattern.sizes:
            turn = int(told.threshold("belt_buckle_turn_mm") + told.threshold("belt_tail_mm"))
            return range_um(told, "waist_to_hole_mm") + turn + extra
        if "length_mm" in told.pattern.sizes:
            return range_um(told, "length_mm") + extra
        return panel.cut_height_um

    def net_um2(self, part: str, width_um: int | None) -> int:
        """Return the area of a part's panels, each with the gap, before yield."""
        return sum(each.area(self.gap) * each.count for each in self.panels(part, width_um))


def sheet_of(lot: Lot, leather: Leather, gap: int) -> Sheet:
    """Return what a lot can hold: by area with yield, less what is held for others, and its rectangles."""
    held = tuple(Rect(each.along_um, each.across_um, each.turnable, each.count) for each in lot.held)
    most = floor(leather.kind.yield_ratio * (lot.left_um2 - lot.reserved_um2))
    return Sheet(lot.code, tuple((rect.along_um, rect.across_um) for rect in lot.rectangles), most, held)


def widths(board: Board) -> list[tuple[int | None, list[Any]]]:
    """Return the widths that sizes may give, each with its variable; one None where no size gives it."""
    for size in ("size/lug_mm", "size/width_mm"):
        if size in board.slots:
            return [(int(width), [var]) for width, var in board.slots[size].items()]
    return [(None, [])]


def add_stock(board: Board, told: Context, sheets: dict[str, Sheet]) -> None:
    """Ask what is necessary: each option lies by itself as far as areas tell, and the parts of a leather together."""
    cutting = Cutting(told)
    for width, var in widths(board):
        for part in told.pattern.parts:
            net = cutting.net_um2(part, width)
            panels = cutting.panels(part, width)
            bad = board.where(f"part/{part}", lambda o, n=net, p=panels: not _alone(o, n, p, sheets, cutting.gap))
            board.never(bad, *([var] if var else []))
        for leather in told.catalog.leathers.values():
            _add_leather(board, told, cutting, leather, sheets, width, var)


def _alone(option: Any, net: int, panels: tuple[Rect, ...], sheets: dict[str, Sheet], gap: int) -> bool:
    """Whether the option's lots may hold the part, one panel in each at least."""
    assert isinstance(option, Option)
    own = [sheets[lot.code] for lot in option.lots]
    if sum(panel.count for panel in panels) < len(own) or net > sum(sheet.most(gap) for sheet in own):
        return False
    takes = [[panel for panel in panels if sheet.takes(panel)] for sheet in own]
    return all(takes) and all(any(panel in each for each in takes) for panel in panels)


def _add_leather(
    board: Board, told: Context, cutting: Cutting, leather: Leather, sheets: dict[str, Sheet],
    width: int | None, when: list[Any],
) -> None:  # fmt: skip
    lots = told.catalog.lots_of(leather.code)
    together: list[tuple[int, Any]] = []
    by_lot: dict[str, list[tuple[int, Any]]] = {lot.code: [] for lot in lots}
    for part in told.pattern.parts:
        net = cutting.net_um2(part, width)
        for option, var in board.slots[f"part/{part}"].items():
            if isinstance(option, Option) and option.leather is leather:
                together.append((net, var))
                if len(option.lots) == 1:
                    by_lot[option.lots[0].code].append((net, var))
    if not together:
        return
    for code, terms in by_lot.items():
        _cap(board, terms, sheets[code].most(cutting.gap), when)
    free = sum(lot.free_um2 for lot in lots)
    _cap(board, together, floor(leather.kind.yield_ratio * free), when)
    _cap(board, together, sum(sheets[lot.code].most(cutting.gap) for lot in lots), when)


def _cap(board: Board, terms: Iterable[tuple[int, Any]], most: int, when: list[Any]) -> None:
    """Ask that areas are no more than a bound; rounded to mm2 in the solver's favor, so that figures stay small."""
    board.at_most([(net // 10**6, var) for net, var in terms], -(-most // 10**6), when)
