"""What is asked of two shops to compare them: examples, stored checks, open quotes, open orders, a sample.

Examples, checks and the sample are judged as a new check would be, all that is set aside left alone. An item of an
open quote or order is judged as it stands: from the lots that were set aside for it, what is set aside for
that one item given back first, what was cut of it put back into its lots; a short one as if asked anew.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, Final

from pydantic import ValidationError
from pydantic_core import from_json
from sqlalchemy import Connection, func, select

from api.desk.orders import put_back
from api.desk.quotes import spec_in
from api.desk.repeats import known
from api.desk.rows import hold_of, items_of
from api.desk.signing import LIVE
from api.house import House
from api.store.engine import revisions_on
from api.store.shelf import Shelf
from api.store.stock import live_holds, needs_in, on_the_shelf, with_unknown_lots
from api.store.tables import CHECK_LOG, ORDERS, QUOTES, UNDER_WAY
from catalog.model import Catalog
from rules.comparison import Asked
from rules.needs import Needs
from rules.sample import sample_specs
from rules.shop import Shop
from rules.spec import Spec
from rules.themes import known_good

#: Different specs of the log that are compared, and checks that are looked through for them; the newest first.
MOST_CHECKS: Final = 2_000
_MOST_LOOKED_AT: Final = 50_000
_SEED: Final = "comparison"

_NO_LETTERS: Final = "the letters of the monogram are not kept"
_NOT_READ: Final = "kept in a form that is not read any more"
_TOO_MANY: Final = "older than the checks that are looked through"


@dataclass(frozen=True, slots=True)
class Sides:
    """Two shops, each over the stock as it stands."""

    old: Shelf
    new: Shelf

    @classmethod
    def in_store(cls, house: House, connection: Connection, old: Shop, new: Shop) -> Sides:
        """Return two shops of files over what the store has; lots that it has never had come in as the files say."""
        holds, revisions = live_holds(connection), revisions_on(connection)

        def shelf(plain: Shop) -> Shelf:
            base = with_unknown_lots(connection, plain.catalog, on_the_shelf(connection, plain.catalog))
            return house.shelves.under(plain.apart(), base, holds, revisions)

        return cls(shelf(old), shelf(new))


@dataclass
class Gathering:
    """Gives what is asked; ``left_out`` counts what cannot be, by source and why."""

    house: House
    connection: Connection
    sides: Sides
    left_out: Counter[tuple[str, str]] = field(default_factory=Counter)

    def named(self, specs: Mapping[str, Spec]) -> Iterator[Asked]:
        """Give specs that somebody keeps as examples."""
        for ref, spec in specs.items():
            yield self._plain("example", ref, spec)

    def patterns(self) -> Iterator[Asked]:
        """Give each pattern as it comes: its defaults under the old files, or the new where the old lack it."""
        patterns = {**self.sides.new.plain.catalog.patterns, **self.sides.old.plain.catalog.patterns}
        for code in sorted(patterns):
            yield self._plain("pattern", code, known_good(patterns[code]))

    def sample(self, size: int, today: date) -> Iterator[Asked]:
        """Give random specs, always the same: half of them over the old catalog, half over the new."""
        catalogs = (self.sides.old.shop.catalog, size - size // 2), (self.sides.new.shop.catalog, size // 2)
        place = 0
        for seed, (catalog, count) in enumerate(catalogs):
            chance = random.Random(f"{_SEED} {seed}")  # noqa: S311 -- no secret
            for spec in sample_specs(catalog, chance, today, count):
                place += 1
                yield self._plain("sample", f"{place}", spec)

    def checks(self, most: int = MOST_CHECKS) -> Iterator[Asked]:
        """Give the different specs of the log, the newest first, each called by its newest check."""
        rows = self.connection.execute(
            select(CHECK_LOG.c.id, CHECK_LOG.c.spec).order_by(CHECK_LOG.c.id.desc()).limit(_MOST_LOOKED_AT)
        )
        seen, last = set[str](), 0
        for row in rows:
            if len(seen) == most and row.spec not in seen:
                break
            last = row.id
            if row.spec in seen:
                continue
            seen.add(row.spec)
            spec = self._kept("check", from_json(row.spec), None)
            if spec is not None:
                yield self._plain("check", f"{row.id}", spec)
        older = select(func.count()).select_from(CHECK_LOG).where(CHECK_LOG.c.id < last)
        if seen and (count := self.connection.execute(older).scalar_one()):
            self.left_out["check", _TOO_MANY] += count

    def quotes(self) -> Iterator[Asked]:
        """Give the items of open quotes."""
        rows = self.connection.execute(select(QUOTES).where(QUOTES.c.state.in_(LIVE)).order_by(QUOTES.c.number))
        for row in rows.all():
            yield from self._items("quote", row.id, row.id, row.client, {}, 0)

    def orders(self) -> Iterator[Asked]:
        """Give the items of orders that are not over."""
        rows = self.connection.execute(select(ORDERS).where(ORDERS.c.state.in_(UNDER_WAY)).order_by(ORDERS.c.number))
        for row in rows.all():
            cuts = {own["item"]: own["cuts"] for own in from_json(row.as_built)}
            yield from self._items("order", row.id, row.quote, row.client, cuts, row.minutes)

    def _items(
        self,
        source: str,
        record: str,
        quote: str,
        client: str,
        cuts: Mapping[int, Sequence[Mapping[str, Any]]],
        minutes: int,
    ) -> Iterator[Asked]:
        hold = hold_of(self.connection, quote)
        needs = needs_in(hold.needs)
        for item in items_of(self.connection, record):
            number = item["item"]
            spec = self._kept(source, item["spec"], client)
            if spec is None:
                continue
            own = [cut for cut in cuts.get(number, ()) if not cut["recut"]]
            if hold.state == "live" or own:
                spec = replace(spec, lots={**spec.lots, **_lots_of(needs[number - 1], own)})
            # The whole order's minutes: an order is ready when its last item is, and it must not wait for itself.
            old, new = (
                _given_back(self.house, each, quote, number, own, minutes) for each in (self.sides.old, self.sides.new)
            )
            yield Asked(source, record, spec, old, new, number)

    def _kept(self, source: str, body: Mapping[str, Any], client: str | None) -> Spec | None:
        """Return a kept spec, or None where it cannot be judged any more."""
        if "letters" in (body.get("monogram") or {}):
            self.left_out[source, _NO_LETTERS] += 1
            return None
        try:
            return known(self.house, spec_in(body), client)
        except ValidationError:
            self.left_out[source, _NOT_READ] += 1
            return None

    def _plain(self, source: str, ref: str, spec: Spec) -> Asked:
        return Asked(source, ref, spec, self.sides.old.shop, self.sides.new.shop)


def _lots_of(needs: Needs, cuts: Sequence[Mapping[str, Any]]) -> dict[str, tuple[str, ...]]:
    """Return the lots of each part of an item: those it is to be cut from, and those it was cut from."""
    lots: dict[str, tuple[str, ...]] = {}
    taken = [(each.part, each.lot) for each in needs.panels] + [(cut["part"], cut["lot"]) for cut in cuts]
    for part, lot in taken:
        lots[part] = tuple(dict.fromkeys((*lots.get(part, ()), lot)))
    return lots


def _given_back(
    house: House, shelf: Shelf, quote: str, item: int, cuts: Sequence[Mapping[str, Any]], minutes: int
) -> Shop:
    """Return a shop as if nothing were set aside for one item, nothing of it cut and its order not in the backlog."""
    holds = tuple(
        replace(hold, needs=(*hold.needs[: item - 1], *hold.needs[item:])) if hold.quote == quote else hold
        for hold in shelf.holds
    )
    base: Catalog = shelf.base
    if minutes:
        own = base.workshop
        base = replace(base, workshop=replace(own, backlog_minutes=own.backlog_minutes - minutes))
    for cut in cuts:
        base = put_back(base, cut)
    return house.shelves.made(shelf, base, holds).shop
