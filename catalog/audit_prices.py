"""Prices that contradict one another."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from catalog.model import Catalog
from catalog.strict_yaml import Document, Fault


def audit_prices(catalog: Catalog, document: Document, faulty: frozenset[str]) -> Iterator[Fault]:
    """Return dearer bands that cost less, and quantity breaks out of order."""
    if not faulty.isdisjoint({"price-list.yaml", "workshop.yaml"}):
        return
    yield from _bands(catalog, document)
    yield from _breaks(catalog, document)


def _bands(catalog: Catalog, document: Document) -> Iterator[Fault]:
    prices = catalog.price_list
    for pattern, cells in prices.base_minor.items():
        priced = [band for band in prices.bands if band in cells]
        for cheaper, dearer in pairwise(priced):
            if cells[dearer] < cells[cheaper]:
                message = f"{dearer} costs less than {cheaper}, a cheaper band ({', '.join(prices.bands)})"
                yield document.fault(("base", pattern, dearer), message)


def _breaks(catalog: Catalog, document: Document) -> Iterator[Fault]:
    for index, (smaller, larger) in enumerate(pairwise(catalog.price_list.breaks), start=1):
        path = ("quantity_breaks", index)
        if larger.quantity <= smaller.quantity:
            message = f"from: {larger.quantity} comes after {smaller.quantity}; breaks go up"
            yield document.fault((*path, "from"), message)
        elif larger.percent < smaller.percent:
            message = f"percent: from {larger.quantity} pieces less is taken off than from {smaller.quantity}"
            yield document.fault((*path, "percent"), message)
