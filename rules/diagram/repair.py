"""The nearest ways out where choices clash: which to give up, and what to take instead.

Near is, first, few choices given up, then a short way from what was chosen, then a low total. All three are one number,
so the passes over a diagram that find the cheapest completion find the nearest as well. Several are found best first: a
search over the values of the slots with choices, in the diagram's order, that keeps for each beginning the nodes it can
have come to and the least at each. What is least from there to the end is known exactly, so nothing is taken up in vain
(A* with a perfect estimate; Hart, Nilsson and Raphael, 1968; sets of nodes: the subset construction of Rabin and Scott,
1959; restoring choices in a compiled automaton: Amilhastre, Fargier and Marquis, Artificial Intelligence 135, 2002;
cited from memory).
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass, field
from heapq import heappop, heappush
from itertools import count

import numpy as np

from rules.diagram.arrays import ranges
from rules.diagram.clash import Choice
from rules.diagram.constraint import Allowed, Bools, Codes, Whole
from rules.diagram.diagram import Diagram
from rules.diagram.layer import Layer
from rules.diagram.passes import PRICES, is_none, label_prices, upward

#: Numbers from here on would be taken for "none" in a pass.
_TOO_FAR = 1 << 58
#: No bound: more than any number that is met.
_NO_BOUND = 1 << 59


@dataclass(frozen=True)
class Repair:
    """A way out: the names of the choices given up, and what each slot in which one is given up takes instead.

    ``distance`` is summed over those slots, ``total`` the least of any completion that goes with it, ``witness`` one
    such completion: a value for each slot.
    """

    given_up: tuple[Hashable, ...]
    changes: dict[int, int]
    distance: int
    total: int
    witness: tuple[int, ...]


def nearest(
    diagram: Diagram,
    allow: Allowed,
    choices: Sequence[Choice],
    distances: Sequence[Whole],
    prices: Sequence[Whole],
    at_most: int = 5,
) -> list[Repair]:
    """Return the nearest ways out, best first, no two with the same ``changes``; one alone where all can be kept.

    ``allow`` holds whatever is chosen. ``distances`` and ``prices`` have an array for each slot, whole numbers for its
    values: how far each lies from what was chosen there (from 0; it counts only where a choice is given up), and its
    price. What a combination costs is the diagram's. Nothing is returned where nothing stands.

    Raises:
        ValueError: a distance lies below 0, or distances and prices are too large to be told apart.
    """
    if not diagram.satisfiable or not all(truths.any() for truths in allow):
        return []
    search = _Search(diagram, allow, _Scale.of(diagram, choices, distances, prices), at_most)
    found: list[Repair] = []
    for end in search.ends():
        found.append(search.repair(end, choices, distances))
        if len(found) == at_most or not found[0].given_up:
            break
    return found


@dataclass(frozen=True, eq=False)
class _Scale:
    """Choices given up, distance and price as one number for each value of each slot, the first weighing most.

    ``kept`` says for each slot with choices which values keep all of them.
    """

    numbers: list[Whole]
    kept: dict[int, Bools]
    one_distance: int
    one_choice: int

    @classmethod
    def of(
        cls, diagram: Diagram, choices: Sequence[Choice], distances: Sequence[Whole], prices: Sequence[Whole]
    ) -> _Scale:
        given_up = {choice.slot: np.zeros(len(prices[choice.slot]), np.int64) for choice in choices}
        for choice in choices:
            given_up[choice.slot] += ~choice.values
        if any(int(distances[slot].min()) < 0 for slot in given_up):
            raise ValueError("a distance lies below 0")
        edges = sum(int(np.ptp(layer.costs)) for layer in diagram.layers if layer.costs is not None)
        one_distance = sum(int(np.ptp(each)) for each in prices) + edges + 1
        one_choice = one_distance * (sum(int(distances[slot].max()) for slot in given_up) + 1)
        if one_choice * (len(choices) + 1) >= _TOO_FAR:
            raise ValueError("distances and prices are too large to be told apart")
        numbers = [each.astype(np.int64) for each in prices]
        for slot, times in given_up.items():
            numbers[slot] = numbers[slot] + one_choice * times + one_distance * np.where(times > 0, distances[slot], 0)
        return cls(numbers, {slot: times == 0 for slot, times in given_up.items()}, one_distance, one_choice)


@dataclass(frozen=True, eq=False)
class _Reached:
    """The nodes that a beginning can have come to in a layer, and the least number at each.

    ``edges`` lead there from the nodes of ``before``, each edge from the one at ``origins`` and with the number of
    ``added``; ``open`` says which values the slot before took.
    """

    place: int
    nodes: Codes
    least: Whole
    before: _Reached | None = None
    edges: Codes = field(default_factory=lambda: np.zeros(0, np.intp))
    origins: Codes = field(default_factory=lambda: np.zeros(0, np.intp))
    added: Whole = field(default_factory=lambda: np.zeros(0, np.int64))
    open: Bools = field(default_factory=lambda: np.zeros(0, np.bool_))


class _Search:
    """Finds the ends of beginnings, the nearest first."""

    def __init__(self, diagram: Diagram, allow: Allowed, scale: _Scale, at_most: int) -> None:
        self._diagram = diagram
        self._layers: Sequence[Layer] = diagram.layers
        self._allow = allow
        self._scale = scale
        self._weights = [
            label_prices(layer.labels, allow[slot], scale.numbers[slot])
            for layer, slot in zip(self._layers, diagram.order, strict=True)
        ]
        self._beyond = upward(self._layers, self._weights, PRICES)
        self._bound = int(self._beyond[0][0])
        self._bound = self._first_bound(at_most)

    def ends(self) -> Iterator[_Reached]:
        """Yield what is reached at the end, best first, each with other values where a choice is given up."""
        if is_none(self._beyond[0])[0]:
            return
        start = _Reached(0, np.zeros(1, np.intp), np.zeros(1, np.int64))
        order = count()
        heap: list[tuple[int, int, int, _Reached, Bools | None]] = []
        self._push(heap, order, start)
        while heap:
            _, _, _, reached, truths = heappop(heap)
            if truths is None:
                yield reached
            else:
                self._push(heap, order, self._moved(reached, truths))

    def repair(self, end: _Reached, choices: Sequence[Choice], distances: Sequence[Whole]) -> Repair:
        """Return the way out that an end stands for."""
        witness = self._witness(end)
        given_up = [choice for choice in choices if not choice.values[witness[choice.slot]]]
        changes = {slot: witness[slot] for slot in sorted({choice.slot for choice in given_up})}
        distance = sum(int(distances[slot][value]) for slot, value in changes.items())
        number = int(end.least[0]) - self._scale.one_choice * len(given_up) - self._scale.one_distance * distance
        names = tuple(choice.name for choice in given_up)
        return Repair(names, changes, distance, number + self._diagram.due, witness)

    def _push(
        self, heap: list[tuple[int, int, int, _Reached, Bools | None]], order: Iterator[int], reached: _Reached
    ) -> None:
        """Go on through slots without choices, then put up each way to go on; of equal ones the furthest is first."""
        while reached.place < len(self._layers):
            slot = self._diagram.order[reached.place]
            if slot in self._scale.kept:
                for number, truths in self._ways(reached, slot, self._bound):
                    heappush(heap, (number, -reached.place, next(order), reached, truths))
                return
            reached = self._moved(reached, self._allow[slot])
        heappush(heap, (int(reached.least[0]), -reached.place, next(order), reached, None))

    def _ways(self, reached: _Reached, slot: int, bound: int) -> Iterator[tuple[int, Bools]]:
        """Yield the ways to go on at a slot with choices: all values that keep them as one, each other by itself."""
        best = self._best_values(reached, slot)
        kept = self._scale.kept[slot] & self._allow[slot]
        if kept.any() and (number := int(best[kept].min())) <= bound:
            yield number, kept
        for value in np.flatnonzero(~kept & (best <= bound)):
            yield int(best[value]), np.arange(len(best)) == value

    def _best_values(self, reached: _Reached, slot: int) -> Whole:
        """Return, for each value of a slot, the least number of a completion of what was reached."""
        layer = self._layers[reached.place]
        edges, origins = _leaving(layer, reached.nodes)
        along = reached.least[origins] + self._beyond[reached.place + 1][layer.targets[edges]]
        if layer.costs is not None:
            along += layer.costs[edges]
        labels: Whole = np.full(layer.labels.count, PRICES.none, np.int64)
        np.minimum.at(labels, layer.label[edges], along)
        rest: Whole = np.asarray(layer.labels.spread(np.minimum, labels, PRICES.none), np.int64)
        best = rest + self._scale.numbers[slot]
        return np.where(self._allow[slot] & ~is_none(best), best, PRICES.none)

    def _moved(self, reached: _Reached, truths: Bools) -> _Reached:
        """Return where some values of the next slot lead, without what cannot come within the bound."""
        layer = self._layers[reached.place]
        slot = self._diagram.order[reached.place]
        weights = label_prices(layer.labels, truths, self._scale.numbers[slot])
        edges, origins = _leaving(layer, reached.nodes)
        added = weights[layer.label[edges]]
        if layer.costs is not None:
            added = added + layer.costs[edges]
        least = reached.least[origins] + added
        near = least + self._beyond[reached.place + 1][layer.targets[edges]] <= self._bound
        edges, origins, added, least = edges[near], origins[near], added[near], least[near]
        nodes, number = np.unique(layer.targets[edges], return_inverse=True)
        lowest: Whole = np.full(len(nodes), PRICES.none, np.int64)
        np.minimum.at(lowest, number, least)
        return _Reached(reached.place + 1, nodes, lowest, reached, edges, origins, added, truths)

    def _witness(self, end: _Reached) -> tuple[int, ...]:
        """Return the values along one least way to an end."""
        values = [0] * len(self._layers)
        reached, node, least = end, int(end.nodes[0]), int(end.least[0])
        while reached.before is not None:
            before = reached.before
            layer, slot = self._layers[before.place], self._diagram.order[before.place]
            came = before.least[reached.origins] + reached.added == least
            edge = int(np.flatnonzero(came & (layer.targets[reached.edges] == node))[0])
            values[slot] = self._cheapest(layer, slot, int(layer.label[reached.edges[edge]]), reached.open)
            node, least = int(before.nodes[reached.origins[edge]]), int(before.least[reached.origins[edge]])
            reached = before
        return tuple(values)

    def _cheapest(self, layer: Layer, slot: int, label: int, truths: Bools) -> int:
        """Return the value with the least number among some that a label holds."""
        labels = layer.labels
        start = int(labels.member_starts[label])
        stop = int(labels.member_starts[label + 1]) if label + 1 < labels.count else len(labels.members)
        held = np.zeros(labels.classes + 1, np.bool_)  # the last for values without a class, number -1
        held[labels.members[start:stop]] = True
        return int(np.where(held[labels.codes] & truths, self._scale.numbers[slot], PRICES.none).argmin())

    def _first_bound(self, at_most: int) -> int:
        """Return a number that so many ways out do not exceed, while only best ways are within the bound.

        Every turn that could be taken off one best way leads to a way out of its own.
        """
        reached = _Reached(0, np.zeros(1, np.intp), np.zeros(1, np.int64))
        numbers: list[int] = []
        while reached.place < len(self._layers) and self._bound < _NO_BOUND:
            slot = self._diagram.order[reached.place]
            truths = self._allow[slot]
            if slot in self._scale.kept:
                ways = sorted(self._ways(reached, slot, _NO_BOUND), key=lambda way: way[0])
                numbers += [number for number, _ in ways[1:]]
                truths = ways[0][1]
            reached = self._moved(reached, truths)
        numbers.sort()
        return [self._bound, *numbers][at_most - 1] if at_most <= len(numbers) + 1 else _NO_BOUND


def _leaving(layer: Layer, nodes: Codes) -> tuple[Codes, Codes]:
    """Return the edges that leave some nodes, and for each edge which of the nodes it leaves."""
    following = np.minimum(nodes + 1, layer.nodes - 1)
    lengths = np.where(nodes + 1 < layer.nodes, layer.starts[following], layer.edges) - layer.starts[nodes]
    return ranges(layer.starts[nodes], lengths), np.repeat(np.arange(len(nodes)), lengths)
