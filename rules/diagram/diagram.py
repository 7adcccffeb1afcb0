"""A problem compiled: what can still be chosen, at what price, in how many ways, for every value of every slot at once.

A layered, reduced, valued decision diagram over many values (Amilhastre, Fargier and Marquis 2002 for the compiled
automaton that answers such questions, Bergman and others 2016 for diagrams in general; both cited from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from math import log
from typing import Final, TypeVar
from weakref import WeakKeyDictionary

import numpy as np

from rules.diagram.active import active, within_reach
from rules.diagram.arcs import Level, conjoined, free_levels
from rules.diagram.arrays import run_lengths
from rules.diagram.automaton import Automaton, automaton
from rules.diagram.constraint import Allowed, Amounts, Codes, Constraint, TooEntangledError, Whole
from rules.diagram.counting import bits, counted
from rules.diagram.layer import Layer, packed, unpacked
from rules.diagram.merging import grouped, without_costs
from rules.diagram.order import promising
from rules.diagram.passes import (
    NONE,
    PRICES,
    TRUTHS,
    Edges,
    is_none,
    label_counts,
    label_prices,
    label_truths,
    through,
    upward,
)
from rules.diagram.reduction import reduced
from rules.diagram.witness import cheapest_way

__all__ = ["MOST_ARCS", "NONE", "Diagram", "compile_diagram"]

#: Arcs of a product, all levels together, beyond which a problem counts as too entangled.
MOST_ARCS = 8_000_000
#: Constraints conjoined before the diagram is reduced again.
_GROUP = 8
#: Arcs that another order may need on the way, to each that the best so far keeps in the end.
_ON_THE_WAY = 1.5
#: Diagrams with fewer edges are scanned whole: to find what is in reach would take as long.
_SMALL = 60_000
#: Part of the edges that may be in reach for a walk over them to be worth its while.
_WORTHWHILE = 0.25
#: Part of the freedom of all slots (in logarithms of their values) that must be gone before such a walk is tried.
_SETTLED = 0.25
_T = TypeVar("_T")


class Diagram:
    """The combinations that a problem accepts, each with what it costs.

    ``allow`` is what each slot may still be (truths, as many as the slot has values); prices are whole numbers, one a
    value. Answers per value leave the choice of the value's own slot aside: they hold for a completion that has this
    value and keeps to ``allow`` in every other slot. Totals up to 1e15 either way are exact.
    """

    def __init__(
        self, sizes: Sequence[int], order: Sequence[int], layers: Sequence[Layer] | None, due: int = 0
    ) -> None:
        """``layers`` as packed, None where nothing is accepted; ``due`` is charged to every combination."""
        self.sizes: tuple[int, ...] = tuple(sizes)
        self.order: tuple[int, ...] = tuple(order)
        self.satisfiable: bool = layers is not None
        self.layers: tuple[Layer, ...] = tuple(layers or ())
        self.due = due

    @cached_property
    def nodes(self) -> int:
        """How many nodes there are, the end included."""
        return sum(layer.nodes for layer in self.layers) + self.satisfiable

    @cached_property
    def edges(self) -> int:
        """How many edges there are, parallel arcs joined."""
        return sum(layer.edges for layer in self.layers)

    @cached_property
    def arcs(self) -> int:
        """How many arcs there are, one a class of values."""
        total = 0
        for layer in self.layers:
            lengths = run_lengths(layer.labels.member_starts, len(layer.labels.members))
            total += int(lengths[layer.label].sum())
        return total

    @cached_property
    def memory_bytes(self) -> int:
        """What the arrays take."""
        return sum(layer.memory_bytes for layer in self.layers)

    def conjoined(
        self,
        constraints: Sequence[Constraint],
        *,
        allow: Allowed | None = None,
        most_arcs: int = MOST_ARCS,
        reduce: bool = True,
    ) -> Diagram:
        """The diagram with further constraints, over the allowed values alone, in the same order of slots.

        Raises :class:`TooEntangledError` beyond ``most_arcs`` arcs. Without ``reduce`` only dead ends go.
        """
        machines_of = _automata if allow is not None else _kept_automata
        allow = _all(self.sizes) if allow is None else allow
        if not self.satisfiable:
            return self
        machines = machines_of(constraints, self.order, allow)
        if not self.layers:
            return self if not machines else Diagram(self.sizes, self.order, None)
        levels = unpacked(self.layers, [allow[slot] for slot in self.order])
        if levels is None:
            return Diagram(self.sizes, self.order, None)
        done = _multiplied(levels, [machines], allow, self.order, most_arcs, merge=reduce)
        if done is None:
            return Diagram(self.sizes, self.order, None)
        return Diagram(self.sizes, self.order, packed(done[0]), self.due + done[1])

    def feasible(self, allow: Allowed) -> bool:
        """Whether any combination keeps to what is allowed."""
        return self.satisfiable and within_reach(self.layers, allow, self.order)

    def possible(self, allow: Allowed) -> tuple[bool, Allowed]:
        """Whether there is a completion, and for each value whether there is one through it."""
        if not self.satisfiable:
            return False, [np.zeros(size, np.bool_) for size in self.sizes]
        weights = [label_truths(layer.labels, allow[slot]) for layer, slot in zip(self.layers, self.order, strict=True)]
        any_way, values = through(self._within(allow), weights, TRUTHS)
        return bool(any_way), self._by_slot(values)

    def cheapest(self, allow: Allowed, prices: Sequence[Whole]) -> tuple[int | None, list[Whole]]:
        """The lowest total (prices and amounts), and for each value the lowest through it; NONE where there is none."""
        return self._extreme(allow, prices, 1)

    def dearest(self, allow: Allowed, prices: Sequence[Whole]) -> tuple[int | None, list[Whole]]:
        """The highest total, and for each value the highest through it; NONE where there is none."""
        return self._extreme(allow, prices, -1)

    def _extreme(self, allow: Allowed, prices: Sequence[Whole], sign: int) -> tuple[int | None, list[Whole]]:
        if not self.satisfiable:
            return None, [np.full(size, NONE, np.int64) for size in self.sizes]
        signed = [np.asarray(price, np.int64) * sign for price in prices]
        weights = [
            label_prices(layer.labels, allow[slot], signed[slot])
            for layer, slot in zip(self.layers, self.order, strict=True)
        ]
        best, values = through(self._within(allow), weights, PRICES, sign)
        totals = [
            np.where(is_none(rest), NONE, sign * (rest + price) + self.due)
            for rest, price in zip(self._by_slot(values), signed, strict=True)
        ]
        return (None if is_none(best) else sign * int(best) + self.due), totals

    def count(self, allow: Allowed) -> tuple[int, list[list[int]]]:
        """How many completions there are, and for each value how many through it; exact at any size."""
        if not self.satisfiable:
            return 0, [[0] * size for size in self.sizes]
        weights = [label_counts(layer.labels, allow[slot]) for layer, slot in zip(self.layers, self.order, strict=True)]
        total, values = counted(self._within(allow), weights, self._count_bits)
        return total, self._by_slot(values)

    @cached_property
    def _count_bits(self) -> int:
        """Bits that hold the number of all combinations, hence of any part of them."""
        allow = _all(self.sizes)
        weights = [label_counts(layer.labels, allow[slot]) for layer, slot in zip(self.layers, self.order, strict=True)]
        return bits(self.layers, weights)

    def witness(self, allow: Allowed, prices: Sequence[Whole]) -> tuple[int, ...] | None:
        """A cheapest completion, one value a slot; None if there is none.

        Among equals the lowest value in the first slot of ``order`` is taken, then in the second, and so on.
        """
        if not self.satisfiable:
            return None
        parts = self._within(allow)
        masked = [np.where(allow[slot], np.asarray(prices[slot], np.int64), np.int64(1 << 60)) for slot in self.order]
        weights = [
            label_prices(layer.labels, allow[slot], price)
            for layer, slot, price in zip(self.layers, self.order, masked, strict=True)
        ]
        beyond = upward(parts, weights, PRICES)
        if is_none(beyond[0][0]):
            return None
        chosen = cheapest_way(parts, masked, beyond)
        return tuple(chosen[self.order.index(slot)] for slot in range(len(self.sizes)))

    def merged(self, groups: Sequence[Codes], *, most_arcs: int = MOST_ARCS) -> Diagram:
        """The diagram over groups of values: it accepts groups wherever some values in them are accepted.

        ``groups`` gives for each slot the group of each value, from 0 on. Costs are dropped. Raises
        :class:`TooEntangledError` beyond ``most_arcs`` arcs.
        """
        sizes = [int(group.max()) + 1 for group in groups]
        if not self.satisfiable or not self.layers:
            return Diagram(sizes, self.order, None if not self.satisfiable else ())
        every = unpacked(self.layers, [np.ones(self.sizes[slot], np.bool_) for slot in self.order])
        assert every is not None
        plain = reduced(without_costs(every))
        assert plain is not None
        levels = grouped(plain[0], [groups[slot] for slot in self.order], most_arcs)
        small = reduced(levels)
        assert small is not None
        return Diagram(sizes, self.order, packed(small[0]))

    def _within(self, allow: Allowed) -> Sequence[Edges]:
        """What a pass must walk over: the part in reach where that is small, else everything."""
        if self.edges > _SMALL and self._settled(allow) >= _SETTLED:
            parts = active(self.layers, allow, self.order, int(self.edges * _WORTHWHILE))
            if parts is not None:
                return parts
        return self.layers

    def _settled(self, allow: Allowed) -> float:
        """How much of the freedom of all slots is gone: 0 with nothing chosen, 1 with everything."""
        before = sum(log(size) for size in self.sizes)
        left = sum(log(max(int(np.count_nonzero(allowed)), 1)) for allowed in allow)
        return 1 - left / before if before else 1.0

    def _by_slot(self, by_layer: Sequence[_T]) -> list[_T]:
        """What came layer by layer in the order of slots."""
        return [by_layer[place] for place in np.argsort(self.order)]


def compile_diagram(
    sizes: Sequence[int],
    constraints: Sequence[Constraint],
    *,
    allow: Allowed | None = None,
    most_arcs: int = MOST_ARCS,
    orders: int = 4,
    first: Sequence[int] = (),
) -> Diagram:
    """The diagram of a problem: slots with ``sizes`` values each, of which ``allow`` drops some for good.

    Up to ``orders`` orders of slots are tried (``first`` before any other) and the one with the fewest arcs is kept.
    Raises :class:`TooEntangledError` where each needs more than ``most_arcs`` arcs at once.
    """
    allow = _all(sizes) if allow is None else allow
    if not sizes or any(not allowed.any() for allowed in allow):
        holds = not sizes and not _automata(constraints, (), allow)
        return Diagram(sizes, range(len(sizes)), () if holds else None)
    tried = [tuple(first)] if first else []
    if len(tried) < orders:
        tried += [order for order in promising(constraints, allow, orders) if order not in tried]
    best: tuple[list[Level], int, tuple[int, ...]] | None = None
    fewest, limit = most_arcs + 1, most_arcs
    for order in tried[:orders]:
        try:
            done = _compiled(sizes, constraints, allow, order, limit)
        except TooEntangledError:
            continue
        if done is None:
            return Diagram(sizes, order, None)
        levels, due, peak = done
        arcs = sum(len(level.targets) for level in levels)
        # An order that needs much more on the way than another keeps in the end seldom ends with less.
        limit = min(limit, peak, int(arcs * _ON_THE_WAY))
        if arcs < fewest:
            best, fewest = (levels, due, order), arcs
    if best is None:
        raise TooEntangledError(f"no order of slots needs at most {most_arcs} arcs")
    return Diagram(sizes, best[2], packed(best[0]), best[1])


def _all(sizes: Sequence[int]) -> Allowed:
    return [np.ones(size, np.bool_) for size in sizes]


def _automata(constraints: Sequence[Constraint], order: Sequence[int], allow: Allowed) -> list[Automaton]:
    """The automata of constraints, those that are done first along the order before others, amounts last."""
    machines = (automaton(each, order, allow) for each in _ranked(constraints, order))
    return [machine for machine in machines if machine is not None]


#: Automata of constraints over all values, by the order of slots: the same constraint is often added to diagrams anew.
_KEPT: Final[WeakKeyDictionary[Constraint, dict[tuple[int, ...], Automaton | None]]] = WeakKeyDictionary()


def _kept_automata(constraints: Sequence[Constraint], order: Sequence[int], allow: Allowed) -> list[Automaton]:
    """The automata of constraints over all values, made once; as :func:`_automata`."""
    found: list[Automaton] = []
    for each in _ranked(constraints, order):
        kept = _KEPT.setdefault(each, {})
        key = tuple(order)
        if key not in kept:
            kept[key] = automaton(each, order, allow)
        machine = kept[key]
        if machine is not None:
            found.append(machine)
    return found


def _ranked(constraints: Sequence[Constraint], order: Sequence[int]) -> list[Constraint]:
    """Constraints, those that are done first along the order before others, amounts last."""
    place = {slot: at for at, slot in enumerate(order)}

    def rank(constraint: Constraint) -> tuple[bool, int, int]:
        ends = max((place[slot] for slot in constraint.slots), default=0)
        return isinstance(constraint, Amounts), ends, len(constraint.slots)

    return sorted(constraints, key=rank)


def _compiled(
    sizes: Sequence[int], constraints: Sequence[Constraint], allow: Allowed, order: Sequence[int], most_arcs: int
) -> tuple[list[Level], int, int] | None:
    """The reduced levels for one order, what is due, and the most arcs that any product on the way had. None: empty."""
    machines = _automata(constraints, order, allow)
    groups = [machines[at : at + _GROUP] for at in range(0, len(machines), _GROUP)] or [[]]
    return _multiplied(free_levels(sizes, order), groups, allow, order, most_arcs)


def _multiplied(
    levels: list[Level],
    groups: Sequence[Sequence[Automaton]],
    allow: Allowed,
    order: Sequence[int],
    most_arcs: int,
    *,
    merge: bool = True,
) -> tuple[list[Level], int, int] | None:
    """Levels multiplied with groups of automata, reduced in between; what is due, and the most arcs. None: empty."""
    due = peak = 0
    for group in groups:
        product = conjoined(levels, group, allow, order, most_arcs)
        small = None if product is None else reduced(product[0], merge=merge)
        if product is None or small is None:
            return None
        levels = small[0]
        due += small[1]
        peak = max(peak, product[1])
    return levels, due, peak
