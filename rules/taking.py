"""Specs that take from the stock one after another: each is judged against what the ones before it leave."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import date
from functools import partial
from typing import Any

from catalog.model import Catalog, Lot
from rules.check import Verdict, judge
from rules.needs import SUPPLY_FIELDS, Needs, less, needs_of
from rules.shop import Shop
from rules.spec import Spec

Restock = Callable[[Shop, Catalog], Shop]
"""Gives a shop over another stock, whose lots are named anew so that nothing worked out is mixed up."""
REFUSED = "refused"
#: What runs out where the room for rush orders does.
RUSH = "rush"


class Taking:
    """A stock that grows less. Since each layout is joint with all panels before, what was taken lies together."""

    def __init__(self, shop: Shop, restock: Restock) -> None:
        """Begin with a whole stock."""
        self.whole = shop
        self._restock = restock
        self._shop = shop
        self._due: list[Needs] = []

    @property
    def shop(self) -> Shop:
        """The shop with what is left."""
        if self._due:
            left = less(self._shop.catalog, self._due, self._shop.warehouse.gap_um)
            self._shop, self._due = self._restock(self._shop, left), []
        return self._shop

    def take(self, verdict: Verdict) -> Needs:
        """Take what a piece needs that was judged against what is left and not refused; return it."""
        needs = needs_of(verdict.case)
        self._due.append(needs)
        return needs

    def ran_out(self, spec: Spec, today: date) -> tuple[str, ...]:
        """Return what ran out for a spec that is refused by now: codes of leathers and supplies, ``rush``; sorted.

        () where the spec is refused with the whole stock too. Else each thing of which alone the whole stock would
        do; where no single one would, a smallest set of them without any of which it would not do.
        """
        alone = judge(self.whole, spec, today)
        if alone.outcome == REFUSED:
            return ()
        taken_of = dict(self._taken_of(needs_of(alone.case)))

        def would_do(codes: Iterable[str]) -> bool:
            catalog = self.shop.catalog
            for code in codes:
                catalog = taken_of[code](catalog)
            return judge(self._with(catalog), spec, today).outcome != REFUSED

        found = [code for code in taken_of if would_do([code])]
        if not found:
            found = list(taken_of)
            for code in taken_of:
                without = [each for each in found if each != code]
                if would_do(without):
                    found = without
        return tuple(sorted(found))

    def _taken_of(self, needs: Needs) -> Iterator[tuple[str, Callable[[Catalog], Catalog]]]:
        """Give everything needed that something was taken of, with what makes it whole again in a stock."""
        whole, left = self.whole.catalog, self.shop.catalog
        for leather in sorted({whole.lots[lot].leather for lot in needs.lots}):
            lots = {lot.code: lot for lot in whole.lots_of(leather)}
            if any(left.lots.get(code) is not lot for code, lot in lots.items()):
                yield leather, partial(_with_lots, lots)
        for fields in SUPPLY_FIELDS.values():
            before, now = getattr(whole, fields.nouns), getattr(left, fields.nouns)
            for code in sorted(getattr(needs, fields.need)):
                if now.get(code) != before.get(code):
                    yield code, partial(_with_supply, fields.nouns, code, before[code])
        if needs.rush and left.workshop != whole.workshop:
            yield RUSH, lambda catalog: replace(catalog, workshop=whole.workshop)

    def _with(self, catalog: Catalog) -> Shop:
        """Return the shop over lots that all have been seen before under their names: none needs another."""
        return self.whole.restocked(catalog, self.whole.stock_revision, self.whole.backlog_revision)


def _with_lots(lots: Mapping[str, Lot], catalog: Catalog) -> Catalog:
    return replace(catalog, lots={**catalog.lots, **lots})


def _with_supply(nouns: str, code: str, supply: Any, catalog: Catalog) -> Catalog:
    changed: dict[str, Any] = {nouns: {**getattr(catalog, nouns), code: supply}}
    return replace(catalog, **changed)
