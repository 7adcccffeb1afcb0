"""Worked orders: specs that a maker worked out by hand, and whether one rule still says of them what was written.

An order is judged on the catalog's own figures and on what it supposes, on a day of its own: never on the stock as it
stands, so that what it comes out as changes with the rules and the catalog alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from catalog.figures import with_figures
from catalog.model import Catalog
from rules.book import Book
from rules.check import judge
from rules.ir import SEVERITIES, Severity
from rules.judge import Fired
from rules.shop import Shop, shop_of
from rules.spec import Spec


@dataclass(frozen=True, slots=True)
class WorkedOrder:
    """What one rule says of one spec.

    ``expect`` is fails, passes or skips; ``severity`` that of a failure, where it is stated. ``supposes`` are figures
    of the catalog that are otherwise in this order, by path (:mod:`catalog.figures`), ``holds`` the paths of the
    figures at whose limit it stands, ``body`` the spec as it was written, ``worked`` the arithmetic in words.
    """

    rule: str
    says: str
    spec: Spec
    expect: str
    worked: str
    body: Mapping[str, Any]
    severity: Severity | None = None
    supposes: Mapping[str, Any] = field(default_factory=dict)
    holds: tuple[str, ...] = ()
    on: date | None = None


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a rule says: fails, passes or skips, and with which severity it fails."""

    word: str
    severity: Severity | None = None


def outcome_of(shop: Shop, order: WorkedOrder, today: date) -> Outcome:
    """Return what the order's rule says of it.

    Args:
        shop: with the catalog's own figures (:func:`reckoned`), not with the stock as it stands.
        order: its ``supposes`` must be figures of the catalog, else FigureError is raised.
        today: the day of orders that name none.
    """
    on = order.on or today
    supposed = reckoned(with_figures(shop.catalog, order.supposes), shop.book) if order.supposes else shop
    case = judge(supposed, order.spec, on).case
    words = [word for rule, _, word in supposed.judges(on).words_on(case) if rule.id == order.rule and word is not None]
    fired = [word.severity for word in words if isinstance(word, Fired)]
    if fired:
        return Outcome("fails", min(fired, key=SEVERITIES.index))
    return Outcome("passes" if words else "skips")


def as_written(order: WorkedOrder, now: Outcome) -> bool:
    """Whether an order comes out as it says, in its severity too where it states one."""
    return now.word == order.expect and (now.word != "fails" or order.severity in (None, now.severity))


def reckoned(catalog: Catalog, book: Book) -> Shop:
    """Return a shop with a catalog's own figures and the rules of a book; nothing worked out is shared with another."""
    book = replace(book, thresholds=catalog.thresholds)
    return shop_of(catalog, book)
