"""Random problems small enough to try every combination, and what trying them all says."""

from __future__ import annotations

import random
from dataclasses import dataclass
from itertools import product

import numpy as np

from rules.diagram.clash import Choice
from rules.diagram.constraint import Allowed, Amounts, Constraint, Fold, Table
from rules.diagram.folds import few_kinds, sum_within


@dataclass
class Problem:
    """Sizes, constraints and prices, what is allowed, and choices; ``draw`` goes on from the same seed."""

    sizes: list[int]
    constraints: list[Constraint]
    allow: Allowed
    choices: list[Choice]
    prices: list[np.ndarray]
    distances: list[np.ndarray]
    draw: random.Random

    def __post_init__(self):
        self.rows = np.array(list(product(*(range(size) for size in self.sizes))))
        self._truths = {
            id(each): _truths(each, self.rows) for each in self.constraints if not isinstance(each, Amounts)
        }

    def standing(self, allow, labels=None):
        """Return truths for the rows: which stand under the constraints of some labels, or all."""
        stands = np.ones(len(self.rows), bool)
        for slot, truths in enumerate(allow):
            stands &= truths[self.rows[:, slot]]
        for each in self.constraints:
            if id(each) in self._truths and (labels is None or each.label in labels):
                stands &= self._truths[id(each)]
        return stands

    def totals(self):
        """Return the total of each row: its prices and the amounts of its combinations."""
        totals = sum(prices[self.rows[:, slot]] for slot, prices in enumerate(self.prices))
        for each in self.constraints:
            if isinstance(each, Amounts):
                totals = totals + each.amounts[_codes(each, self.rows)]
        return totals


def _codes(scope, rows):
    return tuple(codes[rows[:, slot]] for slot, codes in zip(scope.slots, scope.classes, strict=True))


def _truths(constraint, rows):
    codes = _codes(constraint, rows)
    if isinstance(constraint, Table):
        return constraint.holds[codes]
    return np.array([_accepted(constraint, row) for row in zip(*codes, strict=True)])


def _accepted(fold, codes):
    state = fold.start
    for place, code in enumerate(codes):
        state = fold.step(state, place, int(code))
        if state is None:
            return False
    return bool(fold.accepts(state))


def _classes(draw, size):
    """Return a class for each value, every class up to the largest one used."""
    codes = [draw.randrange(size) for _ in range(size)]
    names = {code: place for place, code in enumerate(sorted(set(codes)))}
    return np.array([names[code] for code in codes], np.intp)


def _constraint(draw, sizes, label):
    slots = tuple(sorted(draw.sample(range(len(sizes)), draw.randint(1, min(4, len(sizes))))))
    kind = draw.choice(("table", "table", "kinds", "sum", "rest", "amounts"))
    if kind == "kinds":
        kinds = [np.array([draw.randrange(-1, 4) for _ in range(sizes[slot])]) for slot in slots]
        return few_kinds(slots, kinds, draw.randint(0, 3), label=label)
    if kind == "sum":
        amounts = [np.array([draw.randint(-3, 9) for _ in range(sizes[slot])]) for slot in slots]
        least, most = draw.choice((None, draw.randint(-3, 6))), draw.choice((None, draw.randint(4, 16)))
        return sum_within(slots, amounts, least=least, most=most, label=label)
    classes = tuple(_classes(draw, sizes[slot]) for slot in slots)
    if kind == "rest":
        modulus, refused = draw.randint(2, 5), draw.randint(0, 4)
        return Fold(
            slots,
            classes,
            0,
            lambda state, place, code: (state + code * (place + 1)) % modulus,
            lambda state: state != refused,
            label=label,
        )
    shape = tuple(int(codes.max()) + 1 for codes in classes)
    cells = np.array([draw.random() for _ in range(int(np.prod(shape)))]).reshape(shape)
    if kind == "amounts":
        return Amounts(slots, classes, (cells * 40).astype(np.int64) - 5, label=label)
    return Table(slots, classes, cells < draw.choice((0.5, 0.8, 0.9)), label=label)


def _some(draw, size, share):
    truths = np.array([draw.random() < share for _ in range(size)])
    truths[draw.randrange(size)] = True
    return truths


def problem(seed: int) -> Problem:
    """Return a problem of 3 to 5 slots with 1 to 5 values each; the same for the same seed. Two labels may be one."""
    draw = random.Random(f"small problem {seed}")
    sizes = [draw.randint(1, 5) for _ in range(draw.randint(3, 5))]
    constraints = [_constraint(draw, sizes, f"c{draw.randrange(9)}") for _ in range(draw.randint(2, 7))]
    allow = [_some(draw, size, draw.choice((0.7, 1, 1))) for size in sizes]
    choices = []
    for name in range(draw.randint(0, 7)):
        slot = draw.randrange(len(sizes))
        share = draw.choice((0, 0, 0.5))
        choices.append(Choice(f"w{name}", slot, _some(draw, sizes[slot], share)))
    prices = [np.array([draw.randint(0, 60) for _ in range(size)], np.int64) for size in sizes]
    distances = [np.array([draw.randint(0, 4) for _ in range(size)], np.int64) for size in sizes]
    return Problem(sizes, constraints, allow, choices, prices, distances, draw)
