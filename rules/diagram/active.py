"""The part of a diagram that choices leave within reach, so that a pass costs what is left and not what there is.

A value of a chosen slot that was not chosen is asked for too (what else could this slot be?), so the part holds every
way that leaves the allowed values at most once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rules.diagram.arrays import ranges, runs
from rules.diagram.constraint import Allowed, Bools, Codes, Whole
from rules.diagram.layer import Labels, Layer
from rules.diagram.passes import label_truths


@dataclass(frozen=True, eq=False)
class Part:
    """The nodes of a layer that are in reach, numbered anew, and the edges between them (by their sources)."""

    labels: Labels
    nodes: int
    next_nodes: int
    sources: Codes
    targets: Codes
    label: Codes
    costs: Whole | None
    starts: Codes
    owners: Codes

    def at_sources(self, plus: np.ufunc, edges: NDArray[np.generic], none: object, /) -> NDArray[np.generic]:
        """The sum over the edges that leave each node; ``none`` where there are none."""
        out = np.full(self.nodes, none, edges.dtype)
        if len(edges):
            out[self.owners] = plus.reduceat(edges, self.starts)
        return out

    def at_targets(self, plus: np.ufunc, edges: NDArray[np.generic], none: object, /) -> NDArray[np.generic]:
        """The sum over the edges that enter each node of the next level; ``none`` where there are none."""
        out = np.full(self.next_nodes, none, edges.dtype)
        plus.at(out, self.targets, edges)
        return out

    def at_labels(self, plus: np.ufunc, edges: NDArray[np.generic], none: object, /) -> NDArray[np.generic]:
        """The sum over the edges that carry each label; ``none`` where there are none."""
        out = np.full(self.labels.count, none, edges.dtype)
        plus.at(out, self.label, edges)
        return out


def active(layers: Sequence[Layer], allow: Allowed, order: Sequence[int], most_edges: int) -> list[Part] | None:
    """The parts within reach, one a layer; None as soon as they have more than ``most_edges`` edges."""
    straight = np.ones(1, np.bool_)
    nodes = np.zeros(1, np.intp)
    parts: list[Part] = []
    total = 0
    for layer, slot in zip(layers, order, strict=True):
        ends = np.append(layer.starts, layer.edges)
        lengths = ends[nodes + 1] - ends[nodes]
        total += int(lengths.sum())
        if total > most_edges:
            return None
        part, nodes, straight = _part(layer, label_truths(layer.labels, allow[slot]), nodes, straight, lengths)
        parts.append(part)
    return parts


def _part(layer: Layer, open_labels: Bools, nodes: Codes, straight: Bools, lengths: Codes) -> tuple[Part, Codes, Bools]:
    """The part of a layer; the nodes of the next that it reaches, and which of them without leaving what is allowed."""
    edges = ranges(layer.starts[nodes], lengths)
    sources = np.repeat(np.arange(len(nodes)), lengths)
    allowed = open_labels[layer.label[edges]]
    clean = straight[sources]
    kept = allowed | clean
    if not kept.all():
        edges, sources, allowed, clean = edges[kept], sources[kept], allowed[kept], clean[kept]
    met = layer.targets[edges]
    reached = np.zeros(layer.next_nodes, np.bool_)
    reached[met] = True
    following = np.flatnonzero(reached)
    rank = np.empty(layer.next_nodes, np.intp)
    rank[following] = np.arange(len(following))
    targets = rank[met]
    onward = np.zeros(len(following), np.bool_)
    onward[targets[allowed & clean]] = True
    starts = runs(sources)
    part = Part(
        labels=layer.labels,
        nodes=len(nodes),
        next_nodes=len(following),
        sources=sources,
        targets=targets,
        label=layer.label[edges],
        costs=None if layer.costs is None else layer.costs[edges],
        starts=starts,
        owners=sources[starts],
    )
    return part, following, onward


def within_reach(layers: Sequence[Layer], allow: Allowed, order: Sequence[int]) -> bool:
    """Whether any way through keeps to the allowed values: one walk down, over the edges in reach alone."""
    nodes = np.zeros(1, np.intp)
    for layer, slot in zip(layers, order, strict=True):
        open_labels = label_truths(layer.labels, allow[slot])
        if len(nodes) * 2 < layer.nodes:
            ends = np.append(layer.starts, layer.edges)
            edges = ranges(layer.starts[nodes], ends[nodes + 1] - ends[nodes])
            met = layer.targets[edges[open_labels[layer.label[edges]]]]
        else:
            here = np.zeros(layer.nodes, np.bool_)
            here[nodes] = True
            met = layer.targets[open_labels[layer.label] & here[layer.sources]]
        reached = np.zeros(layer.next_nodes, np.bool_)
        reached[met] = True
        nodes = np.flatnonzero(reached)
        if not len(nodes):
            return False
    return True
