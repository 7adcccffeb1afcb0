"""The shop at the stock's last revision, for every request; reloaded when another process changed it.

A request costs one look at the row of revisions. Where that row is new, lots, supplies and live holds
are read once; whoever changes stock in this process hands over what it worked out instead. Where another
edition of the workshop's files is in force, its shop is opened first; who began with the old one ends with it.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import count

from sqlalchemy import Connection

from api.store.engine import Revisions, Store, revisions_on
from api.store.stock import Held, first_short, live_holds, on_the_shelf, set_aside
from catalog.model import Catalog
from rules.needs import less, named
from rules.shop import Shop

Opener = Callable[[Connection, int], Shop]
"""Gives the shop of an edition, with the figures of its files."""


@dataclass(frozen=True, slots=True)
class Shelf:
    """The stock at one revision: the shop with all holds set aside, and what it was made of.

    ``plain`` is the shop of its edition, with the figures of the files.
    """

    shop: Shop
    plain: Shop
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

    def __init__(self, store: Store, shop: Shop, opener: Opener | None = None) -> None:
        """Keep a shop with the catalog's own figures; nothing is read yet.

        ``opener`` gives the shops of later editions; without it the shop stays, whatever edition is in force.
        """
        self._store = store
        self._plain = shop
        self._opener = opener
        self._marks = count()
        self._lock = threading.Lock()
        self._current: Shelf | None = None

    @property
    def gap_um(self) -> int:
        """Return the least distance between two panels."""
        return self._plain.warehouse.gap_um

    @property
    def plain(self) -> Shop:
        """Return the shop of the edition last seen, with the figures of its files."""
        return self._plain

    def current(self) -> Shelf:
        """Return the shelf at the last committed revision."""
        return self.at(self._store.revisions())

    def at(self, revisions: Revisions) -> Shelf:
        """Return the shelf at a revision that was just looked up, or at a later one."""
        current = self._current
        if current is not None and current.revisions == revisions:
            return current
        with self._lock:
            return self._reloaded()

    def is_open(self, revisions: Revisions) -> bool:
        """Whether the edition in force is at hand; to open another takes about a second."""
        return self._opener is None or self._plain.edition == revisions.edition

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
        plain = self._plain_at(connection, revisions.edition)
        base, holds = on_the_shelf(connection, plain.catalog), live_holds(connection)
        shelf = self.under(plain, base, holds, revisions)
        return replace(shelf, short_until=first_short(connection))

    def made(self, shelf: Shelf, base: Catalog, holds: tuple[Held, ...]) -> Shelf:
        """Return a shelf of the same edition and revision as another, of another stock and holds.

        Lots that are as they were keep their keys.
        """
        catalog = set_aside(base, holds, shelf.plain.warehouse.gap_um)
        shop = self._shop_of(shelf.plain, catalog, shelf.shop.catalog, shelf.revisions)
        return Shelf(shop, shelf.plain, base, holds, shelf.revisions)

    def under(self, plain: Shop, base: Catalog, holds: tuple[Held, ...], revisions: Revisions) -> Shelf:
        """Return a shelf of a shop, in force or not, with a stock and its holds."""
        catalog = set_aside(base, holds, plain.warehouse.gap_um)
        shop = self._shop_of(plain, catalog, self._last_catalog(plain), revisions)
        return Shelf(shop, plain, base, holds, revisions)

    def _plain_at(self, connection: Connection, edition: int) -> Shop:
        plain = self._plain
        if self._opener is None or plain.edition == edition:
            return plain
        found = self._opener(connection, edition)
        if plain.edition is None or plain.edition < edition:  # who still sees an older one gets it, and nobody else
            self._plain = found
        return found

    def adopt(self, shelf: Shelf) -> None:
        """Take what a transaction of this process left, unless something newer is there."""
        with self._lock:
            if self._current is None or self._current.revisions < shelf.revisions:
                self._current = shelf

    def beside(self, shelf: Shelf, hold: Held) -> Shelf:
        """Return a shelf with one more hold, one stock revision on."""
        catalog = less(shelf.shop.catalog, hold.needs, shelf.plain.warehouse.gap_um)
        revisions = shelf.revisions._replace(stock=shelf.revisions.stock + 1)
        shop = self._shop_of(shelf.plain, catalog, shelf.shop.catalog, revisions)
        return replace(shelf, shop=shop, holds=(*shelf.holds, hold), revisions=revisions)

    def without(self, shop: Shop, catalog: Catalog) -> Shop:
        """Return a shop with another stock that is no revision of its own: what if, or the rest of a basket."""
        return shop.restocked(
            named(catalog, shop.catalog, f"{next(self._marks)}"), shop.stock_revision, shop.backlog_revision
        )

    def _shop_of(self, plain: Shop, catalog: Catalog, before: Catalog, revisions: Revisions) -> Shop:
        return plain.restocked(named(catalog, before, f"{next(self._marks)}"), revisions.stock, revisions.backlog)

    def _last_catalog(self, plain: Shop) -> Catalog:
        """Return the catalog whose lots may keep their keys: the last of the same edition."""
        current = self._current
        return plain.catalog if current is None or current.plain is not plain else current.shop.catalog


def stamp(moment: datetime) -> str:
    """Return a moment in UTC as the store writes it: text that sorts."""
    return moment.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
