"""Small random problems, and every question answered by writing all combinations out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import Any

import numpy as np

from rules.diagram.constraint import Allowed, Amounts, Codes, Constraint, Fold, Table, Whole

MOST_COMBINATIONS = 4_000


@dataclass(frozen=True)
class Problem:
    """Slots and constraints, small enough to be written out."""

    sizes: tuple[int, ...]
    constraints: tuple[Constraint, ...]

    @cached_property
    def accepted(self) -> list[tuple[tuple[int, ...], int]]:
        """Every combination that stands, with what it costs by its amounts."""
        found = []
        for values in product(*map(range, self.sizes)):
            judged = [judge(constraint, values) for constraint in self.constraints]
            if None not in judged:
                found.append((values, sum(judged)))
        return found

    def near(self, allow: Allowed, slot: int) -> list[tuple[tuple[int, ...], int]]:
        """What is accepted and keeps to ``allow`` but perhaps in one slot (-1: in all slots)."""
        return [
            (values, cost)
            for values, cost in self.accepted
            if all(at == slot or allow[at][value] for at, value in enumerate(values))
        ]


def judge(constraint: Constraint, values: Sequence[int]) -> int | None:
    """What the constraint charges for a combination; None where it forbids it."""
    codes = tuple(
        int(classes[values[slot]]) for slot, classes in zip(constraint.slots, constraint.classes, strict=True)
    )
    if isinstance(constraint, Table):
        return 0 if constraint.holds[codes] else None
    if isinstance(constraint, Amounts):
        return int(constraint.amounts[codes])
    state = constraint.start
    for place, code in enumerate(codes):
        state = constraint.step(state, place, code)
        if state is None:
            return None
    return 0 if constraint.accepts(state) else None


def total(values: Sequence[int], cost: int, prices: Sequence[Whole]) -> int:
    """What a combination costs with the prices of its values."""
    return cost + sum(int(price[value]) for price, value in zip(prices, values, strict=True))


def sum_at_most(slots: tuple[int, ...], classes: tuple[Codes, ...], weights: Sequence[Whole], most: int) -> Fold:
    """The sum over slots of the weight of their class stays within a limit."""
    return Fold(slots, classes, 0, lambda state, place, code: state + int(weights[place][code]), lambda s: s <= most)


def few_kinds(slots: tuple[int, ...], classes: tuple[Codes, ...], most: int) -> Fold:
    """At most so many different classes."""

    def step(state: frozenset[int], place: int, code: int) -> frozenset[int] | None:
        after = state | {code}
        return after if len(after) <= most else None

    return Fold(slots, classes, frozenset(), step, lambda state: len(state) <= most)


def random_problem(seed: int) -> Problem:
    """A problem of up to six slots and seven constraints of all kinds."""
    chance = np.random.default_rng(seed)
    sizes: list[int] = []
    for _ in range(int(chance.integers(1, 7))):
        size = int(chance.integers(1, 6))
        if np.prod([*sizes, size]) <= MOST_COMBINATIONS:
            sizes.append(size)
    constraints = [_constraint(chance, sizes) for _ in range(int(chance.integers(0, 8)))]
    return Problem(tuple(sizes), tuple(constraints))


def _constraint(chance: np.random.Generator, sizes: Sequence[int]) -> Constraint:
    many = int(chance.integers(1, min(4, len(sizes)) + 1))
    slots = tuple(sorted(chance.choice(len(sizes), many, replace=False).tolist()))
    classes = tuple(_classes(chance, sizes[slot]) for slot in slots)
    shape = [int(codes.max()) + 1 for codes in classes]
    kinds: list[Callable[[], Any]] = [
        lambda: Table(slots, classes, chance.random(shape) < chance.choice([0.3, 0.6, 0.85, 1.0])),
        lambda: Amounts(slots, classes, chance.integers(-5, 20, shape)),
        lambda: sum_at_most(
            slots, classes, [chance.integers(-3, 9, size) for size in shape], int(chance.integers(0, 5 * many))
        ),
        lambda: few_kinds(slots, classes, int(chance.integers(1, many + 1))),
    ]
    return kinds[int(chance.integers(0, len(kinds)))]()


def _classes(chance: np.random.Generator, size: int) -> Codes:
    """Classes from 0 on, none without a value."""
    return np.unique(chance.integers(0, size, size), return_inverse=True)[1].astype(np.intp)


def random_allow(chance: np.random.Generator, sizes: Sequence[int]) -> Allowed:
    """Some slots chosen, some narrowed, some open, now and then one with nothing left."""
    out = []
    for size in sizes:
        kind = int(chance.integers(0, 20))
        allowed = np.ones(size, np.bool_)
        if kind == 0:
            allowed[:] = False
        elif kind < 7:
            allowed = np.arange(size) == chance.integers(0, size)
        elif kind < 12:
            allowed = chance.random(size) < 0.6
        out.append(allowed)
    return out


def random_prices(chance: np.random.Generator, sizes: Sequence[int], most: int = 30) -> list[Whole]:
    """A price for each value, 0 among them."""
    return [chance.integers(0, most, size) for size in sizes]
