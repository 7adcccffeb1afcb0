"""Turn a rule of the intermediate form into a function that judges one instance.

Three-valued: a condition over something not known is not known, and a clause whose condition
or figure is not known does not apply (it is still open).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from rules.ir import (
    SEVERITIES,
    AllOf,
    AllowOnly,
    Bound,
    Clause,
    Compare,
    Condition,
    Constant,
    Forbid,
    Graded,
    In,
    Includes,
    Limit,
    Lookup,
    Name,
    Not,
    Rule,
    Scaled,
    Severity,
    Term,
    Value,
    Verb,
)

Number = int | Fraction
Reader = Callable[[Any], Value]
ReaderOf = Callable[[str], Reader]
Truth = Callable[[Any], bool | None]


@dataclass(frozen=True, slots=True)
class Fired:
    """A violated clause. ``limit`` is a pair for ``between``; both None where nothing is measured.

    ``unit`` is that of a figure looked up in a table; the vocabulary knows those of the names.
    """

    severity: Severity
    measured: Number | None = None
    limit: Number | tuple[Number, Number] | None = None
    bound: Bound = "none"
    name: str = ""
    clause: int = 0
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Passed:
    """A clause that applies and holds."""

    measured: Number | None = None
    limit: Number | tuple[Number, Number] | None = None
    bound: Bound = "none"
    name: str = ""
    unit: str = ""


Word = Fired | Passed | None
Judge = Callable[[Any], Word]
_RANK = {severity: place for place, severity in enumerate(SEVERITIES)}


def judge_of(rule: Rule, reader_of: ReaderOf) -> Judge:
    """Return a function from an instance to the rule's word on it: fired, passed, or None.

    The worst clause that fires counts, the first among equals.
    """
    clauses = [_clause(clause, reader_of) for clause in rule.clauses]
    if len(clauses) == 1:
        return clauses[0]

    def judge(instance: Any) -> Word:
        worst: Word = None
        for place, clause in enumerate(clauses):
            said = clause(instance)
            if isinstance(said, Fired):
                if not isinstance(worst, Fired) or _RANK[said.severity] < _RANK[worst.severity]:
                    worst = replace(said, clause=place)
            elif worst is None:
                worst = said
        return worst

    return judge


def _clause(clause: Clause, reader_of: ReaderOf) -> Judge:
    when = condition_of(clause.when, reader_of)
    verb = _verb(clause.verb, reader_of)
    if not clause.when.conditions:
        return verb
    return lambda instance: verb(instance) if when(instance) else None


def _verb(verb: Verb, reader_of: ReaderOf) -> Judge:
    match verb:
        case Limit():
            return _limit(verb, reader_of)
        case Graded(name=name, levels=levels):
            return _graded(reader_of(name), dict(levels))
        case Forbid(rows=rows, severity=severity):
            return _table(rows, reader_of, Fired(severity), holds_is_bad=True)
        case AllowOnly(rows=rows, severity=severity):
            return _table(rows, reader_of, Fired(severity), holds_is_bad=False)
        case _:
            return _table((verb.condition,), reader_of, Fired(verb.severity), holds_is_bad=False)


def _table(rows: tuple[AllOf, ...], reader_of: ReaderOf, fired: Fired, *, holds_is_bad: bool) -> Judge:
    tests = [condition_of(row, reader_of) for row in rows]
    passed = Passed()

    def judge(instance: Any) -> Word:
        holds: bool | None = False
        for test in tests:
            said = test(instance)
            if said:
                holds = True
                break
            if said is None:
                holds = None
        if holds is None:
            return None
        return fired if holds is holds_is_bad else passed

    return judge


def _graded(read: Reader, levels: dict[str, Severity | None]) -> Judge:
    passed = Passed()
    said_of = {level: passed if severity is None else Fired(severity) for level, severity in levels.items()}

    def judge(instance: Any) -> Word:
        level = read(instance)
        return None if level is None else said_of[str(level)]

    return judge


def _limit(verb: Limit, reader_of: ReaderOf) -> Judge:
    measured_of = term_of(verb.term, reader_of)
    name = verb.term.name if isinstance(verb.term, Name | Lookup) else ""
    unit = verb.term.unit if isinstance(verb.term, Lookup) else ""
    if verb.upper is not None:
        return _between(verb, verb.upper, reader_of, name, unit)
    steps = [(term_of(step.limit, reader_of), step.severity) for step in verb.steps]
    steps.sort(key=lambda step: _RANK[step[1]])
    bound = verb.bound

    def judge(instance: Any) -> Word:
        measured = measured_of(instance)
        if measured is None:
            return None
        limit: Number | None = None
        for limit_of, severity in steps:
            limit = limit_of(instance)
            if limit is None:
                return None
            if _beyond(measured, limit, bound):
                return Fired(severity, measured, limit, bound, name, unit=unit)
        return Passed(measured, limit, bound, name, unit)

    return judge


def _between(verb: Limit, upper: Term, reader_of: ReaderOf, name: str, unit: str) -> Judge:
    measured_of = term_of(verb.term, reader_of)
    low_of, high_of = term_of(verb.steps[0].limit, reader_of), term_of(upper, reader_of)
    severity = verb.steps[0].severity

    def judge(instance: Any) -> Word:
        measured, low, high = measured_of(instance), low_of(instance), high_of(instance)
        if measured is None or low is None or high is None:
            return None
        if low <= measured <= high:
            return Passed(measured, (low, high), "between", name, unit)
        return Fired(severity, measured, (low, high), "between", name, unit=unit)

    return judge


def _beyond(measured: Number, limit: Number, bound: Bound) -> bool:
    if bound == "max":
        return measured > limit
    if bound == "min":
        return measured < limit
    return measured != limit


def term_of(term: Term, reader_of: ReaderOf) -> Callable[[Any], Number | None]:
    """Return a function that gives the term's exact number, or None where it is not known."""
    match term:
        case Constant(value=value):
            return lambda _: value
        case Name(name=name):
            return reader_of(name)  # type: ignore[return-value]  # the book lets only numbers stand here
        case Lookup(inputs=inputs):
            readers, figure = [reader_of(name) for name in inputs], term.figure
            return lambda instance: figure(tuple(read(instance) for read in readers))
        case Scaled():
            one, other = term_of(term.term, reader_of), term_of(term.by, reader_of)

            def scaled(instance: Any) -> Number | None:
                value, ratio = one(instance), other(instance)
                return None if value is None or ratio is None else value * ratio

            return scaled


def condition_of(condition: Condition, reader_of: ReaderOf) -> Truth:
    """Return a three-valued test of the condition."""
    match condition:
        case In(name=name, values=values):
            read = reader_of(name)
            return lambda instance: _member(read(instance), values)
        case Includes(name=name, value=value):
            held = reader_of(name)
            return lambda instance: _holds(held(instance), value)
        case Compare(left=left, op=op, right=right):
            return _comparison(term_of(left, reader_of), op, term_of(right, reader_of))
        case Not(condition=inner):
            test = condition_of(inner, reader_of)
            return lambda instance: None if (said := test(instance)) is None else not said
        case _:
            return _all([condition_of(each, reader_of) for each in condition.conditions])


def _member(value: Value, values: frozenset[Any]) -> bool | None:
    return None if value is None else value in values


def _holds(value: Value, wanted: str) -> bool | None:
    return None if not isinstance(value, frozenset) else wanted in value


def _comparison(left: Callable[[Any], Number | None], op: str, right: Callable[[Any], Number | None]) -> Truth:
    def test(instance: Any) -> bool | None:
        one, other = left(instance), right(instance)
        if one is None or other is None:
            return None
        if op == "max":
            return one <= other
        if op == "min":
            return one >= other
        return one > other if op == "above" else one < other

    return test


def _all(tests: list[Truth]) -> Truth:
    if len(tests) == 1:
        return tests[0]

    def test(instance: Any) -> bool | None:
        unknown = False
        for each in tests:
            said = each(instance)
            if said is None:
                unknown = True
            elif not said:
                return False
        return None if unknown else True

    return test
