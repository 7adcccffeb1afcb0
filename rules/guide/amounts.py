"""Prices of choices: what each value adds, and what several add together.

The rows of the price list add up; rush, the break for the quantity and the price point are a rising function of their
sum, so the least sum gives the least total.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import product
from math import lcm, prod

import numpy as np
from numpy.typing import NDArray

from catalog.model import Number
from rules.cells import scoped
from rules.diagram.constraint import Amounts, TooEntangledError, Whole
from rules.facets import Facet
from rules.guide.domain import Domain, facet_key
from rules.guide.judged import coded
from rules.pricing import settle
from rules.tariff import Row

#: Combinations of what a row of the price list reads that are priced.
MOST_PRICED = 50_000


class Prices:
    """The rows of a price list that hang on slots alone (``static``), or on the order's own facts too.

    ``alone[slot]`` is what each value adds, ``together`` what several do, both in parts of a minor unit (``share``
    parts); ``always`` is what is added whatever is chosen.
    """

    def __init__(self, domain: Domain, *, static: bool) -> None:
        self._domain = domain
        self._numbers = domain.numbers()
        tariff = domain.shop.indexes.tariff
        self.tariff = tariff
        rows = tariff.rows.get(domain.pattern.code, ())
        self.share = lcm(*(_under(row) for row in rows)) if rows else 1
        self.alone: list[Whole] = [np.zeros(size, dtype=np.int64) for size in domain.sizes]
        self.together: list[Amounts] = []
        self.always = 0
        self._totals: dict[int, int] = {}
        for row in rows:
            self._add(row, self._facets(row), static=static)

    def _facets(self, row: Row) -> set[Facet]:
        return {facet for read in row.reads for facet in scoped(read, row.of or None, self._domain.pattern.parts)}

    def _add(self, row: Row, facets: set[Facet], *, static: bool) -> None:
        slots = tuple(sorted({self._numbers[facet] for facet in facets if facet in self._numbers}))
        hangs = any(facet not in self._numbers or facet == ("letters", "") for facet in facets)
        if len(slots) > 1 and hangs == static:
            return  # a static row of several slots is in the standing diagram, the others are added to it
        keyed = [self._coded(slot, facets) for slot in slots]
        if prod(len(examples) for _, examples in keyed) > MOST_PRICED:
            raise TooEntangledError(row.code)
        amounts = np.zeros([len(examples) for _, examples in keyed], dtype=np.int64)
        for at in product(*(range(len(examples)) for _, examples in keyed)):
            chosen = {slot: own[1][code] for slot, own, code in zip(slots, keyed, at, strict=True)}
            line = row.line(self._domain.piece(chosen))
            amounts[at] = 0 if line is None else int(line.amount_minor * self.share)
        if not slots:
            self.always += int(amounts)
        elif len(slots) == 1:
            self.alone[slots[0]] += amounts[keyed[0][0]]
        elif amounts.any():
            classes = tuple(codes for codes, _ in keyed)
            self.together.append(Amounts(slots, classes, amounts, label=row.code))

    def _coded(self, slot: int, facets: set[Facet]) -> tuple[NDArray[np.intp], list[int]]:
        own = self._domain.slots[slot]
        return coded([(facet_key(own, place, facets),) for place in range(len(own.values))])

    def total_minor(self, amount: int) -> int:
        """Return the total of an order whose rows add up to so much, minor units."""
        if amount not in self._totals:
            base = self._domain.base
            subtotal: Number = Fraction(amount + self.always, self.share)
            _, _, each = settle(self.tariff, subtotal, rush=base.rush, quantity=base.quantity)
            self._totals[amount] = each * base.quantity
        return self._totals[amount]


def _under(row: Row) -> int:
    """Return the denominator of a row's amounts."""
    lines = getattr(row, "lines", None)
    amounts = [line.amount_minor for line in lines.values()] if lines is not None else [row.row.amount_minor]  # type: ignore[attr-defined]
    return lcm(*(amount.denominator for amount in amounts))
