"""Three-valued judging: what is not known never passes and never fires by accident."""

from __future__ import annotations

from typing import Any

import pytest

from rules.ir import (
    AllOf,
    AllowOnly,
    Clause,
    Compare,
    Constant,
    Forbid,
    Graded,
    In,
    Includes,
    Limit,
    Name,
    Not,
    Require,
    Rule,
    Scaled,
    Step,
    Value,
    Verb,
)
from rules.judge import Fired, Passed, condition_of, judge_of

ALWAYS = AllOf(())


def rule(*clauses: Clause) -> Rule:
    return Rule("X-01", "x", "piece", "", "", "", "", "", "check", clauses, ("own",), (), ())


def word(verb: Verb, facts: dict[str, Value], when: AllOf = ALWAYS) -> Any:
    return judge_of(rule(Clause(when, verb)), lambda name: lambda _: facts.get(name))(None)


def holds(condition: Any, facts: dict[str, Value]) -> bool | None:
    return condition_of(condition, lambda name: lambda _: facts.get(name))(None)


IS_A = In("a", frozenset({"x"}))
IS_B = In("b", frozenset({True}))


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({"a": "x", "b": True}, True),
        ({"a": "y", "b": True}, False),
        ({"a": "y"}, False),
        ({"a": "x"}, None),
        ({}, None),
    ],
)
def test_all_conditions_hold_or_one_fails_or_it_is_open(facts: dict[str, Value], said: bool | None) -> None:
    assert holds(AllOf((IS_A, IS_B)), facts) is said


def test_not_of_an_open_condition_is_open() -> None:
    assert [holds(Not(IS_A), facts) for facts in ({"a": "x"}, {"a": "y"}, {})] == [False, True, None]


def test_a_set_includes_a_word_or_not_or_is_not_known() -> None:
    asked = Includes("s", "x")
    assert [holds(asked, {"s": value}) for value in (frozenset("x"), frozenset("y"), None)] == [True, False, None]


@pytest.mark.parametrize(("op", "said"), [("max", True), ("min", True), ("above", False), ("below", False)])
def test_a_figure_at_its_bound_is_within_max_and_min_and_not_above_or_below(op: Any, said: bool) -> None:
    assert holds(Compare(Name("n"), op, Constant(5)), {"n": 5}) is said
    assert holds(Compare(Name("n"), op, Constant(5)), {}) is None


def test_a_limit_at_its_figure_passes_and_past_it_the_worst_step_counts() -> None:
    steps = (Step(Name("l"), "sign_off"), Step(Scaled(Name("l"), Name("f")), "refuse"))
    limit = Limit(Name("n"), "max", steps)
    facts: dict[str, Value] = {"l": 10, "f": 2}
    assert word(limit, facts | {"n": 10}) == Passed(10, 10, "max", "n")
    assert word(limit, facts | {"n": 11}) == Fired("sign_off", 11, 10, "max", "n")
    assert word(limit, facts | {"n": 21}) == Fired("refuse", 21, 20, "max", "n")


@pytest.mark.parametrize("facts", [{}, {"n": 5}, {"n": 5, "l": 4}, {"l": 4, "f": 2}])
def test_a_limit_with_anything_unknown_does_not_apply(facts: dict[str, Value]) -> None:
    assert word(Limit(Name("n"), "max", (Step(Scaled(Name("l"), Name("f")), "refuse"),)), facts) is None


def test_least_equal_and_between() -> None:
    least = Limit(Name("n"), "min", (Step(Constant(5), "refuse"),))
    equal = Limit(Name("n"), "equal", (Step(Constant(5), "refuse"),))
    between = Limit(Name("n"), "between", (Step(Constant(3), "refuse"),), Constant(5))
    assert [isinstance(word(least, {"n": n}), Fired) for n in (4, 5)] == [True, False]
    assert [isinstance(word(equal, {"n": n}), Fired) for n in (4, 5, 6)] == [True, False, True]
    assert [isinstance(word(between, {"n": n}), Fired) for n in (2, 3, 5, 6)] == [True, False, False, True]
    assert word(between, {}) is None


def test_a_graded_datum_gives_its_level_or_nothing_where_it_is_unknown() -> None:
    graded = Graded("g", (("fine", None), ("refuse", "refuse")))
    assert word(graded, {"g": "fine"}) == Passed()
    assert word(graded, {"g": "refuse"}) == Fired("refuse")
    assert word(graded, {}) is None


def test_tables_forbid_require_and_allow() -> None:
    rows = (AllOf((IS_A,)), AllOf((IS_B,)))
    assert word(Forbid(rows, "refuse"), {"a": "y", "b": True}) == Fired("refuse")
    assert word(Forbid(rows, "refuse"), {"a": "y", "b": False}) == Passed()
    assert word(Forbid(rows, "refuse"), {"a": "y"}) is None
    assert word(AllowOnly(rows, "refuse"), {"a": "y", "b": False}) == Fired("refuse")
    assert word(AllowOnly(rows, "refuse"), {"a": "x"}) == Passed()
    assert word(Require(rows[0], "refuse"), {"a": "y"}) == Fired("refuse")


def test_a_clause_whose_condition_is_open_or_false_does_not_apply() -> None:
    forbid = Forbid((AllOf((IS_B,)),), "refuse")
    assert word(forbid, {"b": True}, AllOf((IS_A,))) is None
    assert word(forbid, {"b": True, "a": "y"}, AllOf((IS_A,))) is None
    assert word(forbid, {"b": True, "a": "x"}, AllOf((IS_A,))) == Fired("refuse")


def test_of_several_clauses_the_worst_that_fires_counts_and_the_first_among_equals() -> None:
    mild = Clause(ALWAYS, Forbid((AllOf((IS_A,)),), "advise"))
    bad = Clause(ALWAYS, Forbid((AllOf((IS_B,)),), "refuse"))
    judge = judge_of(rule(mild, bad, bad), lambda name: lambda facts: facts.get(name))
    assert judge({"a": "x", "b": True}) == Fired("refuse", clause=1)
    assert judge({"a": "x", "b": False}) == Fired("advise", clause=0)
    assert judge({"a": "y", "b": False}) == Passed()
    assert judge({}) is None
