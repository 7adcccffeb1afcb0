"""Opening the house: files and store in, one shop at the stock's last revision and its clock out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from sqlalchemy import select

import rules
from api.clock import Clock, clock_from
from api.desk.expiry import sweep
from api.desk.log import CheckLog
from api.keys import FROM_SETTINGS, Keyring, make_key, read_keys
from api.once import Running
from api.settings import Settings
from api.store.engine import BusyError, Store, is_there
from api.store.migrate import bring_up
from api.store.shelf import Shelf, Shelves, stamp
from api.store.stock import add_unknown_supplies, is_new, seed
from api.store.tables import ENTRIES
from catalog.load import load_catalog
from catalog.strict_yaml import Fault, Faults
from rules.shop import Shop, open_shop

#: No file of a catalog or a rule book comes near; what is larger is not even read.
_LARGEST_FILE: Final = 4_000_000
BOOK: Final = Path(rules.__file__).parent / "book"


class House:
    """What every request works with: the shop as it stands, the store, the keys, the clock.

    Files are read once; a change of them needs a new start. The stock and the keys are looked up at
    each request and read anew where another process changed them.
    """

    def __init__(self, shop: Shop, clock: Clock, store: Store) -> None:
        """Keep a shop with the catalog's figures, and the store that says what became of them."""
        self.catalog = shop.catalog
        self.clock = clock
        self.store = store
        self.shelves = Shelves(store, shop)
        self.running = Running()
        self.log = CheckLog(store)
        self._keys: tuple[int, Keyring] | None = None

    @property
    def shelf(self) -> Shelf:
        """The stock at its last revision; holds that are due have lapsed."""
        shelf = self.shelves.current()
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
    """Read the catalog and the rule book, open the store, and fill it if it is new.

    Raises:
        Faults: with every fault found, each with its file, line and column.
    """
    shop = shop_from_files(settings)
    clock = clock_from(shop.catalog.workshop.time_zone, settings.today)
    store = Store(settings.database_url)
    bring_up(store.engine)
    clock = _not_behind(clock, store)
    _furnish(store, shop, stamp(clock.now()), settings)
    return House(shop, clock, store)


@contextmanager
def shop_at_hand(settings: Settings) -> Iterator[tuple[Shop, Clock]]:
    """Give the shop of the store, or where a file that is no store yet is named, that of the catalog's own figures.

    For a single question: nothing is made that is not there.

    Raises:
        Faults: with every fault found, each with its file, line and column.
    """
    if is_there(settings.database_url):
        house = open_house(settings)
        try:
            yield house.shop, house.clock
        finally:
            house.close()
    else:
        shop = shop_from_files(settings)
        yield shop, clock_from(shop.catalog.workshop.time_zone, settings.today)


def shop_from_files(settings: Settings) -> Shop:
    """Return the shop with the catalog's own stock figures, no store opened.

    Raises:
        Faults: with every fault found, each with its file, line and column.
    """
    return open_shop(load_catalog(texts_in(settings.catalog)), texts_in(BOOK))


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


def texts_in(folder: Path) -> Mapping[str, str]:
    """Return the YAML and CSV files of a folder by name, sorted. Raises Faults where one is no UTF-8 text."""
    texts: dict[str, str] = {}
    faults: list[Fault] = []
    for file in sorted([*folder.glob("*.yaml"), *folder.glob("*.csv")]):
        try:
            with file.open("rb") as opened:
                content = opened.read(_LARGEST_FILE + 1)
            if len(content) > _LARGEST_FILE:
                faults.append(Fault(file.name, 1, 1, f"the file is larger than {_LARGEST_FILE} bytes"))
                continue
            texts[file.name] = content.decode("utf-8").replace("\r\n", "\n")
        except UnicodeDecodeError as bad:
            before = bad.object[: bad.start]
            line, column = before.count(b"\n") + 1, bad.start - before.rfind(b"\n")
            faults.append(Fault(file.name, line, column, f"not UTF-8 text: byte {bad.start} cannot be read"))
        except OSError as bad:
            faults.append(Fault(file.name, 1, 1, f"cannot be read: {bad.strerror}"))
    if faults:
        raise Faults(faults)
    return texts
