"""A diagram as it is asked: parallel arcs joined to one edge that carries a set of classes, the *label*."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from rules.diagram.arcs import Level
from rules.diagram.arrays import combined, equal_runs, ranges, run_lengths, runs
from rules.diagram.automaton import DEAD
from rules.diagram.constraint import Bools, Codes, Whole


@dataclass(frozen=True, eq=False)
class Labels:
    """The values, classes and labels of one slot.

    ``codes`` gives the class of each value (``DEAD``: never accepted). ``values`` are the others, class by class, each
    class from ``class_starts`` on. Label ``i`` holds the classes ``members`` from ``member_starts[i]`` on; the labels
    that hold class ``c`` are ``holders`` from ``holder_starts[c]`` on. No class and no label is empty.
    """

    codes: Codes
    values: Codes
    class_starts: Codes
    members: Codes
    member_starts: Codes
    holders: Codes
    holder_starts: Codes

    @property
    def classes(self) -> int:
        """How many classes there are."""
        return len(self.class_starts)

    @property
    def count(self) -> int:
        """How many labels there are."""
        return len(self.member_starts)

    def gathered(self, plus: np.ufunc, weights: NDArray[np.generic]) -> NDArray[np.generic]:
        """The sum (in the sense of ``plus``) of the weights of the values in each label; weights are one a value."""
        classes = plus.reduceat(weights[self.values], self.class_starts)
        return plus.reduceat(classes[self.members], self.member_starts)

    def spread(self, plus: np.ufunc, sums: NDArray[np.generic], none: object) -> NDArray[np.generic]:
        """For each value the sum over the labels that hold it; ``none`` for a value that no label holds."""
        classes = plus.reduceat(sums[self.holders], self.holder_starts)
        out = np.full(len(self.codes), none, sums.dtype)
        out[self.values] = classes[self.codes[self.values]]
        return out


@dataclass(frozen=True, eq=False)
class Layer:
    """The nodes of one slot and the edges that leave them, edges in the order of their sources.

    ``starts`` is where the edges of each node begin; none has no edge. ``by_target`` puts edges in the order of their
    targets, those of target ``t`` from ``target_starts[t]`` on. ``costs`` is None where no edge costs anything.
    """

    labels: Labels
    sources: Codes
    targets: Codes
    label: Codes
    costs: Whole | None
    starts: Codes
    by_target: Codes
    target_starts: Codes
    by_label: Codes
    label_starts: Codes

    @property
    def nodes(self) -> int:
        """How many nodes there are."""
        return len(self.starts)

    @property
    def edges(self) -> int:
        """How many edges there are."""
        return len(self.sources)

    @property
    def next_nodes(self) -> int:
        """How many nodes the next layer has."""
        return len(self.target_starts)

    # No node is without an edge and no label without one either, so what an empty sum would be is never needed here.
    def at_sources(self, plus: np.ufunc, edges: NDArray[np.generic], _none: object, /) -> NDArray[np.generic]:
        """The sum over the edges that leave each node."""
        return plus.reduceat(edges, self.starts)

    def at_targets(self, plus: np.ufunc, edges: NDArray[np.generic], _none: object, /) -> NDArray[np.generic]:
        """The sum over the edges that enter each node of the next layer."""
        return plus.reduceat(edges[self.by_target], self.target_starts)

    def at_labels(self, plus: np.ufunc, edges: NDArray[np.generic], _none: object, /) -> NDArray[np.generic]:
        """The sum over the edges that carry each label."""
        return plus.reduceat(edges[self.by_label], self.label_starts)

    @property
    def memory_bytes(self) -> int:
        """What all arrays take."""
        held = [getattr(self, field.name) for field in fields(self)]
        held += [getattr(self.labels, field.name) for field in fields(self.labels)]
        return sum(array.nbytes for array in held if isinstance(array, np.ndarray))


def packed(levels: Sequence[Level]) -> list[Layer]:
    """The layers of reduced levels (no dead ends, every node reached), nodes numbered as they are first met.

    Edges that follow each other then touch nodes that lie close, which about halves the time of a pass.
    """
    out: list[Layer] = []
    number = np.zeros(1, np.intp)
    for place, level in enumerate(levels):
        following = levels[place + 1].nodes if place + 1 < len(levels) else 1
        layer, number = _layer(level, number, following)
        out.append(layer)
    return out


def _layer(level: Level, number: Codes, following: int) -> tuple[Layer, Codes]:
    """A layer whose nodes carry the given numbers, and the numbers of the next layer's nodes."""
    sources, targets, classes, costs = _sorted_arcs(level, number, following)
    starts = runs(sources, targets) if costs is None else runs(sources, targets, costs)
    label, kept = equal_runs(starts, [classes])
    labels = _labels(level, classes, starts, kept)
    sources, targets = sources[starts], targets[starts]
    costs = None if costs is None else costs[starts]
    _, met = np.unique(targets, return_index=True)
    renamed = np.empty(following, np.intp)
    renamed[targets[np.sort(met)]] = np.arange(following)
    targets = renamed[targets]
    by_target = np.argsort(targets, kind="stable")
    by_label = np.argsort(label, kind="stable")
    layer = Layer(
        labels=labels,
        sources=sources,
        targets=targets,
        label=label,
        costs=costs,
        starts=runs(sources),
        by_target=by_target,
        target_starts=runs(targets[by_target]),
        by_label=by_label,
        label_starts=runs(label[by_label]),
    )
    return layer, renamed


def _sorted_arcs(level: Level, number: Codes, following: int) -> tuple[Codes, Codes, Codes, Whole | None]:
    """Arcs by source, target, cost and class: source (renumbered), target, class and cost."""
    sources = number[level.sources]
    columns, sizes = [sources, level.targets], [level.nodes, following]
    if level.costs is not None:
        prices, rank = np.unique(level.costs, return_inverse=True)
        columns.append(rank)
        sizes.append(len(prices))
    key, _ = combined(columns, sizes)
    by = np.argsort(key, kind="stable")
    return sources[by], level.targets[by], level.classes_of[by], None if level.costs is None else level.costs[by]


def _labels(level: Level, classes: Codes, starts: Codes, kept: Codes) -> Labels:
    """The labels of a level: the runs kept of its sorted arcs; its classes that always go together are made one."""
    lengths = run_lengths(starts, len(classes))[kept]
    members = classes[ranges(starts[kept], lengths)]
    held = np.zeros((level.classes, len(kept)), np.bool_)
    held[members, np.repeat(np.arange(len(kept)), lengths)] = True
    _, first, same = np.unique(np.packbits(held, axis=1), axis=0, return_index=True, return_inverse=True)
    alive = held[first].any(axis=1)
    joined = np.append(np.where(alive, np.cumsum(alive) - 1, DEAD)[same.ravel()], DEAD)
    codes = joined[level.codes]
    small = held[first[alive]]
    of, holders = np.nonzero(small)
    labels, within = np.nonzero(small.T)
    values = np.flatnonzero(codes >= 0)
    values = values[np.argsort(codes[values], kind="stable")]
    return Labels(
        codes=codes,
        values=values,
        class_starts=runs(codes[values]),
        members=within,
        member_starts=runs(labels),
        holders=holders,
        holder_starts=runs(of),
    )


def unpacked(layers: Sequence[Layer], allow: Sequence[Bools]) -> list[Level] | None:
    """The levels that layers came from, as far as allowed values lead to them from the top; None: nowhere.

    ``allow`` is one array of truths a layer. Classes are those of the layers.
    """
    nodes = np.zeros(1, np.intp)
    out: list[Level] = []
    for layer, allowed in zip(layers, allow, strict=True):
        level, nodes = _unpacked(layer, allowed, nodes)
        if not len(nodes):
            return None
        out.append(level)
    return out


def _unpacked(layer: Layer, allowed: Bools, nodes: Codes) -> tuple[Level, Codes]:
    """The level of some nodes of a layer, and the nodes of the next that it leads to, which are numbered in turn."""
    labels = layer.labels
    open_classes = np.logical_or.reduceat(allowed[labels.values], labels.class_starts)
    open_members = open_classes[labels.members]
    many = np.add.reduceat(open_members.astype(np.intp), labels.member_starts)
    members = labels.members[open_members]
    starts = np.cumsum(many) - many
    ends = np.append(layer.starts, layer.edges)
    lengths = ends[nodes + 1] - ends[nodes]
    edges = ranges(layer.starts[nodes], lengths)
    sources = np.repeat(np.arange(len(nodes)), lengths)
    carried = layer.label[edges]
    classes = members[ranges(starts[carried], many[carried])]
    edges, sources = np.repeat(edges, many[carried]), np.repeat(sources, many[carried])
    key, _ = combined([sources, classes], [len(nodes), labels.classes])
    by = np.argsort(key, kind="stable")
    edges, sources = edges[by], sources[by]
    reached = np.zeros(layer.next_nodes, np.bool_)
    reached[layer.targets[edges]] = True
    following = np.flatnonzero(reached)
    targets = (np.cumsum(reached) - 1)[layer.targets[edges]]
    first = np.searchsorted(sources, np.arange(len(nodes) + 1))
    costs = None if layer.costs is None else layer.costs[edges]
    return Level(labels.codes, labels.classes, first, classes[by], targets, costs), following
