"""Which lots hold which panels: the joint layout of everything cut from one leather.

A part given one lot puts all its panels there. A part given several puts at least one panel in
each; the split is searched for in full while few panels are concerned, beyond that by filling
lot after lot (``fill in order``), whose "not found" counts as no. A panel is never cut from two
lots.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from catalog.model import Kind, Lot
from rules.layout import Piece as LaidPiece
from rules.stock import Warehouse

#: Up to this many panels of parts that are spread over lots, every split is tried.
SPLIT_UP_TO = 24


Share = dict[tuple[str, str], int]
"""Panels by (label of the panel, lot code)."""


@dataclass(frozen=True, slots=True)
class Holding:
    """One leather of an order: the area needed with yield, what all its lots have free, the panels by lot.

    ``share`` is None where the leather is short by area, or the lots given do not hold every panel.
    """

    need_um2: Fraction
    free_um2: int
    share: Share | None

    @property
    def short(self) -> bool:
        """Whether more is needed than all lots have free."""
        return self.need_um2 > self.free_um2


@dataclass(frozen=True, slots=True)
class Demand:
    """The panels of one part and the lots it is given."""

    part: str
    panels: tuple[LaidPiece, ...]
    lots: tuple[Lot, ...]


def share_out(demands: Sequence[Demand], kind: Kind, warehouse: Warehouse) -> Share | None:
    """Return how many of each panel are cut from each lot, or None where they do not lie.

    ``demands`` are the parts of one leather. Deterministic: the first split in a fixed order.
    """
    if any(not demand.lots for demand in demands):
        return None
    load: dict[str, list[LaidPiece]] = {}
    lots = {lot.code: lot for demand in demands for lot in demand.lots}
    for demand in demands:
        if len(demand.lots) == 1:
            load.setdefault(demand.lots[0].code, []).extend(demand.panels)
    if not _hold(load, lots, kind, warehouse):
        return None
    share: Share = {(panel.label, code): panel.count for code, panels in load.items() for panel in panels}
    spread = [demand for demand in demands if len(demand.lots) > 1]
    if not spread:
        return share
    if sum(panel.count for demand in spread for panel in demand.panels) <= SPLIT_UP_TO:
        return _search(spread, 0, 0, load, share, lots, kind, warehouse)
    return _fill_in_order(spread, load, share, kind, warehouse)


def _hold(load: Mapping[str, list[LaidPiece]], lots: Mapping[str, Lot], kind: Kind, warehouse: Warehouse) -> bool:
    return all(warehouse.holds(panels, lots[code], kind) for code, panels in load.items())


def _splits(count: int, ways: int) -> list[tuple[int, ...]]:
    """Return every way to put ``count`` like panels into ``ways`` lots, most in the first first."""
    if ways == 1:
        return [(count,)]
    return [(first, *rest) for first in range(count, -1, -1) for rest in _splits(count - first, ways - 1)]


def _search(
    spread: Sequence[Demand], at_demand: int, at_panel: int, load: Mapping[str, list[LaidPiece]], share: Share,
    lots: Mapping[str, Lot], kind: Kind, warehouse: Warehouse,
) -> Share | None:  # fmt: skip
    if at_demand == len(spread):
        return dict(share)
    demand = spread[at_demand]
    if at_panel == len(demand.panels):
        used = {code for (label, code) in share if any(label == panel.label for panel in demand.panels)}
        if not all(lot.code in used for lot in demand.lots):
            return None
        return _search(spread, at_demand + 1, 0, load, share, lots, kind, warehouse)
    panel = demand.panels[at_panel]
    for counts in _splits(panel.count, len(demand.lots)):
        given = [(lot.code, count) for lot, count in zip(demand.lots, counts, strict=True) if count]
        more = {code: [*load.get(code, []), replace(panel, count=count)] for code, count in given}
        if _hold(more, lots, kind, warehouse):
            wider = share | {(panel.label, code): count for code, count in given}
            found = _search(spread, at_demand, at_panel + 1, {**load, **more}, wider, lots, kind, warehouse)
            if found is not None:
                return found
    return None


def _fill_in_order(
    spread: Sequence[Demand], load: Mapping[str, list[LaidPiece]], share: Share, kind: Kind, warehouse: Warehouse
) -> Share | None:  # fmt: skip
    full, out = dict(load), dict(share)
    for demand in spread:
        used: set[str] = set()
        for panel in sorted(demand.panels, key=lambda each: (-each.along_um * each.across_um, each.label)):
            left = panel.count
            for lot in demand.lots:
                took = _most(panel, left, full.get(lot.code, []), lot, kind, warehouse)
                if took:
                    full[lot.code] = [*full.get(lot.code, []), replace(panel, count=took)]
                    out[panel.label, lot.code] = took
                    used.add(lot.code)
                    left -= took
            if left:
                return None
        if len(used) < len(demand.lots):
            return None
    return out


def _most(
    panel: LaidPiece, at_most: int, there: Sequence[LaidPiece], lot: Lot, kind: Kind, warehouse: Warehouse
) -> int:
    """Return the largest number of panels that still lie in the lot, by halving."""
    low, high = 0, at_most
    while low < high:
        middle = (low + high + 1) // 2
        if warehouse.holds([*there, replace(panel, count=middle)], lot, kind):
            low = middle
        else:
            high = middle - 1
    return low
