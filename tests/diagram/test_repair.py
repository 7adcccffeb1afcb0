"""Ways out against trying every combination (`support.small_problems`)."""

from __future__ import annotations

import numpy as np
import pytest
from support.small_problems import problem

from rules.diagram.clash import Choice
from rules.diagram.constraint import Table
from rules.diagram.diagram import compile_diagram
from rules.diagram.repair import nearest

_SEEDS = range(400)


def _compiled(sizes, constraints):
    order = list(range(len(sizes)))
    return compile_diagram(sizes, constraints, most_arcs=1_000_000, orders=1, first=order)


def _best_by_changes(small):
    """Return the best (given up, distance, total) for each set of changes, as trying everything finds it."""
    best = {}
    totals = small.totals()
    for row in np.flatnonzero(small.standing(small.allow)):
        values = small.rows[row]
        given_up = [choice for choice in small.choices if not choice.values[values[choice.slot]]]
        changes = {choice.slot: int(values[choice.slot]) for choice in given_up}
        distance = sum(int(small.distances[slot][value]) for slot, value in changes.items())
        key = tuple(sorted(changes.items()))
        best[key] = min(best.get(key, (99,)), (len(given_up), distance, int(totals[row])))
    return best


@pytest.mark.parametrize("at_most", [1, 5])
def test_the_nearest_ways_out_are_those_that_trying_everything_finds(at_most):
    seen = set()
    for seed in _SEEDS:
        small = problem(seed)
        diagram = _compiled(small.sizes, small.constraints)
        repairs = nearest(diagram, small.allow, small.choices, small.distances, small.prices, at_most)
        best = _best_by_changes(small)
        expected = sorted(best.values())[: 1 if () in best else at_most]
        found = [(len(repair.given_up), repair.distance, repair.total) for repair in repairs]
        assert found == expected, seed
        keys = [tuple(sorted(repair.changes.items())) for repair in repairs]
        assert len(set(keys)) == len(keys)
        assert [best[key] for key in keys] == expected
        seen.add((len(repairs), found[0][0] if found else None))
    assert (0, None) in seen
    assert (1, 0) in seen
    assert at_most == 1 or {(5, 1), (5, 2)} <= seen


def test_each_way_out_has_a_completion_that_stands_and_costs_what_it_says():
    several = 0
    for seed in _SEEDS:
        small = problem(seed)
        diagram = _compiled(small.sizes, small.constraints)
        row_of = {tuple(row.tolist()): number for number, row in enumerate(small.rows)}
        stands, totals = small.standing(small.allow), small.totals()
        for repair in nearest(diagram, small.allow, small.choices, small.distances, small.prices):
            row = row_of[repair.witness]
            assert stands[row], seed
            assert totals[row] == repair.total
            lost = [each for each in small.choices if not each.values[repair.witness[each.slot]]]
            assert repair.given_up == tuple(each.name for each in lost)
            assert repair.changes == {each.slot: repair.witness[each.slot] for each in lost}
            several += len(repair.given_up) > 1
    assert several > 50


def test_a_far_way_out_comes_after_a_dear_one_and_two_changes_after_both():
    # Slots 0 and 1 may not both be 0. Slot 0 may be 1 instead (near, dear) or 2 (far, cheap); slot 1 goes with slot 2.
    holds = np.ones((3, 2), bool)
    holds[0, 0] = False
    tied = Table((1, 2), (np.arange(2), np.arange(2)), np.eye(2, dtype=bool), label="tied")
    diagram = _compiled([3, 2, 2], [Table((0, 1), (np.arange(3), np.arange(2)), holds, label="never"), tied])
    choices = [Choice(name, slot, np.arange(size) == 0) for name, slot, size in (("a", 0, 3), ("b", 1, 2), ("c", 2, 2))]
    distances = [np.array([0, 1, 5]), np.array([0, 1]), np.array([0, 1])]
    prices = [np.array([0, 900, 1]), np.zeros(2, np.int64), np.zeros(2, np.int64)]
    repairs = nearest(diagram, [np.ones(3, bool), np.ones(2, bool), np.ones(2, bool)], choices, distances, prices)
    assert [(repair.given_up, repair.changes, repair.distance, repair.total) for repair in repairs] == [
        (("a",), {0: 1}, 1, 900),
        (("a",), {0: 2}, 5, 1),
        (("b", "c"), {1: 1, 2: 1}, 2, 0),
        (("a", "b", "c"), {0: 1, 1: 1, 2: 1}, 3, 900),
        (("a", "b", "c"), {0: 2, 1: 1, 2: 1}, 7, 1),
    ]


def test_distances_below_zero_or_too_large_are_refused():
    diagram = _compiled([2], [])
    allow, choice = [np.ones(2, bool)], [Choice("a", 0, np.array([True, False]))]
    with pytest.raises(ValueError, match="below 0"):
        nearest(diagram, allow, choice, [np.array([0, -1])], [np.zeros(2, np.int64)])
    with pytest.raises(ValueError, match="too large"):
        nearest(diagram, allow, choice, [np.array([0, 1 << 40])], [np.array([0, 1 << 30])])


def test_a_slot_with_nothing_left_has_no_way_out():
    diagram = _compiled([2, 2], [])
    zero = [np.zeros(2, np.int64)] * 2
    assert nearest(diagram, [np.zeros(2, bool), np.ones(2, bool)], [], zero, zero) == []
