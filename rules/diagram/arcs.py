"""A diagram level by level, one arc for each class of values: the form in which diagrams are multiplied and reduced."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rules.diagram.arrays import combined, numbered, ranges
from rules.diagram.automaton import DEAD, Automaton
from rules.diagram.constraint import Allowed, Codes, TooEntangledError, Whole

#: How many arcs are looked at in one go: enough to hide the cost of a call, little enough to bound memory.
_AT_ONCE = 1_500_000


@dataclass(frozen=True, eq=False)
class Level:
    """The nodes of one slot and the arcs that leave them.

    ``codes`` gives the class of each value (``DEAD``: no arc has it), ``classes`` how many there are. The arcs of node
    ``i`` stand from ``first[i]`` to ``first[i + 1]``, in increasing order of ``classes_of``; ``targets`` are nodes of
    the next level (the last level leads to node 0), ``costs`` what an arc costs (None: nothing).
    """

    codes: Codes
    classes: int
    first: Codes
    classes_of: Codes
    targets: Codes
    costs: Whole | None

    @property
    def nodes(self) -> int:
        """How many nodes there are."""
        return len(self.first) - 1

    @property
    def sources(self) -> Codes:
        """The node that each arc leaves."""
        return np.repeat(np.arange(self.nodes), np.diff(self.first))


def free_levels(sizes: Sequence[int], order: Sequence[int]) -> list[Level]:
    """The diagram that accepts everything: one node and one class a slot."""
    one = np.array([0, 1], np.intp)
    zero = np.zeros(1, np.intp)
    return [Level(np.zeros(sizes[slot], np.intp), 1, one, zero, zero, None) for slot in order]


@dataclass(eq=False)
class _Front:
    """The nodes of a level of a product: which node of the diagram below each is, and the states of open automata."""

    under: Codes
    states: dict[int, Codes]


@dataclass(frozen=True, eq=False)
class _Columns:
    """The classes of a product at one level.

    Class ``c`` joins class ``below[c]`` of the diagram with column ``of[q][c]`` of the ``q``-th automaton read here.
    The classes that join class ``b`` are ``many[b]`` from ``start[b]`` on.
    """

    codes: Codes
    below: Codes
    of: list[Codes]
    start: Codes
    many: Codes


def conjoined(
    levels: Sequence[Level], automata: Sequence[Automaton], allow: Allowed, order: Sequence[int], most_arcs: int
) -> tuple[list[Level], int] | None:
    """The product of a diagram with automata, over the allowed values, and its number of arcs; None if it is empty.

    Only nodes that are reached from the top are made; some may lead nowhere. Raises :class:`TooEntangledError` as soon
    as there are more than ``most_arcs`` arcs.
    """
    read: list[list[tuple[int, int]]] = [[] for _ in levels]
    for which, machine in enumerate(automata):
        for step, place in enumerate(machine.places):
            read[place].append((which, step))
    front = _Front(np.zeros(1, np.intp), {})
    product: list[Level] = []
    total = 0
    for place, level in enumerate(levels):
        columns = _columns(level, [automata[which].codes[step] for which, step in read[place]], allow[order[place]])
        made, front = _stepped(level, columns, front, automata, read[place], most_arcs - total)
        if not len(made.targets):
            return None
        total += len(made.targets)
        product.append(made)
    return product, total


def _columns(level: Level, codes: list[Codes], allowed: np.ndarray) -> _Columns:
    stacked = np.stack([level.codes, *codes], axis=1)
    live = allowed & (stacked >= 0).all(axis=1)
    rows, number = np.unique(stacked[live], axis=0, return_inverse=True)
    own = np.full(len(live), DEAD, np.intp)
    own[live] = number.ravel()
    start = np.searchsorted(rows[:, 0], np.arange(level.classes))
    many = np.searchsorted(rows[:, 0], np.arange(level.classes), side="right") - start
    return _Columns(own, rows[:, 0], [rows[:, 1 + at] for at in range(len(codes))], start, many)


def _stepped(
    level: Level,
    columns: _Columns,
    front: _Front,
    automata: Sequence[Automaton],
    read: list[tuple[int, int]],
    most_arcs: int,
) -> tuple[Level, _Front]:
    """One level of the product, and the nodes of the next."""
    tables = [automata[which].moves[step][:, of] for (which, step), of in zip(read, columns.of, strict=True)]
    states = [front.states.get(which, np.zeros(len(front.under), np.intp)) for which, _ in read]
    owners, arcs, classes = _live_arcs(level, columns, front, tables, states, most_arcs)
    costs: Whole | None = None if level.costs is None else level.costs[arcs]
    after: dict[int, Codes] = {}
    sizes: dict[int, int] = {}
    for (which, step), of, table, state in zip(read, columns.of, tables, states, strict=True):
        here = state[owners]
        charge = automata[which].costs[step]
        if charge is not None:
            added = charge[:, of][here, classes]
            costs = added if costs is None else costs + added
        if step + 1 < len(automata[which].places):
            after[which] = table[here, classes]
            sizes[which] = len(automata[which].moves[step + 1])
    done = {which for which, _ in read}
    for which, state in front.states.items():
        if which not in done:
            after[which] = state[owners]
            sizes[which] = int(state.max()) + 1
    below = level.targets[arcs]
    opened = sorted(after)
    key, bound = combined(
        [below, *(after[which] for which in opened)],
        [int(below.max()) + 1 if len(below) else 1, *(sizes[which] for which in opened)],
    )
    kept, targets = numbered(key, bound)
    first = np.searchsorted(owners, np.arange(len(front.under) + 1))
    made = Level(columns.codes, len(columns.below), first, classes, targets, costs)
    return made, _Front(below[kept], {which: after[which][kept] for which in opened})


def _live_arcs(
    level: Level, columns: _Columns, front: _Front, tables: list[Codes], states: list[Codes], most_arcs: int
) -> tuple[Codes, Codes, Codes]:
    """Node, arc of the diagram below and class of each arc that no automaton forbids, nodes and classes increasing."""
    below = np.append(0, np.cumsum(columns.many[level.classes_of]))
    load = np.cumsum((below[level.first[1:]] - below[level.first[:-1]])[front.under])
    strict = [(table, state) for table, state in zip(tables, states, strict=True) if (table < 0).any()]
    found: list[tuple[Codes, Codes, Codes]] = []
    total = start = 0
    while start < len(front.under):
        spent = int(load[start - 1]) if start else 0
        stop = max(start + 1, int(np.searchsorted(load, spent + _AT_ONCE, side="right")))
        under = front.under[start:stop]
        lengths = level.first[under + 1] - level.first[under]
        arcs = ranges(level.first[under], lengths)
        owners = np.repeat(np.arange(start, start + len(under)), lengths)
        of = level.classes_of[arcs]
        many = columns.many[of]
        classes = ranges(columns.start[of], many)
        owners, arcs = np.repeat(owners, many), np.repeat(arcs, many)
        for table, state in strict:
            live = table.ravel()[state[owners] * table.shape[1] + classes] >= 0
            owners, arcs, classes = owners[live], arcs[live], classes[live]
        found.append((owners, arcs, classes))
        total += len(owners)
        if total > most_arcs:
            raise TooEntangledError("the product of these constraints has too many arcs")
        start = stop
    return (
        np.concatenate([part[0] for part in found]),
        np.concatenate([part[1] for part in found]),
        np.concatenate([part[2] for part in found]),
    )
