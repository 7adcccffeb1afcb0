"""Clauses and clashes against trying every combination (`support.small_problems`)."""

from __future__ import annotations

from itertools import combinations
from threading import Thread

import numpy as np
import pytest
from support.small_problems import problem

from rules.diagram import wording
from rules.diagram.clash import Choice, at_work, because, kept, smallest_clashes, some_clash
from rules.diagram.clauses import Clauses
from rules.diagram.constraint import Fold, Table, TooEntangledError
from rules.diagram.folds import few_kinds

_SEEDS = range(300)


def _possible(small, allow):
    """Return, of every value, whether it may stand while the other slots are as allowed."""
    found = []
    for slot, truths in enumerate(allow):
        free = [*allow[:slot], np.ones(len(truths), bool), *allow[slot + 1 :]]
        found.append(np.bincount(small.rows[small.standing(free), slot], minlength=len(truths)) > 0)
    return found


@pytest.mark.parametrize("few", [4096, 0], ids=["combinations", "automata"])
def test_what_is_possible_is_what_trying_everything_finds(monkeypatch, few):
    monkeypatch.setattr(wording, "_FEW_COMBINATIONS", few)
    outcomes = set()
    for seed in _SEEDS:
        small = problem(seed)
        with Clauses(small.sizes, small.constraints) as clauses:
            stands = bool(small.standing(small.allow).any())
            answer, found = clauses.possible(small.allow)
            assert answer is stands is clauses.feasible(small.allow), seed
            assert all((one == two).all() for one, two in zip(found, _possible(small, small.allow), strict=True)), seed
            witness = clauses.witness(small.allow)
            assert (witness is not None) is stands
            if witness is not None:
                assert small.standing(
                    [np.arange(size) == value for size, value in zip(small.sizes, witness, strict=True)]
                ).any()
            outcomes.add(stands)
    assert outcomes == {True, False}


def test_any_value_of_a_box_stands_with_any_other():
    wide = 0
    for seed in _SEEDS:
        small = problem(seed)
        with Clauses(small.sizes, small.constraints) as clauses:
            box = clauses.box(small.allow)
        if box is not None:
            inside = small.standing(box)
            assert np.count_nonzero(inside) == np.prod([int(truths.sum()) for truths in box]), seed
            wide += np.count_nonzero(inside) > 1
    assert wide > 30


def test_constraints_left_out_do_not_bind():
    for seed in _SEEDS:
        small = problem(seed)
        with Clauses(small.sizes, small.constraints) as clauses:
            out = small.draw.sample(clauses.labels, small.draw.randint(0, len(clauses.labels)))
            left = set(clauses.labels) - set(out)
            expected = bool(small.standing(small.allow, left).any())
            assert clauses.without(out).feasible(small.allow) is expected, seed
            assert clauses.only(left).feasible(small.allow) is expected, seed
            assert set(clauses.without(out).labels) == left


def _smallest(small):
    """Return the smallest sets of choices, by place, that do not stand."""
    places = range(len(small.choices))
    for size in range(len(small.choices) + 1):
        found = {
            several
            for several in combinations(places, size)
            if not small.standing(kept(small.allow, [small.choices[each] for each in several])).any()
        }
        if found:
            return found
    return set()


def _assert_minimal(small, allow, labels):
    assert not small.standing(allow, set(labels)).any()
    for label in labels:
        assert small.standing(allow, set(labels) - {label}).any()


def test_all_smallest_clashes_are_found_each_with_a_minimal_set_of_constraints():
    sizes = set()
    for seed in _SEEDS:
        small = problem(seed)
        named = {choice.name: choice for choice in small.choices}
        with Clauses(small.sizes, small.constraints) as clauses:
            clashes = smallest_clashes(clauses, small.allow, small.choices, at_most=1000)
        expected = {tuple(small.choices[each].name for each in several) for several in _smallest(small)}
        assert {clash.choices for clash in clashes} == expected, seed
        assert len(clashes) == len(expected)
        for clash in clashes:
            _assert_minimal(small, kept(small.allow, [named[name] for name in clash.choices]), clash.labels)
            sizes.add(len(clash.choices))
    assert sizes >= {0, 1, 2, 3}


def test_answers_are_the_same_whatever_was_asked_before():
    for seed in _SEEDS:
        small = problem(seed)
        with Clauses(small.sizes, small.constraints) as fresh, Clauses(small.sizes, small.constraints) as used:
            used.possible(small.allow)
            some_clash(used, small.allow, list(reversed(small.choices)))
            for asked in (small.allow, kept(small.allow, small.choices)):
                assert at_work(fresh, asked) == at_work(used, asked), seed
                first = fresh.first(asked)
                assert first == used.first(asked), seed
                standing = small.rows[small.standing(asked)]
                assert first == (min(map(tuple, standing.tolist())) if len(standing) else None), seed
            once = smallest_clashes(fresh, small.allow, small.choices, at_most=2)
            assert once == smallest_clashes(used, small.allow, small.choices, at_most=2), seed


def test_some_clash_has_neither_a_choice_nor_a_constraint_too_many():
    sizes = set()
    for seed in _SEEDS:
        small = problem(seed)
        named = {choice.name: choice for choice in small.choices}
        with Clauses(small.sizes, small.constraints) as clauses:
            clash = some_clash(clauses, small.allow, small.choices)
        assert (clash is None) == small.standing(kept(small.allow, small.choices)).any(), seed
        if clash is not None:
            for left_out in clash.choices:
                others = [named[name] for name in clash.choices if name != left_out]
                assert small.standing(kept(small.allow, others)).any()
            _assert_minimal(small, kept(small.allow, [named[name] for name in clash.choices]), clash.labels)
            sizes.add(len(clash.choices))
    assert sizes >= {0, 1, 2, 3}


def test_why_a_value_is_closed_is_told_by_a_minimal_set_of_constraints():
    told = set()
    for seed in _SEEDS:
        small = problem(seed)
        slot = small.draw.randrange(len(small.sizes))
        possible = _possible(small, small.allow)[slot]
        with Clauses(small.sizes, small.constraints) as clauses:
            for value, truth in enumerate(possible):
                labels = because(clauses, small.allow, slot, value)
                assert (labels is None) == truth, seed
                if labels is not None:
                    asked = [*small.allow]
                    asked[slot] = np.arange(small.sizes[slot]) == value
                    _assert_minimal(small, asked, labels)
                    alone = [each for each in clauses.labels if not small.standing(asked, {each}).any()]
                    assert len(labels) == 1 or not alone
                    told.add(len(labels))
    assert told >= {1, 2}


def test_no_more_clashes_than_asked_for_and_none_larger():
    table = Table((0, 1), (np.arange(3), np.arange(3)), np.zeros((3, 3), bool), label="never")
    choices = [Choice(name, 0, np.arange(3) == 0) for name in range(5)]
    with Clauses([3, 3], [table]) as clauses:
        all_open = [np.ones(3, bool)] * 2
        assert [clash.labels for clash in smallest_clashes(clauses, all_open, choices)] == [("never",)]
        free = clauses.without(["never"])
        assert smallest_clashes(free, all_open, choices) == []
        against = [*choices, Choice("other", 0, np.arange(3) == 1)]
        assert len(smallest_clashes(free, all_open, against)) == 5
        assert len(smallest_clashes(free, all_open, against, at_most=2)) == 2
        assert smallest_clashes(free, all_open, against, largest=1) == []


def test_a_slot_with_nothing_left_clashes_without_any_constraint():
    with Clauses([2, 2], []) as clauses:
        allow = [np.zeros(2, bool), np.ones(2, bool)]
        (clash,) = smallest_clashes(clauses, allow, [Choice("a", 1, np.arange(2) == 0)])
        assert clash.choices == ()
        assert clash.labels == at_work(clauses, allow) == because(clauses, allow, 1, 0) == ()
        assert because(clauses, allow, 0, 1) is None


def test_many_choices_of_which_few_clash_take_few_questions(monkeypatch):
    size, slots = 3, 40
    pairs = [
        Table((one, one + 1), (np.arange(size),) * 2, ~np.eye(size, dtype=bool), label=one)
        for one in range(0, slots, 2)
    ]
    with Clauses(
        [size] * slots, [*pairs, few_kinds(range(slots), [np.arange(size)] * slots, most=2, label="k")]
    ) as clauses:
        wanted = [Choice(slot, slot, np.arange(size) == (2 if slot == 20 else slot % 2)) for slot in range(slots)]
        asked = []
        answer = clauses._shared.solve
        monkeypatch.setattr(clauses._shared, "solve", lambda *given: asked.append(1) or answer(*given))
        clashes = smallest_clashes(clauses, [np.ones(size, bool)] * slots, wanted, at_most=1000)
    # 19 even slots beside the one that is different, 20 odd ones.
    assert len(clashes) == 19 * 20
    assert {clash.labels for clash in clashes} == {("k",)}
    assert len(asked) < 5 * len(clashes)


def test_a_fold_of_too_many_steps_is_refused():
    spread = Fold(
        tuple(range(30)),
        (np.arange(3),) * 30,
        0,
        lambda state, _place, code: state * 3 + code,
        lambda _state: True,
        label="x",
    )
    with pytest.raises(TooEntangledError, match="x takes more than"):
        Clauses([3] * 30, [spread])


def test_threads_that_share_the_clauses_get_their_own_answers():
    small = problem(3)
    asked = [
        [np.arange(size) == 0 if place == slot else np.ones(size, bool) for place, size in enumerate(small.sizes)]
        for slot in range(len(small.sizes))
    ]
    with Clauses(small.sizes, small.constraints) as clauses:
        expected = [_possible(small, allow) for allow in asked]
        wrong = []

        def ask(which):
            for _ in range(50):
                found = clauses.possible(asked[which])[1]
                wrong.extend(which for one, two in zip(found, expected[which], strict=True) if (one != two).any())

        threads = [Thread(target=ask, args=(which,)) for which in range(len(asked))]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert not wrong


def test_closing_frees_the_solver_and_ends_the_questions():
    clauses = Clauses([2], [])
    part = clauses.without([])
    clauses.close()
    clauses.close()
    assert clauses._shared.solver.solver is None
    with pytest.raises(ValueError, match="closed"):
        part.feasible([np.ones(2, bool)])
