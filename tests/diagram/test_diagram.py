"""Every answer of a diagram, held against all combinations written out (tests/diagram/problems.py)."""

from __future__ import annotations

import numpy as np
import pytest
from diagram.problems import (
    Problem,
    few_kinds,
    judge,
    random_allow,
    random_prices,
    random_problem,
    sum_at_most,
    total,
)

from rules.diagram import arrays, diagram
from rules.diagram.constraint import Amounts, Fold, Table, TooEntangledError
from rules.diagram.diagram import NONE, Diagram, compile_diagram

SEEDS = range(360)
LARGE = 10**14


def everything(sizes):
    return [np.ones(size, np.bool_) for size in sizes]


def hold_to(found: Diagram, problem: Problem, allow, prices) -> None:
    """Every answer equals the one written out."""
    inside = problem.near(allow, -1)
    totals = [total(values, cost, prices) for values, cost in inside]
    assert found.feasible(allow) == bool(inside)
    any_way, possible = found.possible(allow)
    lowest, low = found.cheapest(allow, prices)
    highest, high = found.dearest(allow, prices)
    number, numbers = found.count(allow)
    assert any_way == bool(inside)
    assert lowest == min(totals, default=None)
    assert highest == max(totals, default=None)
    assert number == len(inside)
    for slot, size in enumerate(problem.sizes):
        near = problem.near(allow, slot)
        by_value = [
            [total(values, cost, prices) for values, cost in near if values[slot] == value] for value in range(size)
        ]
        assert possible[slot].tolist() == [bool(sums) for sums in by_value]
        assert low[slot].tolist() == [min(sums, default=NONE) for sums in by_value]
        assert high[slot].tolist() == [max(sums, default=NONE) for sums in by_value]
        assert numbers[slot] == [len(sums) for sums in by_value]
    best = [values for (values, _), price in zip(inside, totals, strict=True) if price == min(totals)]
    first = min(best, key=lambda values: [values[slot] for slot in found.order], default=None)
    assert found.witness(allow, prices) == first


@pytest.mark.parametrize("seed", SEEDS)
def test_every_answer_equals_all_combinations_written_out(seed, monkeypatch):
    # Every third problem is asked over the part in reach, whatever its size; else all of these would be scanned whole.
    if seed % 3 == 0:
        monkeypatch.setattr(diagram, "_SMALL", -1)
        monkeypatch.setattr(diagram, "_WORTHWHILE", 10.0)
        monkeypatch.setattr(diagram, "_SETTLED", -1.0)
    problem = random_problem(seed)
    chance = np.random.default_rng(seed)
    found = compile_diagram(problem.sizes, problem.constraints)
    assert found.satisfiable == bool(problem.accepted)
    hold_to(found, problem, everything(problem.sizes), random_prices(chance, problem.sizes, 1))
    for _ in range(3):
        allow = random_allow(chance, problem.sizes)
        hold_to(found, problem, allow, random_prices(chance, problem.sizes))


@pytest.mark.parametrize("seed", range(120))
def test_constraints_added_later_count_like_those_from_the_start(seed):
    problem = random_problem(1_000 + seed)
    chance = np.random.default_rng(seed)
    half = len(problem.constraints) // 2
    allow = random_allow(chance, problem.sizes)
    begun = compile_diagram(problem.sizes, problem.constraints[:half])
    for reduce in (True, False):
        later = begun.conjoined(problem.constraints[half:], allow=allow, reduce=reduce)
        assert later.order == begun.order
        within = Problem(problem.sizes, (*problem.constraints, *(kept(slot, allow) for slot in range(len(allow)))))
        hold_to(later, within, random_allow(chance, problem.sizes), random_prices(chance, problem.sizes))


def kept(slot, allow):
    return Table((slot,), (np.arange(len(allow[slot])),), allow[slot])


@pytest.mark.parametrize("seed", range(120))
def test_groups_are_accepted_where_some_values_in_them_are(seed):
    problem = random_problem(2_000 + seed)
    chance = np.random.default_rng(seed)
    groups = [np.unique(chance.integers(0, size, size), return_inverse=True)[1] for size in problem.sizes]
    found = compile_diagram(problem.sizes, problem.constraints).merged(groups)
    expected = {
        tuple(int(group[value]) for group, value in zip(groups, values, strict=True)) for values, _ in problem.accepted
    }
    allow = random_allow(chance, found.sizes)
    within = [spec for spec in expected if all(allowed[value] for allowed, value in zip(allow, spec, strict=True))]
    assert found.count(everything(found.sizes))[0] == len(expected)
    assert found.count(allow)[0] == len(within)
    assert found.cheapest(allow, [np.zeros(size, np.int64) for size in found.sizes])[0] == (0 if within else None)


@pytest.mark.parametrize("seed", range(40))
def test_values_dropped_for_good_are_never_offered_again(seed):
    problem = random_problem(3_000 + seed)
    chance = np.random.default_rng(seed)
    allow = random_allow(chance, problem.sizes)
    within = Problem(problem.sizes, (*problem.constraints, *(kept(slot, allow) for slot in range(len(allow)))))
    found = compile_diagram(problem.sizes, problem.constraints, allow=allow)
    hold_to(found, within, everything(problem.sizes), random_prices(chance, problem.sizes))


@pytest.mark.parametrize("seed", range(40))
def test_the_order_of_slots_changes_no_answer(seed):
    problem = random_problem(4_000 + seed)
    chance = np.random.default_rng(seed)
    order = chance.permutation(len(problem.sizes)).tolist()
    found = compile_diagram(problem.sizes, problem.constraints, orders=1, first=order)
    if found.satisfiable:
        assert found.order == tuple(order)
    hold_to(found, problem, random_allow(chance, problem.sizes), random_prices(chance, problem.sizes))


@pytest.mark.parametrize("seed", range(30))
def test_a_hash_that_tells_nothing_apart_changes_no_answer(seed, monkeypatch):
    # All runs of one length then share a hash: only the comparison row by row keeps them apart.
    monkeypatch.setattr(arrays, "hashed", lambda columns: np.zeros(len(columns[0]), np.uint64))
    problem = random_problem(5_000 + seed)
    chance = np.random.default_rng(seed)
    found = compile_diagram(problem.sizes, problem.constraints)
    hold_to(found, problem, random_allow(chance, problem.sizes), random_prices(chance, problem.sizes))


@pytest.mark.parametrize("seed", range(30))
def test_totals_of_a_thousand_million_million_are_exact(seed):
    problem = random_problem(6_000 + seed)
    chance = np.random.default_rng(seed)
    found = compile_diagram(problem.sizes, problem.constraints)
    hold_to(found, problem, random_allow(chance, problem.sizes), random_prices(chance, problem.sizes, LARGE))


def test_a_problem_without_constraints_accepts_everything():
    found = compile_diagram((3, 1, 4), ())
    hold_to(found, Problem((3, 1, 4), ()), everything((3, 1, 4)), [np.arange(3), np.arange(1), np.arange(4)])
    assert found.edges == 3


def test_a_problem_without_slots_accepts_the_empty_combination():
    found = compile_diagram((), ())
    assert found.satisfiable
    assert found.feasible([])
    assert found.count([]) == (1, [])
    assert found.possible([]) == (True, [])
    assert found.cheapest([], []) == (0, [])
    assert found.witness([], []) == ()


def test_an_unsatisfiable_problem_answers_every_question_with_nothing():
    never = Table((0,), (np.array([0, 0]),), np.array([False]))
    clash = sum_at_most((0, 1), (np.arange(2), np.arange(3)), [np.array([2, 3]), np.array([1, 2, 3])], 2)
    for constraint in (never, clash):
        found = compile_diagram((2, 3), [constraint])
        assert not found.satisfiable
        assert (found.nodes, found.arcs, found.edges, found.memory_bytes) == (0, 0, 0, 0)
        hold_to(found, Problem((2, 3), (constraint,)), everything((2, 3)), [np.arange(2), np.arange(3)])
        assert not found.conjoined([]).satisfiable
        assert found.merged([np.zeros(2, np.intp), np.arange(3)]).sizes == (1, 3)


def test_numbers_beyond_64_bits_are_exact():
    # 40 slots of 9 values, of which two differ: 9 ** 40 less the 9 ** 39 combinations in which they are the same.
    sizes = (9,) * 40
    differ = Table((3, 30), (np.arange(9), np.arange(9)), ~np.eye(9, dtype=np.bool_))
    found = compile_diagram(sizes, [differ], orders=1)
    number, numbers = found.count(everything(sizes))
    assert number == 9**40 - 9**39
    assert numbers[3] == [8 * 9**38] * 9
    assert numbers[7] == [(9**40 - 9**39) // 9] * 9


def test_too_many_arcs_are_refused_and_not_made():
    chance = np.random.default_rng(1)
    spread = sum_at_most(tuple(range(6)), (np.arange(9),) * 6, [chance.integers(0, 1_000, 9) for _ in range(6)], 2_500)
    with pytest.raises(TooEntangledError):
        compile_diagram((9,) * 6, [spread], most_arcs=100)
    with pytest.raises(TooEntangledError):
        compile_diagram((9,) * 6, ()).conjoined([spread], most_arcs=100)


def test_a_fold_with_too_many_states_is_refused():
    slots = tuple(range(12))
    every = Fold(slots, (np.arange(9),) * 12, 0, lambda state, place, code: state + code * 9**place, bool)
    with pytest.raises(TooEntangledError):
        compile_diagram((9,) * 12, [every], orders=1)


def test_equal_beginnings_share_a_node():
    # Five slots of nine values, at most two different ones: no two ways to the same set of values are told apart.
    slots = tuple(range(5))
    found = compile_diagram((9,) * 5, [few_kinds(slots, (np.arange(9),) * 5, 2)], orders=1, first=slots)
    # One node, the 9 sets of one value, twice these and the 36 of two; before the last slot one value alone forbids
    # nothing any more, so the 9 are one; and the end.
    assert found.nodes == 1 + 9 + 45 + 45 + 37 + 1


def test_amounts_alone_are_charged_to_every_combination():
    toll = Amounts((0, 1), (np.zeros(2, np.intp), np.zeros(2, np.intp)), np.array([[7]]))
    found = compile_diagram((2, 2), [toll])
    lowest, low = found.cheapest(everything((2, 2)), [np.array([1, 2]), np.array([0, 5])])
    assert lowest == 8
    assert [row.tolist() for row in low] == [[8, 9], [8, 13]]
    assert judge(toll, (0, 1)) == 7
