"""What a piece takes from stock and bench, and a catalog with that set aside.

A need is what a hold keeps: panels by lot, thread, edge finish, foil, hardware, bench minutes.
Figures are whole and rounded up, so that what is set aside is never less than what is needed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import ceil
from typing import Any, Final, NamedTuple

from catalog.model import Catalog, HeldPanel, Leather, Lot, Number
from rules.case import Case
from rules.labor import order_minutes
from rules.measures.edges import edge_ul
from rules.stock import Warehouse, need_um2


class SupplyFields(NamedTuple):
    """Where a kind of supply stands: the catalog's nouns, what is left of one, what a need takes of it."""

    nouns: str
    left: str
    need: str


#: Supplies of which something is used up, by noun.
SUPPLY_FIELDS: Final[Mapping[str, SupplyFields]] = {
    "thread": SupplyFields("threads", "left_um", "thread_um"),
    "edge": SupplyFields("edges", "left_ul", "edge_ul"),
    "foil": SupplyFields("foils", "left_um", "foil_um"),
    "hardware": SupplyFields("hardware", "stock", "hardware"),
}
RETIRED = "retired"
LAST_LOT = "last_lot"


@dataclass(frozen=True, slots=True, order=True)
class Taken:
    """Panels of one part that are to be cut from one lot; sizes as cut, in micrometers."""

    lot: str
    part: str
    panel: str
    along_um: int
    across_um: int
    turnable: bool
    count: int

    @property
    def held(self) -> HeldPanel:
        """Return the panels as a lot holds them."""
        return HeldPanel(self.along_um, self.across_um, self.turnable, self.count)


@dataclass(frozen=True, slots=True)
class Needs:
    """What one item of an order takes: lengths in um, edge finish in ul, whole minutes at the bench.

    ``rush`` says whether the minutes are taken from the room for rush orders.
    """

    panels: tuple[Taken, ...] = ()
    thread_um: Mapping[str, int] = field(default_factory=dict)
    edge_ul: Mapping[str, int] = field(default_factory=dict)
    foil_um: Mapping[str, int] = field(default_factory=dict)
    hardware: Mapping[str, int] = field(default_factory=dict)
    minutes: int = 0
    rush: bool = False

    @property
    def lots(self) -> tuple[str, ...]:
        """Return the lots that panels are to be cut from, sorted."""
        return tuple(sorted({taken.lot for taken in self.panels}))

    @property
    def supplies(self) -> Counter[str]:
        """Return what is taken of every supply, by code."""
        return _sum(getattr(self, fields.need) for fields in SUPPLY_FIELDS.values())

    def as_json(self) -> dict[str, Any]:
        """Return it as JSON for a store."""
        return {
            "panels": [
                [each.lot, each.part, each.panel, each.along_um, each.across_um, each.turnable, each.count]
                for each in self.panels
            ],
            "thread_um": dict(self.thread_um),
            "edge_ul": dict(self.edge_ul),
            "foil_um": dict(self.foil_um),
            "hardware": dict(self.hardware),
            "minutes": self.minutes,
            "rush": self.rush,
        }


def needs_from(stored: Mapping[str, Any]) -> Needs:
    """Return needs from what :meth:`Needs.as_json` gave."""
    return Needs(**{**stored, "panels": tuple(Taken(*row) for row in stored["panels"])})


def needs_of(case: Case) -> Needs:
    """Return what a judged piece takes, from the lots that it was given.

    Panels that no layout holds are left out: a piece that is not refused has a layout for each leather.
    """
    piece = case.piece
    thread, edge, foil = case.shape.thread_um, edge_ul(piece), piece.foil
    return Needs(
        panels=tuple(sorted(_panels(case))),
        thread_um=_of(piece.thread, None if thread is None else thread * piece.quantity),
        edge_ul=_of(None if piece.edge is None or piece.edge.left_ul is None else piece.edge, edge),
        foil_um=_of(foil, piece.threshold("foil_m_per_monogram") * piece.quantity),
        hardware={code: count * piece.quantity for code, count in _fittings(case).items()},
        minutes=ceil(order_minutes(case) or 0),
        rush=piece.spec.rush,
    )


def _of(noun: Any, amount: Number | None) -> dict[str, int]:
    return {} if noun is None or not amount else {noun.code: ceil(amount)}


def _fittings(case: Case) -> Counter[str]:
    return Counter(hardware.code for hardware in case.piece.hardware.values())


def _panels(case: Case) -> Iterable[Taken]:
    for leather, parts in case.piece.cut_from.items():
        share = case.holding(leather).share or {}
        for part in parts:
            for panel in case.laid(part):
                for lot in case.lots_for(part):
                    count = share.get((panel.label, lot.code), 0)
                    if count:
                        yield Taken(
                            lot.code, part, panel.label, panel.along_um, panel.across_um, panel.turnable, count
                        )  # fmt: skip


def less(catalog: Catalog, needs: Iterable[Needs], gap_um: int) -> Catalog:
    """Return a catalog from which needs are set aside.

    Lots hold the panels of all; supplies have less left; minutes of a rush leave less room for others.
    A lot's ``key`` is left as it is: whoever keeps what was worked out names the lots anew (:func:`named`).
    """
    every = tuple(needs)
    panels: dict[str, list[HeldPanel]] = {}
    for each in every:
        for taken in each.panels:
            panels.setdefault(taken.lot, []).append(taken.held)
    shop = catalog.workshop
    rush = sum(each.minutes for each in every if each.rush)
    # A lot that was thrown away has nothing that could be set aside any more.
    lots = {
        code: _holding(catalog, catalog.lots[code], own, gap_um) for code, own in panels.items() if code in catalog.lots
    }
    supplies: dict[str, Any] = {
        fields.nouns: _reduced(getattr(catalog, fields.nouns), fields.left, _taken(fields, every))
        for fields in SUPPLY_FIELDS.values()
    }
    return replace(
        catalog,
        lots={**catalog.lots, **lots},
        **supplies,
        workshop=replace(shop, rush_minutes_per_week=max(0, shop.rush_minutes_per_week - rush)) if rush else shop,
    )


def _holding(catalog: Catalog, lot: Lot, more: Iterable[HeldPanel], gap_um: int) -> Lot:
    """Return a lot that holds more panels, those of one size together."""
    counts: Counter[tuple[int, int, bool]] = Counter()
    for each in (*lot.held, *more):
        counts[each.along_um, each.across_um, each.turnable] += each.count
    held = tuple(sorted(HeldPanel(*size, count) for size, count in counts.items()))
    kind = catalog.leathers[lot.leather].kind
    return replace(lot, held=held, held_um2=ceil(need_um2(held, gap_um, kind)))


def _taken(fields: SupplyFields, needs: Iterable[Needs]) -> Counter[str]:
    return _sum(getattr(each, fields.need) for each in needs)


def _sum(amounts: Iterable[Mapping[str, int]]) -> Counter[str]:
    total: Counter[str] = Counter()
    for each in amounts:
        total.update(each)
    return total


def _reduced(nouns: Mapping[str, Any], name: str, taken: Mapping[str, int]) -> Mapping[str, Any]:
    """Return nouns with less left; nothing is ever left below zero."""
    if not taken:
        return nouns
    changed = {}
    for code, amount in taken.items():
        if code not in nouns:
            continue
        left = getattr(nouns[code], name)
        changed[code] = nouns[code] if left is None else replace(nouns[code], **{name: max(0, left - amount)})
    return {**nouns, **changed}


def named(catalog: Catalog, before: Catalog, mark: str) -> Catalog:
    """Return the catalog with new keys for the lots of every leather that differs from an earlier catalog.

    ``mark`` must not have been used before. Where nothing of a leather changed, its keys stay, and with
    them all that was worked out about its lots.
    """
    earlier = before.lots
    changed = {lot.leather for code, lot in catalog.lots.items() if not _same(lot, earlier.get(code))}
    changed |= {lot.leather for code, lot in earlier.items() if code not in catalog.lots}
    lots = {
        code: replace(lot, key=f"{code}@{mark}") if lot.leather in changed else earlier[code]
        for code, lot in catalog.lots.items()
    }
    return replace(catalog, lots=lots)


def _same(lot: Lot, earlier: Lot | None) -> bool:
    return lot is earlier or (earlier is not None and replace(lot, key=earlier.key) == earlier)


def with_retired(catalog: Catalog) -> Catalog:
    """Return the catalog with every last lot that is used up taken for what it is: its leather is retired."""
    retired: dict[str, Leather] = {
        code: replace(leather, status=RETIRED)
        for code, leather in catalog.leathers.items()
        if leather.status == LAST_LOT and not any(lot.left_um2 for lot in catalog.lots_of(code))
    }
    return replace(catalog, leathers={**catalog.leathers, **retired}) if retired else catalog


def lie_together(stock: Catalog, needs: Iterable[Needs], warehouse: Warehouse) -> bool:
    """Whether a stock from which nothing is set aside holds all that is needed, panels by one joint layout.

    ``warehouse`` must not have seen these lots in another state under the same key.
    """
    every = tuple(needs)
    return not any(short_supplies(stock, every)) and not any(short_lots(stock, every, warehouse))


def short_supplies(stock: Catalog, needs: Sequence[Needs]) -> Iterator[tuple[str, int, int]]:
    """Yield the supplies of which more is needed than is left: code, needed, left."""
    for fields in SUPPLY_FIELDS.values():
        nouns = getattr(stock, fields.nouns)
        for code, amount in sorted(_taken(fields, needs).items()):
            left = getattr(nouns[code], fields.left) if code in nouns else 0
            if left is not None and left < amount:
                yield code, amount, left


def short_lots(stock: Catalog, needs: Sequence[Needs], warehouse: Warehouse) -> Iterator[str]:
    """Yield the lots in which the panels needed do not lie, by area or by layout, or that are not there."""
    held = less(stock, needs, warehouse.gap_um).lots
    for code in sorted({lot for each in needs for lot in each.lots}):
        lot = held.get(code)
        if lot is None or not warehouse.holds([], lot, stock.leathers[lot.leather].kind):
            yield code
