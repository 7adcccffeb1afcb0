"""The reference models: diagram and clauses against CP-SAT and against clauses written by the book (`tests/bench`)."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from diagram.reference_models import large, middle, small
from support.stocks import stock_of, within_stock

from rules.diagram.clash import Choice, because, kept, smallest_clashes, some_clash
from rules.diagram.clauses import Clauses
from rules.diagram.diagram import NONE, compile_diagram
from rules.diagram.overlay import Overlay
from rules.diagram.repair import nearest

pytest.importorskip("ortools.sat.python.cp_model", reason="ortools is not installed")
from cp_model import CpModel
from sat_model import SatModel

_MODELS = ["S1", "S2", pytest.param("S3", marks=pytest.mark.long)]


@lru_cache
def reference(name):
    return {"S1": small, "S2": middle, "S3": large}[name]()


@lru_cache
def _compiled(name):
    model = reference(name)
    return compile_diagram(model.sizes, model.constraints, orders=1)


@lru_cache
def _by_cp_sat(name):
    return CpModel(reference(name))


@pytest.fixture
def by_clauses(name):
    model = reference(name)
    with Clauses(model.sizes, model.constraints) as clauses:
        yield clauses


@pytest.fixture
def by_the_book(name):
    model = SatModel(reference(name))
    yield model
    model.close()


def _one(size, value):
    return np.arange(size) == value


def _walk(name, seed):
    """Yield what is allowed at each step from nothing chosen to everything, chosen at random among what is possible."""
    model, diagram, draw = reference(name), _compiled(name), np.random.default_rng(seed)
    allow = model.everything()
    for slot in draw.permutation(len(model.sizes)):
        yield list(allow)
        possible = diagram.possible(allow)[1][slot]
        allow[slot] = _one(model.sizes[slot], draw.choice(np.flatnonzero(possible & allow[slot])))
    yield allow


@pytest.mark.parametrize("name", _MODELS)
def test_what_is_possible_is_the_same_for_all_at_every_step_of_a_walk(name, by_clauses, by_the_book):
    model, diagram, draw = reference(name), _compiled(name), np.random.default_rng(2)
    closed = 0
    for allow in _walk(name, 1):
        stands, possible = diagram.possible(allow)
        assert stands
        also, found = by_clauses.possible(allow)
        assert also
        assert all((one == two).all() for one, two in zip(possible, found, strict=True))
        for slot in range(len(model.sizes)):
            value = int(draw.integers(model.sizes[slot]))
            assert by_the_book.feasible(allow, (slot, value)) == possible[slot][value]
            closed += not possible[slot][value]
    assert closed > 50


@pytest.mark.parametrize("name", _MODELS)
def test_the_cheapest_totals_are_those_of_cp_sat(name):
    model, diagram, draw = reference(name), _compiled(name), np.random.default_rng(3)
    outcomes = set()
    for allow in list(_walk(name, 2))[::3]:
        lowest, totals = diagram.cheapest(allow, model.prices)
        assert _by_cp_sat(name).cheapest(allow)[0] == lowest
        for slot in draw.choice(len(model.sizes), 3, replace=False).tolist():
            value = int(draw.integers(model.sizes[slot]))
            answer = _by_cp_sat(name).cheapest(allow, (slot, value))
            assert (NONE if answer is None else answer[0]) == totals[slot][value]
            outcomes.add(answer is None)
    assert outcomes == {True, False}


@pytest.mark.parametrize("name", _MODELS)
def test_stock_put_over_a_diagram_allows_and_costs_what_cp_sat_finds(name):
    model, diagram, draw = reference(name), _compiled(name), np.random.default_rng(8)
    joint, outcomes = 0, set()
    for seed in range(3):
        stock = stock_of(model, seed)
        allow = list(_walk(name, 10 + seed))[4]
        hard, scarce = within_stock(model, allow, stock)
        lowest, totals = Overlay(diagram, allow, scarce, hard).cheapest(model.prices)
        by_cp_sat = CpModel(model, stock=stock)
        answer = by_cp_sat.cheapest(allow)
        assert lowest == (None if answer is None else answer[0])
        for slot in draw.permutation(len(model.sizes))[:5].tolist():
            value = int(draw.integers(model.sizes[slot]))
            answer = by_cp_sat.cheapest(allow, (slot, value))
            assert totals[slot][value] == (NONE if answer is None else answer[0])
            outcomes.add(answer is None)
        joint += len(scarce)
    assert joint
    assert outcomes == {True, False}


def _clashing(name, clauses, seed, many):
    """Return choices of single values, each possible alone, that do not stand together."""
    model, draw = reference(name), np.random.default_rng(seed)
    possible = _compiled(name).possible(model.everything())[1]
    found = []
    while len(found) < many:
        slots = draw.permutation(len(model.sizes) - 1)[: int(draw.integers(5, len(model.sizes)))]
        choices = [
            Choice(model.names[slot], int(slot), _one(model.sizes[slot], draw.choice(np.flatnonzero(possible[slot]))))
            for slot in slots
        ]
        if not clauses.feasible(kept(model.everything(), choices)):
            found.append(choices)
    return found


@pytest.mark.parametrize("name", _MODELS)
def test_clashes_do_not_stand_by_the_book_and_stand_without_any_one_choice(name, by_clauses, by_the_book):
    everything = reference(name).everything()
    for choices in _clashing(name, by_clauses, 4, 8):
        named = {choice.name: choice for choice in choices}
        clashes = smallest_clashes(by_clauses, everything, choices, 1000)
        assert len(clashes[0].choices) <= len(some_clash(by_clauses, everything, choices).choices)
        for clash in clashes:
            several = [named[each] for each in clash.choices]
            assert not by_the_book.feasible(kept(everything, several))
            assert all(
                by_the_book.feasible(kept(everything, [one for one in several if one is not each])) for each in several
            )
            without = by_clauses.without(clash.labels[:1])
            assert clash.labels
            assert not by_clauses.only(clash.labels).feasible(kept(everything, several))
            assert without.only(clash.labels).feasible(kept(everything, several))


@pytest.mark.parametrize("name", _MODELS)
def test_ways_out_give_up_as_few_as_maxsat_and_cost_what_cp_sat_says(name, by_clauses, by_the_book):
    model, diagram, everything = reference(name), _compiled(name), reference(name).everything()
    for choices in _clashing(name, by_clauses, 5, 4):
        distances = [np.zeros(size, np.int64) for size in model.sizes]
        for choice in choices:
            distances[choice.slot] = np.abs(np.arange(model.sizes[choice.slot]) - choice.values.argmax())
        repairs = nearest(diagram, everything, choices, distances, model.prices)
        assert len(repairs) == 5
        assert len(repairs[0].given_up) == by_the_book.fewest_given_up(everything, choices)
        assert repairs == sorted(repairs, key=lambda repair: (len(repair.given_up), repair.distance, repair.total))
        for repair in repairs:
            exact = [_one(size, value) for size, value in zip(model.sizes, repair.witness, strict=True)]
            assert by_the_book.feasible(exact)
            assert diagram.cheapest(exact, model.prices)[0] == repair.total
            left = kept(everything, [choice for choice in choices if choice.name not in repair.given_up])
            for slot, value in repair.changes.items():
                left[slot] = _one(model.sizes[slot], value)
            assert _by_cp_sat(name).cheapest(left)[0] == repair.total


@pytest.mark.parametrize("name", _MODELS)
def test_why_values_are_closed_holds_by_cp_sat_too(name, by_clauses):
    model, draw = reference(name), np.random.default_rng(6)
    allow = list(_walk(name, 7))[8]
    possible = _compiled(name).possible(allow)[1]
    asked = 0
    for slot in range(len(model.sizes)):
        closed = np.flatnonzero(~possible[slot])
        for value in draw.permutation(closed)[:3].tolist():
            labels = because(by_clauses, allow, slot, value)
            assert labels
            assert _by_cp_sat(name).cheapest(allow, (slot, value)) is None
            asked += 1
        if possible[slot].any():
            assert because(by_clauses, allow, slot, int(possible[slot].argmax())) is None
    assert asked > 10
