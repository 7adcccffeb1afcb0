"""A shop: one catalog and one rule book, compiled together, and the stock as it stands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

import rules.measures  # noqa: F401  # registers the vocabulary that the book is read against
from catalog.model import Catalog
from rules.book import Book, load_book
from rules.evaluate import Judges
from rules.piece import Indexes, Piece
from rules.spec import Spec
from rules.stock import HurriedWarehouse, Warehouse


@dataclass(frozen=True)
class Shop:
    """What a check needs to know. ``stock_revision`` counts the stock's changes."""

    catalog: Catalog
    book: Book
    indexes: Indexes
    warehouse: Warehouse
    hurried: Warehouse
    stock_revision: int = 0
    backlog_revision: int = 0
    _judges: dict[date, Judges] = field(default_factory=dict)

    def piece(self, spec: Spec) -> Piece:
        """Return a spec resolved against the catalog."""
        return Piece(spec, self.indexes)

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

    Raises :class:`catalog.strict_yaml.Faults` with every fault of the book.
    """
    book = load_book(book_files, catalog.thresholds)
    gap_um = int(catalog.thresholds["nest_gap_mm"].value)
    return shop_of(catalog, book, Warehouse(gap_um))


def shop_of(catalog: Catalog, book: Book, warehouse: Warehouse) -> Shop:
    """Return a shop over a catalog, a rule book that was read, and lots as they stand."""
    return Shop(catalog, book, Indexes(catalog), warehouse, HurriedWarehouse(warehouse))
