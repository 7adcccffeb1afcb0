"""What a part may be cut from: leather, side and lots, as far as one part alone decides it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations

from support.independent.board import Board
from support.independent.data import Context

from catalog.model import Catalog, Leather, Lot, Panel, Pattern

#: On the clip wallet the house takes no leather thicker than this (H-CLIPFOLD-THIN), micrometers.
CLIPFOLD_MOST_UM = 2_400
SIDES = ("grain", "flesh")


@dataclass(frozen=True, eq=False)
class Option:
    """A leather for a part, the side that shows, and the lots, each of which gives at least one panel.

    ``used_um`` is the thickness of each panel of the part: the largest over the lots. ``lower_um`` is the thinnest
    spot of the lots. ``splits`` counts the panels of one piece that are split.
    """

    part: str
    leather: Leather
    side: str
    lots: tuple[Lot, ...]
    used_um: Mapping[str, int]
    splits: int

    @property
    def lower_um(self) -> int:
        """Thinnest spot."""
        return min(lot.thickness.min_um for lot in self.lots)

    @property
    def all_a(self) -> bool:
        """Whether every lot is grade A."""
        return all(lot.grade == "A" for lot in self.lots)

    def layer_um(self, panel: str, pared_to_um: int | None) -> int:
        """Return the thickness of one layer, pared where it says so."""
        used = self.used_um[panel]
        return used if pared_to_um is None else min(used, pared_to_um)


@dataclass(frozen=True)
class _Worked:
    used_um: int
    split: bool


def worked(catalog: Catalog, pattern: Pattern, panel: Panel, side: str, lot: Lot) -> _Worked | None:
    """Return what a panel is worked at from a lot, or None where a THK rule refuses it.

    Too thin is refused. Up to the maximum, it is used as it is. Over it by no more than the tolerance, with some of the
    lot within, the maximum is chosen. Beyond, it would be thinned: never what shows its flesh side, never what bears a
    load, never a kind that is not split, never below what the kind bears.
    """
    low, high = lot.thickness.min_um, lot.thickness.max_um
    least, most = panel.thickness.min_um, panel.thickness.max_um
    kind = catalog.leathers[lot.leather].kind
    if high < least:
        return None
    if high <= most:
        return _Worked(high, split=False)
    if low <= most and high - most <= catalog.thresholds["thickness_over_tolerance_mm"].value:
        return _Worked(most, split=False)
    if side == "flesh" or kind.split == "refuse" or most < kind.split_min_um or pattern.load.load_class == "bearing":
        return None
    return _Worked(most, split=True)


def options_of(catalog: Catalog, pattern: Pattern, part: str) -> list[Option]:
    """Return all options of a part that no rule refuses whatever the rest is."""
    found = []
    panels = [panel for panel in pattern.panels.values() if panel.part == part]
    for leather in catalog.leathers.values():
        if leather.status == "retired" or not _priced(catalog, pattern, part, leather):
            continue  # CAT-02, PRC-02
        if part == "outside" and leather.kind.lining_only:
            continue  # CAT-07
        for side in SIDES:
            back_seen = side == "flesh" or any(panel.reverse_seen for panel in panels)
            if back_seen and leather.kind.back_shown == "refuse":
                continue  # SID-01
            found += _with_lots(catalog, pattern, panels, leather, side)
    return found


def _priced(catalog: Catalog, pattern: Pattern, part: str, leather: Leather) -> bool:
    """PRC-02: every part's band has a cell, of an inner part the reference band too, to which it is compared."""
    cells = catalog.price_list.base_minor.get(pattern.code, {})
    band = leather.kind.price_band
    return band in cells and (part == "outside" or catalog.price_list.reference_band in cells)


def _with_lots(catalog: Catalog, pattern: Pattern, panels: list[Panel], leather: Leather, side: str) -> list[Option]:
    good = []
    for lot in catalog.lots_of(leather.code):
        if pattern.code == "clipfold" and lot.thickness.max_um > CLIPFOLD_MOST_UM:
            continue
        if all(worked(catalog, pattern, panel, side, lot) for panel in panels):
            good.append(lot)
    found = []
    for lots in _subsets(good):
        uses = {panel.code: [worked(catalog, pattern, panel, side, lot) for lot in lots] for panel in panels}
        used = {code: max(use.used_um for use in each if use) for code, each in uses.items()}
        option = Option(panels[0].part, leather, side, lots, used, _splits(catalog, pattern, panels, side, lots))
        if _pared_well(pattern, option):
            found.append(option)
    return found


def _splits(catalog: Catalog, pattern: Pattern, panels: list[Panel], side: str, lots: tuple[Lot, ...]) -> int:
    """Count the panels of one piece that are split: of several lots, as the one that comes out thickest is worked."""
    total = 0
    for panel in panels:
        uses = [use for lot in lots if (use := worked(catalog, pattern, panel, side, lot)) is not None]
        total += panel.count * max(uses, key=lambda use: use.used_um).split
    return total


def _subsets(lots: list[Lot]) -> Iterator[tuple[Lot, ...]]:
    for count in range(1, len(lots) + 1):
        yield from combinations(lots, count)


def _pared_well(pattern: Pattern, option: Option) -> bool:
    """STK-08: no layer of a seam is pared finer than its kind bears."""
    for seam in pattern.seams.values():
        for layer in seam.layers:
            used, to = option.used_um.get(layer.panel), layer.skived_to_um
            if used is not None and to is not None and used > to and to < option.leather.kind.skive_min_um:
                return False
    return True


def add_marks(board: Board, told: Context) -> None:
    """CAT-06 and SID-02 of the hide's own stamp: it shows on the flesh side, one legible stamp for every piece."""
    asked = board.where("mod/measure_mark", bool)
    board.never(asked, board.where("part/outside", lambda option: option.side == "grain"))
    board.never(asked, board.where("part/outside", lambda option: _legible(option) < told.quantity))


def _legible(option: Option) -> int:
    return sum(lot.stamp_legible for lot in option.lots)
