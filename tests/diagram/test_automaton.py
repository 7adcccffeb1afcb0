"""Automata accept and charge what their constraints do, and have as few states as can be."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from diagram.problems import judge, random_allow, random_problem

from rules.diagram.automaton import DEAD, Automaton, automaton
from rules.diagram.constraint import Amounts, Fold, Table
from rules.diagram.folds import few_kinds, sum_within


def read(machine: Automaton, order, values) -> int | None:
    """What an automaton charges for values (one a slot); None where it does not accept them."""
    state = cost = 0
    for place, codes, moves, costs in zip(machine.places, machine.codes, machine.moves, machine.costs, strict=True):
        column = codes[values[order[place]]]
        if column == DEAD or moves[state, column] == DEAD:
            return None
        cost += 0 if costs is None else int(costs[state, column])
        state = int(moves[state, column])
    assert state == 0
    return cost


def residuals(constraint, order, allow, read_so_far) -> int:
    """How many beginnings differ in what may follow and what that costs beyond the cheapest; dead ones aside."""
    slots = sorted(constraint.slots, key=list(order).index)
    ranges = [np.flatnonzero(allow[slot]).tolist() for slot in slots]
    found = set()
    for begun in product(*ranges[:read_so_far]):
        row = []
        for rest in product(*ranges[read_so_far:]):
            values = [0] * len(order)
            for slot, value in zip(slots, begun + rest, strict=True):
                values[slot] = value
            row.append(judge(constraint, values))
        costs = [cost for cost in row if cost is not None]
        if costs:
            found.add(tuple(None if cost is None else cost - min(costs) for cost in row))
    return len(found)


@pytest.mark.parametrize("seed", range(150))
def test_an_automaton_reads_what_its_constraint_says_with_the_fewest_states(seed):
    problem = random_problem(7_000 + seed)
    chance = np.random.default_rng(seed)
    allow = random_allow(chance, problem.sizes)
    order = chance.permutation(len(problem.sizes)).tolist()
    for constraint in problem.constraints:
        machine = automaton(constraint, order, allow)
        for values in product(*(np.flatnonzero(allowed).tolist() for allowed in allow)):
            expected = judge(constraint, values)
            assert (0 if machine is None else read(machine, order, values)) == expected
        if machine is None or machine.moves[0].shape[1] == 0:
            continue
        for step, moves in enumerate(machine.moves):
            assert len(moves) == residuals(constraint, order, allow, step)


def test_what_says_nothing_is_no_automaton():
    everything = [np.ones(2, np.bool_), np.ones(3, np.bool_)]
    both = (np.arange(2), np.arange(3))
    for free in (
        Table((0, 1), both, np.ones((2, 3), np.bool_)),
        Amounts((0, 1), both, np.zeros((2, 3), np.int64)),
        sum_within((0, 1), [np.arange(2), np.arange(3)], most=3),
        few_kinds((0, 1), both, 2),
    ):
        assert automaton(free, (0, 1), everything) is None


def test_what_dropped_values_alone_would_break_is_no_automaton():
    allow = [np.array([True, False]), np.ones(3, np.bool_)]
    assert automaton(sum_within((0, 1), [np.array([0, 9]), np.arange(3)], most=2), (1, 0), allow) is None


@pytest.mark.parametrize("seed", range(60))
def test_folds_that_step_together_come_out_as_those_that_step_one_by_one(seed):
    chance = np.random.default_rng(seed)
    sizes = chance.integers(1, 7, 4).tolist()
    allow = random_allow(chance, sizes)
    weights = [chance.integers(-4, 9, size) for size in sizes]
    kinds = [chance.integers(-1, 5, size) for size in sizes]
    least, most = sorted(chance.integers(-5, 15, 2).tolist())
    folds = [
        (sum_within((0, 1, 2, 3), weights, least=least, most=most), lambda v: least <= sum(picked(weights, v)) <= most),
        (sum_within((0, 1, 2, 3), weights, most=most), lambda v: sum(picked(weights, v)) <= most),
        (few_kinds((0, 1, 2, 3), kinds, 2), lambda v: len({kind for kind in picked(kinds, v) if kind >= 0}) <= 2),
    ]
    for fold, meant in folds:
        alone = Fold(fold.slots, fold.classes, fold.start, fold.step, fold.accepts)
        order = chance.permutation(4).tolist()
        machines = [automaton(one, order, allow) for one in (fold, alone)]
        for values in product(*(np.flatnonzero(allowed).tolist() for allowed in allow)):
            expected = 0 if meant(values) else None
            assert judge(fold, values) == expected
            for machine in machines:
                assert (0 if machine is None else read(machine, order, values)) == expected


def picked(tables, values):
    return [int(table[value]) for table, value in zip(tables, values, strict=True)]


def test_more_kinds_than_bits_are_still_told_apart():
    kinds = [np.arange(80)] * 3
    fold = few_kinds((0, 1, 2), kinds, 2)
    assert fold.together is None
    assert judge(fold, (79, 78, 79)) == 0
    assert judge(fold, (79, 78, 77)) is None
