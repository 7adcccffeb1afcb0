"""The folds that come up again and again: a sum within limits, and at most so many different ones."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from rules.diagram.constraint import NO_STATE, Codes, Fold, Whole

#: So many kinds fit into the bits of one whole number that is not negative.
_MOST_KINDS = 62


@dataclass(frozen=True, eq=False)
class Total(Fold):
    """A sum from ``least`` to ``most``, each where it is given; ``weights`` are one array a slot, one entry a class."""

    weights: tuple[Whole, ...]
    least: int | None
    most: int | None


@dataclass(frozen=True, eq=False)
class Kinds(Fold):
    """At most ``most`` different kinds: a class is a kind, the same in every slot; ``none`` counts as no kind."""

    most: int
    none: int | None


def sum_within(
    slots: Sequence[int],
    weights: Sequence[Whole],
    *,
    least: int | None = None,
    most: int | None = None,
    label: Hashable = "",
) -> Total:
    """The sum over slots of the weight of their value lies from ``least`` to ``most``, in any whole unit.

    ``slots`` are in increasing order, ``weights`` one array a slot, one entry a value.
    """
    different = [np.unique(np.asarray(weight, np.int64), return_inverse=True) for weight in weights]
    of_class: list[Whole] = [weight for weight, _ in different]
    # Where no weight is negative a sum above the limit stays above it.
    cap = most if most is not None and all(weight[0] >= 0 for weight in of_class if len(weight)) else None

    def step(state: int, place: int, code: int) -> int | None:
        after = state + int(of_class[place][code])
        return None if cap is not None and after > cap else after

    def together(states: Whole, place: int, codes: Codes) -> Whole:
        after = states[:, None] + of_class[place][codes]
        return after if cap is None else np.where(after > cap, NO_STATE, after)

    def accepts(state: int) -> bool:
        return (least is None or state >= least) and (most is None or state <= most)

    classes = tuple(codes.ravel() for _, codes in different)
    return Total(tuple(slots), classes, 0, step, accepts, tuple(of_class), least, most, label=label, together=together)


def few_kinds(slots: Sequence[int], kinds: Sequence[Codes], most: int, *, label: Hashable = "") -> Kinds:
    """At most ``most`` different kinds among the slots; a value of kind -1 counts as none.

    ``slots`` are in increasing order, ``kinds`` one array a slot, one entry a value. The state is the set of kinds met.
    """
    known = np.unique(np.concatenate(kinds))
    classes = tuple(np.searchsorted(known, kind) for kind in kinds)
    bits = [0 if kind < 0 else 1 << at for at, kind in enumerate(known.tolist())]

    def step(state: int, _place: int, code: int) -> int | None:
        after = state | bits[code]
        return after if after.bit_count() <= most else None

    def together(states: Whole, _place: int, codes: Codes) -> Whole:
        after = states[:, None] | np.array(bits, np.int64)[codes]
        return np.where(np.bitwise_count(after) <= most, after, NO_STATE)

    def accepts(state: int) -> bool:
        return state.bit_count() <= most

    fits = len(bits) <= _MOST_KINDS
    none = 0 if known[0] < 0 else None
    return Kinds(tuple(slots), classes, 0, step, accepts, most, none, label=label, together=together if fits else None)
