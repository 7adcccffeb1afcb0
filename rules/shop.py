"""A shop: one catalog and one rule book, compiled together, and the stock as it stands."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, TypeVar

import rules.measures  # noqa: F401  # registers the vocabulary that the book is read against
from catalog.model import Catalog
from catalog.strict_yaml import Fault, Faults
from rules.audit.accepted import accepted_in
from rules.book import Book, load_book
from rules.evaluate import Judges
from rules.house import house_of
from rules.piece import Indexes, Piece
from rules.spec import Spec
from rules.stock import HurriedWarehouse, Warehouse, warehouse_of
from rules.tariff import Tariff

Read = TypeVar("Read")


@dataclass(frozen=True)
class Shop:
    """What a check needs to know. ``stock_revision`` counts the stock's changes.

    ``edition`` is the number of the edition of the workshop's files, None where they were read for this once;
    ``stages`` is where :mod:`rules.stages` keeps the rules that it has compiled.
    """

    catalog: Catalog
    book: Book
    indexes: Indexes
    warehouse: Warehouse
    hurried: Warehouse
    stock_revision: int = 0
    backlog_revision: int = 0
    edition: int | None = None
    _judges: dict[date, Judges] = field(default_factory=dict)
    stages: dict[Any, Any] = field(default_factory=dict, repr=False, compare=False)
    guides: dict[Any, Any] = field(default_factory=dict, repr=False, compare=False)

    def piece(self, spec: Spec) -> Piece:
        """Return a spec resolved against the catalog."""
        return Piece(spec, self.indexes)

    def restocked(self, catalog: Catalog, stock_revision: int, backlog_revision: int) -> Shop:
        """Return the shop with another stock of the same catalog; what was worked out is shared.

        What is kept is told apart by the stock that it read (:mod:`rules.facets`, ``Lot.key``).
        """
        indexes = self.indexes.restocked(catalog)
        return replace(
            self,
            catalog=catalog,
            indexes=indexes,
            stock_revision=stock_revision,
            backlog_revision=backlog_revision,
        )

    def apart(self) -> Shop:
        """Return the same shop with nothing worked out yet, for whoever judges much that nobody will ask again."""
        fresh = shop_of(self.catalog, self.book)
        return replace(
            fresh,
            stock_revision=self.stock_revision,
            backlog_revision=self.backlog_revision,
            edition=self.edition,
        )

    @property
    def revisions(self) -> dict[str, str | int | None]:
        """Return what an answer is judged by: edition, catalog, rule book, price list, stock, backlog."""
        return {
            "edition": self.edition,
            "catalog": self.catalog.workshop.catalog_revision,
            "rule_book": self.book.content_hash,
            "price_list": self.indexes.tariff.content_hash,
            "stock": self.stock_revision,
            "backlog": self.backlog_revision,
        }

    def judges(self, today: date) -> Judges:
        """Return the rules in force on a day."""
        judges = self._judges.get(today)
        if judges is None:
            # Checks run side by side in threads: each keeps what it has made, whoever clears the old day.
            judges = Judges(self.book, self.catalog.thresholds, today)
            self._judges.clear()
            self._judges[today] = judges
        return judges


def open_shop(catalog: Catalog, book_files: Mapping[str, str]) -> Shop:
    """Return a shop over a catalog and the text of the rule book's files.

    Raises :class:`catalog.strict_yaml.Faults` with every fault of the book, the price list and the accept-list.
    """
    faults: list[Fault] = []
    book = _sound(lambda: load_book(book_files, catalog.thresholds, house_of(catalog)), faults)
    _sound(lambda: Tariff(catalog), faults)
    _sound(lambda: accepted_in(catalog.house), faults)
    if book is None or faults:
        raise Faults(tuple(faults))
    return shop_of(catalog, book)


def _sound(read: Callable[[], Read], faults: list[Fault]) -> Read | None:
    """Return what was read, or None where it has faults, which are noted."""
    try:
        return read()
    except Faults as bad:
        faults.extend(bad.faults)
        return None


def shop_of(catalog: Catalog, book: Book) -> Shop:
    """Return a shop over a catalog, a rule book that was read, and lots as they stand."""
    warehouse = warehouse_of(catalog)
    return Shop(catalog, book, Indexes(catalog, Tariff(catalog)), warehouse, HurriedWarehouse(warehouse))
