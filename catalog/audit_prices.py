"""Prices that contradict one another."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from catalog.model import Catalog, PricePoint
from catalog.strict_yaml import Document, Fault


def audit_prices(catalog: Catalog, document: Document, faulty: frozenset[str]) -> Iterator[Fault]:
    """Return dearer bands that cost less, breaks out of order, shares of nothing, and a rounding that jumps back."""
    if not faulty.isdisjoint({"price-list.yaml", "workshop.yaml"}):
        return
    yield from _bands(catalog, document)
    yield from _breaks(catalog, document)
    yield from _shares(catalog, document)
    yield from _point(catalog.price_list.point, document)


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


def _shares(catalog: Catalog, document: Document) -> Iterator[Fault]:
    """A part's share is held against the reference band, so that cell must be there."""
    prices = catalog.price_list
    for code, cells in prices.base_minor.items():
        pattern = catalog.patterns.get(code)
        others = () if pattern is None else [part for part in pattern.parts if prices.part_share.get(part)]
        if cells and others and prices.reference_band not in cells:
            message = f"{code}: no price for {prices.reference_band}, against which the share of {others[0]} is held"
            yield document.fault(("base", code), message)


def _point(point: PricePoint, document: Document) -> Iterator[Fault]:
    """An amount just below ``from`` may not be rounded up past what ``from`` itself comes to."""
    below, above = (-(-point.from_minor // step) * step for step in (point.step_below_minor, point.step_minor))
    if below > above:
        message = "step_below: just below 'from' it rounds up to more than 'step' does at 'from'"
        yield document.fault(("price_point", "step_below"), message)
