"""Rows made one after another, each from the lots that it was given: the last word on a plan."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import date

from catalog.model import Catalog
from rules.best.wish import Option
from rules.check import judge
from rules.needs import less, needs_of
from rules.shop import Shop
from rules.spec import Spec

REFUSED = "refused"


def placed_by(
    shop: Shop, specs: Sequence[Spec | None], today: date, rest: Callable[[Shop, Catalog], Shop]
) -> Callable[[Mapping[int, Option]], int | None]:
    """Return a function that makes the rows of a plan in order and gives the first that is refused, or None."""

    def place(plan: Mapping[int, Option]) -> int | None:
        left = shop
        for row, option in sorted(plan.items()):
            spec = specs[row]
            if spec is None:
                return row
            verdict = judge(left, replace(spec, lots=option.lots), today)
            if verdict.outcome == REFUSED:
                return row
            left = rest(left, less(left.catalog, [needs_of(verdict.case)], shop.warehouse.gap_um))
        return None

    return place
