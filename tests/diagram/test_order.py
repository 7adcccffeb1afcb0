"""Orders of slots: the same every time, each a local optimum, and those that matter come out small."""

from __future__ import annotations

import numpy as np
from diagram.problems import random_problem
from diagram.reference_models import small

from rules.diagram.constraint import Table
from rules.diagram.diagram import compile_diagram
from rules.diagram.order import promising


def everything(sizes):
    return [np.ones(size, np.bool_) for size in sizes]


def test_orders_are_permutations_all_different_and_the_same_every_time():
    for seed in range(30):
        problem = random_problem(8_000 + seed)
        allow = everything(problem.sizes)
        orders = promising(problem.constraints, allow, 4)
        assert 1 <= len(orders) <= 4
        assert len(set(orders)) == len(orders)
        assert all(sorted(order) == list(range(len(problem.sizes))) for order in orders)
        assert orders == promising(problem.constraints, allow, 4)


def test_slots_that_belong_together_come_together():
    # Three pairs of slots that must be equal, numbered apart: side by side each pair needs 9 nodes, apart up to 9 ** 3.
    sizes = (9,) * 6
    same = np.eye(9, dtype=np.bool_)
    pairs = [Table((slot, slot + 3), (np.arange(9), np.arange(9)), same) for slot in range(3)]
    found = compile_diagram(sizes, pairs)
    assert found.nodes == 3 * (1 + 9) + 1
    assert compile_diagram(sizes, pairs, orders=1, first=range(6)).nodes == 1 + 9 + 81 + 729 + 81 + 9 + 1


def test_two_compilations_of_one_problem_are_the_same():
    model = small()
    one, two = (compile_diagram(model.sizes, model.constraints) for _ in range(2))
    assert (one.order, one.nodes, one.edges, one.due) == (two.order, two.nodes, two.edges, two.due)
    for first, second in zip(one.layers, two.layers, strict=True):
        assert (first.targets == second.targets).all()
        assert (first.label == second.label).all()
