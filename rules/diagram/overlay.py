"""Further constraints put to a compiled diagram for a few questions, without compiling: today's stock, for one.

Only the part that choices leave within reach is walked. Each of its nodes is taken apart by the states of the further
constraints' automata, an edge by what they tell apart in its label: the product of automata, as in compiling, but over
labels and not reduced. What the automata can no longer forbid they have forgotten, so few nodes come apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rules.diagram.active import Part
from rules.diagram.arrays import combined, numbered, ranges, runs
from rules.diagram.automaton import DEAD, Automaton, automaton
from rules.diagram.constraint import Allowed, Bools, Codes, Constraint, Whole
from rules.diagram.diagram import NONE, Diagram
from rules.diagram.layer import Labels, Layer
from rules.diagram.passes import PRICES, TRUTHS, is_none, label_prices, label_truths, through


class Overlay:
    """A diagram with further constraints, where some slots are chosen.

    ``allow`` is what each slot may still be by what was chosen; as with a diagram, answers per value leave the choice
    of the value's own slot aside. ``hard`` is what it may be whatever is chosen. Costs of the further constraints do
    not count.
    """

    def __init__(self, diagram: Diagram, allow: Allowed, constraints: Sequence[Constraint], hard: Allowed) -> None:
        self._diagram = diagram
        self._allow = [one & other for one, other in zip(allow, hard, strict=True)]
        self._parts = _overlaid(diagram, self._allow, constraints, hard) if diagram.satisfiable else None

    def possible(self) -> tuple[bool, Allowed]:
        """Whether there is a completion, and for each value whether there is one through it."""
        if self._parts is None:
            return False, [np.zeros(size, np.bool_) for size in self._diagram.sizes]
        weights = [
            label_truths(part.labels, self._allow[slot])
            for part, slot in zip(self._parts, self._diagram.order, strict=True)
        ]
        stands, values = through(self._parts, weights, TRUTHS)
        return bool(stands), [values[place] for place in np.argsort(self._diagram.order)]

    def cheapest(self, prices: Sequence[Whole]) -> tuple[int | None, list[Whole]]:
        """The lowest total, and for each value the lowest through it; NONE where there is none."""
        if self._parts is None:
            return None, [np.full(size, NONE, np.int64) for size in self._diagram.sizes]
        weights = [
            label_prices(part.labels, self._allow[slot], np.asarray(prices[slot], np.int64))
            for part, slot in zip(self._parts, self._diagram.order, strict=True)
        ]
        best, values = through(self._parts, weights, PRICES)
        due = self._diagram.due
        totals = [
            np.where(is_none(values[place]), NONE, values[place] + prices[slot] + due)
            for slot, place in enumerate(np.argsort(self._diagram.order))
        ]
        return (None if is_none(best) else int(best) + due), totals


@dataclass(frozen=True, eq=False)
class _Split:
    """Labels taken apart by the columns of automata: old label ``i`` became those from ``starts[i]`` on, ``many[i]``.

    ``columns`` is the column of each new label.
    """

    labels: Labels
    starts: Codes
    many: Codes
    columns: Codes


def _overlaid(diagram: Diagram, allow: Allowed, constraints: Sequence[Constraint], hard: Allowed) -> list[Part] | None:
    """The parts within reach, taken apart by the states of automata; None where nothing is left."""
    parts = _in_reach(diagram, allow, hard)
    if parts is None:
        return None
    made = (automaton(each, diagram.order, hard) for each in constraints)
    machines = [machine for machine in made if machine is not None]
    read: list[list[tuple[int, int]]] = [[] for _ in parts]
    for which, machine in enumerate(machines):
        for step, place in enumerate(machine.places):
            read[place].append((which, step))
    nodes = np.zeros(1, np.intp)
    states: dict[int, Codes] = {}
    out: list[Part] = []
    for part, slot, steps in zip(parts, diagram.order, read, strict=True):
        done = _taken_apart(part, hard[slot], machines, steps, nodes, states)
        if done is None:
            return None
        new, nodes, states = done
        out.append(new)
    return out


def _in_reach(diagram: Diagram, allow: Allowed, hard: Allowed) -> list[Part] | None:
    """The edges on a way to the end that leaves what is allowed at most once, and then for what is not ruled out."""
    soft, firm = (
        [label_truths(layer.labels, of[slot]) for layer, slot in zip(diagram.layers, diagram.order, strict=True)]
        for of in (allow, hard)
    )
    fixed = all((one == other).all() for one, other in zip(allow, hard, strict=True))
    straight = bent = np.ones(1, np.bool_)
    beyond = [(straight, bent)]
    for layer, inside, outside in zip(diagram.layers[::-1], soft[::-1], firm[::-1], strict=True):
        keeps, goes_on = inside[layer.label], straight[layer.targets]
        onward = np.logical_or.reduceat(keeps & goes_on, layer.starts)
        if fixed:
            bent = onward
        else:
            leaves = outside[layer.label] & goes_on
            bent = np.logical_or.reduceat(keeps & bent[layer.targets] | leaves, layer.starts)
        straight = onward
        beyond.append((straight, bent))
    nodes, clean = np.zeros(1, np.intp), np.ones(1, np.bool_)
    out: list[Part] = []
    for layer, inside, outside, after in zip(diagram.layers, soft, firm, beyond[-2::-1], strict=True):
        part, nodes, clean = _part(layer, nodes, clean, (inside, outside), after)
        if not len(nodes):
            return None
        out.append(part)
    return out


def _part(
    layer: Layer, nodes: Codes, clean: Bools, truths: tuple[Bools, Bools], after: tuple[Bools, Bools]
) -> tuple[Part, Codes, Bools]:
    """The edges of some nodes on a way; the next nodes, and which are reached without leaving what is allowed.

    ``truths`` of labels and ``after`` of the next layer's nodes: first for keeping to it, then for leaving it once.
    """
    following = np.minimum(nodes + 1, layer.nodes - 1)
    lengths = np.where(nodes + 1 < layer.nodes, layer.starts[following], layer.edges) - layer.starts[nodes]
    edges = ranges(layer.starts[nodes], lengths)
    sources = np.repeat(np.arange(len(nodes)), lengths)
    label, targets = layer.label[edges], layer.targets[edges]
    keeps, straight = truths[0][label], after[0][targets]
    clean_here = clean[sources]
    live = (keeps & straight) | (clean_here & ((keeps & after[1][targets]) | (truths[1][label] & straight)))
    edges, sources, label, targets = edges[live], sources[live], label[live], targets[live]
    still = (keeps & clean_here)[live]
    reached = np.zeros(layer.next_nodes, np.bool_)
    reached[targets] = True
    cleanly = np.zeros(layer.next_nodes, np.bool_)
    cleanly[targets[still]] = True
    onward = np.flatnonzero(reached)
    starts = runs(sources)
    part = Part(
        labels=layer.labels,
        nodes=len(nodes),
        next_nodes=len(onward),
        sources=sources,
        targets=(np.cumsum(reached) - 1)[targets],
        label=label,
        costs=None if layer.costs is None else layer.costs[edges],
        starts=starts,
        owners=sources[starts],
    )
    return part, onward, cleanly[onward]


def _taken_apart(
    part: Part,
    hard: Bools,
    machines: Sequence[Automaton],
    steps: list[tuple[int, int]],
    nodes: Codes,
    states: dict[int, Codes],
) -> tuple[Part, Codes, dict[int, Codes]] | None:
    """A part over new nodes: ``nodes`` says which old one each is. Also the next nodes and their states."""
    ends = np.searchsorted(part.sources, np.arange(part.nodes + 1))
    lengths = ends[nodes + 1] - ends[nodes]
    edges = ranges(ends[nodes], lengths)
    sources = np.repeat(np.arange(len(nodes)), lengths)
    label, labels = part.label[edges], part.labels
    after: dict[int, Codes] = {}
    if steps or not hard.all():
        rows, split = _split(labels, hard, [machines[which].codes[step] for which, step in steps])
        many = split.many[label]
        label = ranges(split.starts[label], many)
        edges, sources, labels = np.repeat(edges, many), np.repeat(sources, many), split.labels
        column = split.columns[label]
        live = np.ones(len(edges), np.bool_)
        for at, (which, step) in enumerate(steps):
            state = states[which][sources] if which in states else np.zeros(len(sources), np.intp)
            after[which] = machines[which].moves[step][state, rows[column, at]]
            live &= after[which] != DEAD
        edges, sources, label = edges[live], sources[live], label[live]
        after = {which: reached[live] for which, reached in after.items()}
    if not len(edges):
        return None
    done = {which for which, step in steps if step + 1 == len(machines[which].places)}
    kept = {which: reached for which, reached in after.items() if which not in done}
    kept |= {which: state[sources] for which, state in states.items() if which not in after}
    targets = part.targets[edges]
    sizes = [part.next_nodes, *(int(reached.max()) + 1 for reached in kept.values())]
    first, renamed = numbered(*combined([targets, *kept.values()], sizes))
    starts = runs(sources)
    new = replace(
        part,
        labels=labels,
        nodes=len(nodes),
        next_nodes=len(first),
        sources=sources,
        targets=renamed,
        label=label,
        costs=None if part.costs is None else part.costs[edges],
        starts=starts,
        owners=sources[starts],
    )
    return new, targets[first], {which: reached[first] for which, reached in kept.items()}


def _split(labels: Labels, hard: Bools, codes: Sequence[Codes]) -> tuple[Codes, _Split]:
    """The different columns of values that stay, each a row of codes, and the labels taken apart by them."""
    stays = hard & (labels.codes >= 0)
    for each in codes:
        stays &= each >= 0
    values = np.flatnonzero(stays)
    stacked = np.stack([np.zeros(len(values), np.intp), *(each[values] for each in codes)], axis=1)
    first, column = numbered(*combined(list(stacked.T), [1, *(int(each.max()) + 1 for each in codes)]))
    rows, wide = stacked[first, 1:], max(len(first), 1)
    pairs, own = np.unique(labels.codes[values] * wide + column, return_inverse=True)
    fresh = np.full(len(labels.codes), DEAD, np.intp)
    fresh[values] = own
    values = values[np.argsort(own, kind="stable")]
    old, of_column = np.divmod(pairs, wide)
    many = np.diff(labels.holder_starts, append=len(labels.holders))[old]
    holders = labels.holders[ranges(labels.holder_starts[old], many)] * wide + np.repeat(of_column, many)
    classes = np.repeat(np.arange(len(pairs)), many)
    names, holders = np.unique(holders, return_inverse=True)
    by = np.argsort(holders, kind="stable")
    of_label = names // wide
    starts = np.searchsorted(of_label, np.arange(labels.count))
    ends = np.searchsorted(of_label, np.arange(labels.count), side="right")
    made = Labels(
        codes=fresh,
        values=values,
        class_starts=runs(fresh[values]),
        members=classes[by],
        member_starts=runs(holders[by]),
        holders=holders,
        holder_starts=runs(classes),
    )
    return rows, _Split(made, starts, ends - starts, names % wide)
