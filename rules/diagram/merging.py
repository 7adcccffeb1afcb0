"""Makes values of a slot one value: a combination of groups stands wherever some values of these groups do.

Two values of one group may lead to different nodes, so the diagram of groups follows *sets* of nodes at once (the
subset construction of Rabin and Scott 1959; from memory), level by level.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rules.diagram.arcs import Level
from rules.diagram.arrays import combined, equal_runs, numbered, ranges, run_lengths, runs
from rules.diagram.automaton import DEAD
from rules.diagram.constraint import Codes, TooEntangledError


def without_costs(levels: Sequence[Level]) -> list[Level]:
    """The same levels, nothing charged."""
    return [Level(level.codes, level.classes, level.first, level.classes_of, level.targets, None) for level in levels]


def grouped(levels: Sequence[Level], groups: Sequence[Codes], most_arcs: int) -> list[Level]:
    """The levels over groups of values; ``groups`` are one array a level, the group of each value.

    Costs are not looked at. Raises :class:`TooEntangledError` beyond ``most_arcs`` arcs, or as many members of sets.
    """
    members = np.zeros(1, np.intp)
    first = np.array([0, 1], np.intp)
    out: list[Level] = []
    total = 0
    for level, group in zip(levels, groups, strict=True):
        made, members, first = _level(level, group, members, first, most_arcs - total)
        total += len(made.targets)
        out.append(made)
    return out


def _level(level: Level, group: Codes, members: Codes, first: Codes, most: int) -> tuple[Level, Codes, Codes]:
    """A level over sets of nodes (set ``i``: ``members[first[i]:first[i + 1]]``), and the sets of the next level."""
    codes, start, of_class = _group_classes(level, group)
    lengths = level.first[members + 1] - level.first[members]
    sets = np.repeat(np.repeat(np.arange(len(first) - 1), np.diff(first)), lengths)
    arcs = ranges(level.first[members], lengths)
    old = level.classes_of[arcs]
    many = (start[1:] - start[:-1])[old]
    if int(many.sum()) > 4 * most:
        raise TooEntangledError("sets of nodes grow beyond what is allowed")
    fresh = of_class[ranges(start[:-1][old], many)]
    sets, targets = np.repeat(sets, many), np.repeat(level.targets[arcs], many)
    classes = int(codes.max()) + 1
    key, bound = combined([sets, fresh, targets], [len(first) - 1, classes, int(targets.max()) + 1])
    kept, _ = numbered(key, bound)
    sets, fresh, targets = sets[kept], fresh[kept], targets[kept]
    if len(sets) > most:
        raise TooEntangledError("sets of nodes grow beyond what is allowed")
    starts = runs(sets, fresh)
    kind, stands = equal_runs(starts, [targets])
    sizes = run_lengths(starts, len(targets))[stands]
    made = Level(codes, classes, np.searchsorted(sets[starts], np.arange(len(first))), fresh[starts], kind, None)
    return made, targets[ranges(starts[stands], sizes)], np.append(0, np.cumsum(sizes))


def _group_classes(level: Level, group: Codes) -> tuple[Codes, Codes, Codes]:
    """Groups as values: the new class of each, and for each old class the new ones that hold it (starts, classes)."""
    groups = int(group.max()) + 1
    held = np.zeros((groups, level.classes), np.bool_)
    live = level.codes >= 0
    held[group[live], level.codes[live]] = True
    rows, number = np.unique(held, axis=0, return_inverse=True)
    alive = rows.any(axis=1)
    codes = np.where(alive, np.cumsum(alive) - 1, DEAD)[number.ravel()]
    old, fresh = np.nonzero(rows[alive].T)
    return codes, np.searchsorted(old, np.arange(level.classes + 1)), fresh
