"""Opening the house: files and store in, one shop at the stock's last revision and its clock out."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from sqlalchemy import Connection, select

from api.clock import Clock, clock_from
from api.desk.expiry import sweep
from api.desk.log import CheckLog
from api.editions import Editions, Folder, folder_as_it_stands, texts_in
from api.keys import FROM_SETTINGS, Keyring, make_key, read_keys
from api.once import Running
from api.settings import Settings
from api.store.editions import OPENING, add_edition, edition_in_force
from api.store.engine import BusyError, Revisions, Store, is_there
from api.store.migrate import bring_up
from api.store.shelf import Shelf, Shelves, stamp
from api.store.stock import add_unknown_supplies, is_new, seed
from api.store.tables import ENTRIES
from catalog.model import Catalog
from rules.shop import Shop


class House:
    """What every request works with: the shop as it stands, the store, the keys, the clock.

    The edition in force, the stock and the keys are looked up at each request and read anew where another
    process changed them.
    """

    def __init__(
        self, shop: Shop, clock: Clock, store: Store, *, editions: Editions | None = None, folder: Path | None = None
    ) -> None:
        """Keep a shop with the catalog's figures, and the store that says what became of them.

        Without ``editions`` the shop stays whatever edition is in force. ``folder``: where the next one is written.
        """
        self.clock = clock
        self.store = store
        self.editions = editions
        self.folder = folder
        self.shelves = Shelves(store, shop, None if editions is None else self._open)
        self.running = Running()
        self.log = CheckLog(store)
        self._keys: tuple[int, Keyring] | None = None

    @property
    def catalog(self) -> Catalog:
        """The catalog of the edition last seen, with the figures of its files."""
        return self.shelves.plain.catalog

    def _open(self, connection: Connection, number: int) -> Shop:
        """Return the shop of another edition; the clock moves to its time zone."""
        assert self.editions is not None
        shop = self.editions.numbered(connection, number)
        zone = ZoneInfo(shop.catalog.workshop.time_zone)
        if zone != self.clock.zone:
            self.clock = Clock(zone, self.clock.offset)
        return shop

    @property
    def shelf(self) -> Shelf:
        """The stock at its last revision; holds that are due have lapsed."""
        return self.shelf_at(self.store.revisions())

    def shelf_at(self, revisions: Revisions) -> Shelf:
        """Return the shelf at a revision that was just looked up, or at a later one; holds that are due have lapsed."""
        shelf = self.shelves.at(revisions)
        due = shelf.due
        if due is not None and due <= self.now():
            with suppress(BusyError):  # what is due and still held only makes an answer more careful
                sweep(self.store, self.shelves, self.now())
            shelf = self.shelves.current()
        return shelf

    @property
    def shop(self) -> Shop:
        """The shop at the stock's last revision."""
        return self.shelf.shop

    @property
    def keys(self) -> Keyring:
        """The keys in force."""
        return self.keys_at(self.shelves.current())

    def keys_at(self, shelf: Shelf) -> Keyring:
        """Return the keys in force when a shelf was looked up: whoever has one needs no second look at the store."""
        revision = shelf.revisions.keys
        if self._keys is None or self._keys[0] != revision:
            with self.store.read() as connection:
                self._keys = revision, read_keys(connection)
        return self._keys[1]

    def now(self) -> str:
        """Return the moment as the store writes it."""
        return stamp(self.clock.now())

    def close(self) -> None:
        """Write what waits to be written and close the store."""
        self.log.flush()
        self.store.close()


def open_house(settings: Settings) -> House:
    """Open the store and the edition in force; fill a new store from the folder, whose files are its first edition.

    Raises:
        Faults: the folder is needed and has faults; with every fault found, each with its file, line and column.
        EditionError: this program cannot read the edition in force.
    """
    editions = Editions()
    if not is_there(settings.database_url):
        _sound(editions, folder_as_it_stands(settings.catalog))  # a store that nothing can fill is not made
    store = Store(settings.database_url)
    try:
        bring_up(store.engine)
        shop = _in_force(store, editions)
        if shop is None:
            shop = _first(store, editions, folder_as_it_stands(settings.catalog), settings)
    except BaseException:
        store.close()
        raise
    clock = _not_behind(clock_from(shop.catalog.workshop.time_zone, settings.today), store)
    return House(shop, clock, store, editions=editions, folder=settings.catalog)


def _sound(editions: Editions, folder: Folder) -> Shop:
    """Return the shop of a folder, or raise its faults."""
    if folder.faults is not None:
        raise folder.faults
    return editions.of(folder.files)


def _in_force(store: Store, editions: Editions) -> Shop | None:
    """Return the shop of the edition in force; None where there is none yet."""
    with store.read() as connection:
        number = edition_in_force(connection)
        return editions.numbered(connection, number) if number else None


def _first(store: Store, editions: Editions, folder: Folder, settings: Settings) -> Shop:
    """Put the folder in force as the first edition, unless another process was first; seed a store that is new."""
    shop = _sound(editions, folder)
    clock = _not_behind(clock_from(shop.catalog.workshop.time_zone, settings.today), store)
    now = stamp(clock.now())
    with store.write() as write:
        if write.edition:
            return editions.numbered(write.connection, write.edition)
        if is_new(write.connection):
            seed(write, shop.catalog, now)
            if settings.bootstrap_owner_key is not None:
                make_key(
                    write, "owner", name="first owner", at=now, by=FROM_SETTINGS, text=settings.bootstrap_owner_key
                )
        else:  # a store from before there were editions
            add_unknown_supplies(write, shop.catalog, now)
        number = add_edition(write, folder.files, shop.catalog.content_hash, at=now, by=OPENING)
    return replace(shop, edition=number)


@contextmanager
def shop_at_hand(settings: Settings) -> Iterator[tuple[Shop, Clock, House | None]]:
    """Give the shop of the store, or where a file that is no store yet is named, that of the catalog's own figures.

    For a single question: nothing is made that is not there. Gives the house too, if there is one.

    Raises:
        Faults: with every fault found, each with its file, line and column.
    """
    if is_there(settings.database_url):
        house = open_house(settings)
        try:
            yield house.shop, house.clock, house
        finally:
            house.close()
    else:
        shop = shop_from_files(settings)
        yield shop, clock_from(shop.catalog.workshop.time_zone, settings.today), None


def shop_from_files(settings: Settings) -> Shop:
    """Return the shop with the catalog's own stock figures, no store opened.

    Raises:
        Faults: with every fault found, each with its file, line and column.
    """
    return Editions().of(texts_in(settings.catalog))


def _not_behind(clock: Clock, store: Store) -> Clock:
    """Return the clock moved on past the last entry: a clock set to a day at each start must not run backwards."""
    with store.read() as connection:
        last = connection.execute(select(ENTRIES.c.at).order_by(ENTRIES.c.at.desc()).limit(1)).scalar()
    return clock if last is None else clock.not_before(datetime.fromisoformat(last).astimezone(UTC))


def _furnish(store: Store, shop: Shop, now: str, settings: Settings) -> None:
    """Seed a new store; give one that is not new what the catalog gained."""
    with store.write() as write:
        if is_new(write.connection):
            seed(write, shop.catalog, now)
            if settings.bootstrap_owner_key is not None:
                make_key(
                    write, "owner", name="first owner", at=now, by=FROM_SETTINGS, text=settings.bootstrap_owner_key
                )
        elif add_unknown_supplies(write, shop.catalog, now):
            write.stock += 1
