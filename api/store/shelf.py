"""The shop at the stock's last revision, for every request; reloaded when another process changed it.

A request costs one look at the row of revisions. Where that row is new, lots, supplies and live holds
are read once; whoever changes stock in this process hands over what it worked out instead.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import count

from sqlalchemy import Connection

from api.store.engine import Revisions, Store, revisions_on
from api.store.stock import Held, first_short, live_holds, on_the_shelf, set_aside
from catalog.model import Catalog
from rules.needs import less, named
from rules.shop import Shop


@dataclass(frozen=True, slots=True)
class Shelf:
    """The stock at one revision: the shop with all holds set aside, and what it was made of."""

    shop: Shop
    base: Catalog
    holds: tuple[Held, ...]
    revisions: Revisions
    short_until: str | None = None

    @property
    def due(self) -> str | None:
        """Return the moment at which the first hold lapses, one that is short too, or None."""
        return min(filter(None, (self.short_until, *(hold.until for hold in self.holds))), default=None)


class Shelves:
    """Gives the current shelf; threads share it."""

    def __init__(self, store: Store, shop: Shop) -> None:
        """Keep a shop with the catalog's own figures; nothing is read yet."""
        self._store = store
        self._shop = shop
        self._marks = count()
        self._lock = threading.Lock()
        self._current: Shelf | None = None

    @property
    def gap_um(self) -> int:
        """Return the least distance between two panels."""
        return self._shop.warehouse.gap_um

    def current(self) -> Shelf:
        """Return the shelf at the last committed revision."""
        current, revisions = self._current, self._store.revisions()
        if current is not None and current.revisions == revisions:
            return current
        with self._lock:
            return self._reloaded()

    def _reloaded(self) -> Shelf:
        with self._store.read() as connection:
            revisions = revisions_on(connection)
            if self._current is not None and self._current.revisions == revisions:
                return self._current
            self._current = self.read(connection, revisions)
            return self._current

    def read(self, connection: Connection, revisions: Revisions) -> Shelf:
        """Return the shelf as a connection sees it."""
        current = self._current
        if current is not None and current.revisions[:2] == revisions[:2]:  # keys alone have changed
            return replace(current, revisions=revisions)
        return self.read_anew(connection, revisions)

    def read_anew(self, connection: Connection, revisions: Revisions) -> Shelf:
        """Return the shelf as a connection sees it, what its transaction has changed so far included."""
        shelf = self.made(on_the_shelf(connection, self._shop.catalog), live_holds(connection), revisions)
        return replace(shelf, short_until=first_short(connection))

    def made(self, base: Catalog, holds: tuple[Held, ...], revisions: Revisions) -> Shelf:
        """Return a shelf of a stock and its holds. Lots that are as they were keep their keys."""
        catalog = set_aside(base, holds, self.gap_um)
        return Shelf(self._shop_of(catalog, self._last_catalog(), revisions), base, holds, revisions)

    def adopt(self, shelf: Shelf) -> None:
        """Take what a transaction of this process left, unless something newer is there."""
        with self._lock:
            if self._current is None or self._current.revisions < shelf.revisions:
                self._current = shelf

    def beside(self, shelf: Shelf, hold: Held) -> Shelf:
        """Return a shelf with one more hold, one stock revision on."""
        catalog = less(shelf.shop.catalog, hold.needs, self.gap_um)
        revisions = shelf.revisions._replace(stock=shelf.revisions.stock + 1)
        shop = self._shop_of(catalog, shelf.shop.catalog, revisions)
        return replace(shelf, shop=shop, holds=(*shelf.holds, hold), revisions=revisions)

    def without(self, shop: Shop, catalog: Catalog) -> Shop:
        """Return a shop with another stock that is no revision of its own: what if, or the rest of a basket."""
        return shop.restocked(
            named(catalog, shop.catalog, f"{next(self._marks)}"), shop.stock_revision, shop.backlog_revision
        )

    def _shop_of(self, catalog: Catalog, before: Catalog, revisions: Revisions) -> Shop:
        return self._shop.restocked(named(catalog, before, f"{next(self._marks)}"), revisions.stock, revisions.backlog)

    def _last_catalog(self) -> Catalog:
        return self._shop.catalog if self._current is None else self._current.shop.catalog


def stamp(moment: datetime) -> str:
    """Return a moment in UTC as the store writes it: text that sorts."""
    return moment.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
