"""Makes a diagram as small as it can be: dead ends go, costs move up, equal nodes become one.

What is left is canonical for the order of slots (Wilson 2005; Fargier, Marquis and Schmidt 2013 for sums on arcs, the
normal form SLDD+; both cited from memory).
"""

from __future__ import annotations

import numpy as np

from rules.diagram.arcs import Level
from rules.diagram.arrays import equal_runs, ranges, run_lengths, runs
from rules.diagram.automaton import DEAD
from rules.diagram.constraint import Codes, Whole


def reduced(levels: list[Level], *, merge: bool = True) -> tuple[list[Level], int] | None:
    """The levels without dead ends and with equal nodes merged, and the cost moved before the top; None: empty.

    Without ``merge`` dead ends go and costs move up, nothing else. The list is emptied on the way: a product is by far
    the largest thing that there is while compiling, and what was done with need not be held.
    """
    number = np.zeros(1, np.intp)
    due: Whole = np.zeros(1, np.int64)
    out: list[Level] = []
    while levels:
        done = _level(levels.pop(), number, due, merge=merge)
        if done is None:
            return None
        small, number, due = done
        out.append(small)
    return out[::-1], int(due[0])


def _level(level: Level, number: Codes, due: Whole, *, merge: bool) -> tuple[Level, Codes, Whole] | None:
    """A level over the merged nodes of the next; the merged node of each of its nodes, and what is due there."""
    targets = number[level.targets]
    live = targets >= 0
    sources, classes, targets = level.sources[live], level.classes_of[live], targets[live]
    if not len(sources):
        return None
    starts = runs(sources)
    lengths = run_lengths(starts, len(sources))
    costs: Whole | None = None
    low: Whole = np.zeros(len(starts), np.int64)
    if level.costs is not None or due.any():
        costs = due[level.targets[live]]
        if level.costs is not None:
            costs = costs + level.costs[live]
        low = np.minimum.reduceat(costs, starts)
        costs = costs - np.repeat(low, lengths)
        costs = costs if costs.any() else None
    kind = kept = np.arange(len(starts))
    if merge:
        kind, kept = equal_runs(starts, [classes, targets] if costs is None else [classes, targets, costs])
    back = np.full(level.nodes, DEAD, np.intp)
    back[sources[starts]] = kind
    left: Whole = np.zeros(level.nodes, np.int64)
    left[sources[starts]] = low
    rows = ranges(starts[kept], lengths[kept])
    first = np.append(0, np.cumsum(lengths[kept]))
    small = Level(
        level.codes, level.classes, first, classes[rows], targets[rows], None if costs is None else costs[rows]
    )
    return small, back, left
