"""Two folds that keep what they were made of, for whoever can use more than their steps.

To a diagram they are folds like any other. Clauses say them in fewer words (:mod:`rules.diagram.clauses`).
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from rules.diagram.constraint import Codes, Fold, Whole


@dataclass(frozen=True, eq=False)
class Kinds(Fold):
    """At most ``most`` different kinds: the class of a value is its kind, and means the same in every slot."""

    most: int


@dataclass(frozen=True, eq=False)
class Total(Fold):
    """A sum that must lie within bounds; ``weights`` has an array for each slot: what each of its classes adds."""

    weights: tuple[Whole, ...]


def at_most_kinds(slots: Sequence[int], kinds: Sequence[Codes], *, most: int, label: Hashable) -> Kinds:
    """Return the constraint that the values of some slots are of at most so many kinds together.

    ``kinds`` has an array for each slot, with the kind of each of its values: whole numbers from 0.

    Raises:
        ValueError: ``most`` is below 1, a kind below 0, or the slots do not increase.
    """
    _check(slots)
    if most < 1 or any(int(each.min()) < 0 for each in kinds):
        raise ValueError("needs at least one kind, and kinds from 0")

    def step(state: frozenset[int], _place: int, code: int) -> frozenset[int] | None:
        if code in state:
            return state
        return state | {code} if len(state) < most else None

    return Kinds(
        tuple(slots),
        tuple(np.asarray(each, np.intp) for each in kinds),
        frozenset(),
        step,
        lambda _state: True,
        most,
        label=label,
    )


def sum_within(
    slots: Sequence[int],
    amounts: Sequence[Whole],
    *,
    least: int | None = None,
    most: int | None = None,
    label: Hashable,
) -> Total:
    """Return the constraint that what the values of some slots add up to lies within bounds, each where it is given.

    ``amounts`` has an array for each slot: what each of its values adds, in whole numbers of one unit, which may be
    negative.

    Raises:
        ValueError: the slots do not increase.
    """
    _check(slots)
    found = [np.unique(each, return_inverse=True) for each in amounts]
    weights = tuple(each.astype(np.int64) for each, _ in found)
    steps = [[int(weight) for weight in each] for each in weights]
    # A sum that only grows is lost as soon as it is too large.
    grows = all(each[0] >= 0 for each in steps)

    def step(state: int, place: int, code: int) -> int | None:
        reached = state + steps[place][code]
        return None if grows and most is not None and reached > most else reached

    def accepts(state: int) -> bool:
        return (least is None or state >= least) and (most is None or state <= most)

    classes = tuple(codes.reshape(-1).astype(np.intp) for _, codes in found)
    return Total(tuple(slots), classes, 0, step, accepts, weights, label=label)


def _check(slots: Sequence[int]) -> None:
    if any(one >= other for one, other in pairwise(slots)):
        raise ValueError("the slots of a constraint increase")
