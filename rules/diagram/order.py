"""Orders of slots that promise a small diagram, by an estimate of the width at every cut.

At a cut between two slots a constraint that has slots on both sides is *open*. It can be in at most as many states as
its classes on the left combine to, nor is it likely to be in more than its classes on the right tell apart. The width
is at most the product over open constraints; constraints that have one and the same slot on the left never tell more
apart than that slot has values.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from rules.diagram.automaton import automaton
from rules.diagram.constraint import Allowed, Constraint, Fold, TooEntangledError

Real = NDArray[np.float64]
#: Widths above are all alike hopeless; exponents stay finite.
_WIDEST = 60.0
#: More classes than this to come (logarithm) bound the width no longer: only the states of a constraint do.
_FEW_TO_COME = 6.0
#: How much the width of each cut counts beside the number of arcs, which the widest alone decide.
_EVERY_CUT = 0.1
#: Smaller betterments end the search.
_BETTER = 1e-3
#: Random orders to start from, at least: one alone often ends in a poor local optimum.
_STARTS = 8
_SEED = 20


class _Estimate:
    """The estimate for a problem: scopes with the logarithm of how many classes each slot shows there."""

    def __init__(self, constraints: Sequence[Constraint], allow: Allowed) -> None:
        self.values = np.log(np.maximum([allowed.sum() for allowed in allow], 1.0))
        self.scopes: list[tuple[list[int], Real, float]] = []
        for constraint in constraints:
            shown = [
                len(np.unique(codes[allow[slot]]))
                for slot, codes in zip(constraint.slots, constraint.classes, strict=True)
            ]
            most = _most_states(constraint, allow) if isinstance(constraint, Fold) else _WIDEST
            if len(constraint.slots) > 1:
                self.scopes.append((list(constraint.slots), np.log(np.maximum(shown, 1.0)), most))

    def of(self, orders: NDArray[np.intp]) -> Real:
        """The estimate of each order: orders of shape (how many, slots)."""
        many, slots = orders.shape
        place = np.argsort(orders, axis=1)
        cut = np.arange(slots)
        wide = np.zeros((many, slots))
        alone = np.zeros((many, slots, slots))
        rows, cuts = np.indices((many, slots))
        for scope, shown, most in self.scopes:
            on_left = place[:, scope][:, :, None] <= cut
            left = (on_left * shown[:, None]).sum(axis=1)
            right = shown.sum() - left
            known = on_left.sum(axis=1)
            width = np.minimum(np.minimum(left, most), np.where(right < _FEW_TO_COME, right, _WIDEST))
            width = np.where(known == len(scope), 0.0, width)
            leader = np.asarray(scope)[place[:, scope].argmin(axis=1)]
            single = known == 1
            alone[rows, cuts, leader[:, None]] += np.where(single, width, 0.0)
            wide += np.where(single, 0.0, width)
        wide += np.minimum(alone, self.values).sum(axis=2)
        arcs = np.exp(np.minimum(wide, _WIDEST)) * np.exp(self.values[orders] / 2)
        return np.asarray(np.log(arcs.sum(axis=1)) + _EVERY_CUT * wide.sum(axis=1))


def _most_states(fold: Fold, allow: Allowed) -> float:
    """The logarithm of how many states a fold keeps apart, along its slots as they are numbered."""
    try:
        machine = automaton(fold, range(len(allow)), allow)
    except TooEntangledError:
        # Another order may still suit it.
        return _WIDEST
    return 0.0 if machine is None else float(np.log(max(len(moves) for moves in machine.moves)))


def promising(constraints: Sequence[Constraint], allow: Allowed, count: int) -> list[tuple[int, ...]]:
    """Up to ``count`` different orders that no move of one slot betters, the best estimate first."""
    slots = len(allow)
    estimate = _Estimate(constraints, allow)
    moves = _moves(slots)
    chance = np.random.default_rng(_SEED)
    found: dict[tuple[int, ...], float] = {}
    starts = [np.arange(slots)] + [chance.permutation(slots) for _ in range(max(2 * count, _STARTS))]
    for start in starts:
        order, cost = _bettered(start, moves, estimate)
        found.setdefault(order, cost)
        if slots <= 2:
            break
    return sorted(found, key=lambda order: (found[order], order))[:count]


def _moves(slots: int) -> NDArray[np.intp]:
    """Every move of one of so many slots to another place, as the order that it makes of 0, 1, 2 ..."""
    places = np.arange(slots)
    pairs = [(here, there) for here in range(slots) for there in range(slots) if here != there]
    made = [np.insert(np.delete(places, here), there, here) for here, there in pairs]
    return np.stack(made) if made else np.zeros((0, slots), np.intp)


def _bettered(start: NDArray[np.intp], moves: NDArray[np.intp], estimate: _Estimate) -> tuple[tuple[int, ...], float]:
    """A local optimum: the best move of one slot to another place is made until none betters the estimate."""
    order = start
    cost = float(estimate.of(order[None])[0])
    while len(moves):
        tried = order[moves]
        costs = estimate.of(tried)
        best = int(costs.argmin())
        if costs[best] > cost - _BETTER:
            break
        order, cost = tried[best], float(costs[best])
    return tuple(order.tolist()), cost
