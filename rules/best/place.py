"""Rows made one after another, each from the lots that it was given: the last word on a plan."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import date

from rules.best.wish import Option
from rules.check import judge
from rules.shop import Shop
from rules.spec import Spec
from rules.taking import REFUSED, Restock, Taking


def placed_by(
    shop: Shop, specs: Sequence[Spec | None], today: date, rest: Restock
) -> Callable[[Mapping[int, Option]], int | None]:
    """Return a function that makes the rows of a plan in order and gives the first that is refused, or None."""

    def place(plan: Mapping[int, Option]) -> int | None:
        taking = Taking(shop, rest)
        for row, option in sorted(plan.items()):
            spec = specs[row]
            if spec is None:
                return row
            verdict = judge(taking.shop, replace(spec, lots=option.lots), today)
            if verdict.outcome == REFUSED:
                return row
            taking.take(verdict)
        return None

    return place
