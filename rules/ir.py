"""The intermediate form of a rule: what every evaluator reads.

A rule is judged once for each instance of its subject (each panel, each seam, the whole
piece). It has clauses; a clause has a condition and exactly one verb. Names are
``subject.attribute``; their values are exact numbers in base units, words, booleans, sets of
words, or ``None`` for "not known". Nothing here knows how a value is found, so one rule
serves a single check, a table of specs, and a partial spec alike.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from typing import Literal

Value = int | Fraction | str | bool | frozenset[str] | None
Severity = Literal["refuse", "sign_off", "advise", "notice"]
Bound = Literal["max", "min", "between", "equal", "none"]
#: When a rule speaks: of a spec, of what is set aside for it, before it is cut, before it leaves, of the data itself.
Stage = Literal["check", "quote", "cut", "pack", "catalog"]
STAGES: tuple[Stage, ...] = ("check", "quote", "cut", "pack", "catalog")
SEVERITIES: tuple[Severity, ...] = ("refuse", "sign_off", "advise", "notice")


@dataclass(frozen=True, slots=True)
class Name:
    """The value of ``subject.attribute``."""

    name: str


@dataclass(frozen=True, slots=True)
class Constant:
    """A number written in the rule, in base units, with the unit that it was written in."""

    value: int | Fraction
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Scaled:
    """A term times a ratio."""

    term: Plain
    by: Plain


@dataclass(frozen=True, slots=True)
class Interval:
    """A range of figures in base units; None is no end. An end belongs to the range where it is said to."""

    low: int | Fraction | None
    high: int | Fraction | None
    low_in: bool = True
    high_in: bool = True

    def holds(self, value: int | Fraction) -> bool:
        """Say whether a figure lies in it."""
        above = self.low is None or value > self.low or (self.low_in and value == self.low)
        return above and (self.high is None or value < self.high or (self.high_in and value == self.high))


TableCell = frozenset[str | bool] | Interval | None
"""What a row of a table asks of one input: one of some words or truths, a figure in a range, or nothing."""


@dataclass(frozen=True, slots=True)
class LookupRow:
    """One row of a table: what it asks of each input, and the figure that it gives, in base units."""

    cells: tuple[TableCell, ...]
    gives: int | Fraction


@dataclass(frozen=True, slots=True)
class Lookup:
    """A figure looked up in a table of the house: that of the first row that holds, else ``otherwise``.

    ``inputs`` are names of the vocabulary, one a cell. Where an input is not known, neither is the figure. The table
    itself stands here, so that whatever reads a rule's names sees what the figure depends on.
    """

    name: str
    says: str
    unit: str
    inputs: tuple[str, ...]
    rows: tuple[LookupRow, ...]
    otherwise: int | Fraction | None = None

    def figure(self, values: tuple[Value, ...]) -> int | Fraction | None:
        """Return the figure for values of the inputs, in base units."""
        if None in values:
            return None
        for row in self.rows:
            if all(map(_suits, row.cells, values)):
                return row.gives
        return self.otherwise


def _suits(cell: TableCell, value: Value) -> bool:
    if cell is None:
        return True
    if isinstance(cell, Interval):
        return isinstance(value, int | Fraction) and cell.holds(value)
    return value in cell


Plain = Name | Constant | Lookup
Term = Plain | Scaled


@dataclass(frozen=True, slots=True)
class In:
    """The value is one of ``values``."""

    name: str
    values: frozenset[str | bool | int | Fraction]


@dataclass(frozen=True, slots=True)
class Includes:
    """The set named holds ``value``."""

    name: str
    value: str


@dataclass(frozen=True, slots=True)
class Compare:
    """``left`` stands in the relation ``op`` to ``right``."""

    left: Term
    op: Literal["max", "min", "above", "below"]
    right: Term


@dataclass(frozen=True, slots=True)
class Not:
    """The condition does not hold."""

    condition: Condition


@dataclass(frozen=True, slots=True)
class AllOf:
    """Every condition holds; none given: always."""

    conditions: tuple[Condition, ...]


Condition = In | Includes | Compare | Not | AllOf


@dataclass(frozen=True, slots=True)
class Forbid:
    """Violated where one of the rows holds."""

    rows: tuple[AllOf, ...]
    severity: Severity


@dataclass(frozen=True, slots=True)
class Require:
    """Violated where the condition does not hold."""

    condition: AllOf
    severity: Severity


@dataclass(frozen=True, slots=True)
class AllowOnly:
    """Violated where none of the rows holds."""

    rows: tuple[AllOf, ...]
    severity: Severity


@dataclass(frozen=True, slots=True)
class Step:
    """Past ``limit`` the finding has ``severity``; a figure exactly at the limit passes."""

    limit: Term
    severity: Severity


@dataclass(frozen=True, slots=True)
class Limit:
    """A measured figure held against limits, the worst step passed counts.

    ``between`` has one step and a second, upper limit.
    """

    term: Term
    bound: Bound
    steps: tuple[Step, ...]
    upper: Term | None = None


@dataclass(frozen=True, slots=True)
class Graded:
    """A graded datum: each level gives a severity or none."""

    name: str
    levels: tuple[tuple[str, Severity | None], ...]


Verb = Forbid | Require | AllowOnly | Limit | Graded


@dataclass(frozen=True, slots=True)
class Clause:
    """One condition and one verb, at one stage, with sentences of its own where the rule's do not suit it."""

    when: AllOf
    verb: Verb
    stage: Stage = "check"
    tell: str = ""
    bench: str = ""
    at: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Example:
    """Facts under which the rule fails, passes or does not apply (``skips``), at one of its stages."""

    expect: Literal["fails", "passes", "skips"]
    facts: tuple[tuple[str, Value], ...]
    severity: Severity | None
    line: int
    stage: Stage | None = None


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule of the trade or the house, ready to be judged.

    ``effect_of`` names rules whose finding on the same choice explains this one. ``tell`` and
    ``bench`` are sentences with closed placeholders, filled in from fields.
    """

    id: str
    family: str
    subject: str
    says: str
    why: str
    tell: str
    bench: str
    source: str
    stage: Stage
    clauses: tuple[Clause, ...]
    at: tuple[str, ...]
    effect_of: tuple[str, ...]
    examples: tuple[Example, ...]
    valid_from: date | None = None
    valid_until: date | None = None
    review_by: date | None = None

    @property
    def severities(self) -> tuple[Severity, ...]:
        """Return the severities that the rule can give, worst first."""
        found = {severity for clause in self.clauses for severity in severities_of(clause.verb)}
        return tuple(severity for severity in SEVERITIES if severity in found)

    @property
    def stages(self) -> tuple[Stage, ...]:
        """Return the stages at which some clause of it speaks, the earliest first."""
        found = {clause.stage for clause in self.clauses}
        return tuple(stage for stage in STAGES if stage in found)

    def at_stage(self, stage: Stage) -> Rule | None:
        """Return the rule with the clauses of one stage only, or None where it has none there."""
        own = tuple(clause for clause in self.clauses if clause.stage == stage)
        if len(own) == len(self.clauses):
            return self if own else None
        return replace(self, stage=stage, clauses=own) if own else None


def severities_of(verb: Verb) -> tuple[Severity, ...]:
    """Return the severities that a verb can give."""
    match verb:
        case Limit(steps=steps):
            return tuple(step.severity for step in steps)
        case Graded(levels=levels):
            return tuple(severity for _, severity in levels if severity is not None)
        case _:
            return (verb.severity,)


def names_in(rule: Rule) -> frozenset[str]:
    """Return every name that the rule's conditions and verbs read."""
    found: set[str] = set()
    for clause in rule.clauses:
        _collect(clause.when, found)
        _collect_verb(clause.verb, found)
    return frozenset(found)


def lookups_in(rule: Rule) -> tuple[Lookup, ...]:
    """Return the tables that the rule looks figures up in, each once."""
    found: dict[str, Lookup] = {}
    for clause in rule.clauses:
        _tables_of(clause.when, found)
        match clause.verb:
            case Forbid(rows=rows) | AllowOnly(rows=rows):
                _tables_of(AllOf(rows), found)
            case Require(condition=condition):
                _tables_of(condition, found)
            case Limit(term=term, steps=steps, upper=upper):
                for each in (term, upper, *(step.limit for step in steps)):
                    _tables_in(each, found)
            case Graded():
                pass
    return tuple(found.values())


def _tables_of(condition: Condition, found: dict[str, Lookup]) -> None:
    match condition:
        case Compare(left=left, right=right):
            _tables_in(left, found)
            _tables_in(right, found)
        case Not(condition=inner):
            _tables_of(inner, found)
        case AllOf(conditions=several):
            for each in several:
                _tables_of(each, found)
        case _:
            return


def _tables_in(term: Term | None, found: dict[str, Lookup]) -> None:
    match term:
        case Lookup(name=name):
            found[name] = term
        case Scaled(term=inner, by=by):
            _tables_in(inner, found)
            _tables_in(by, found)
        case _:
            return


def names_of(condition: Condition) -> frozenset[str]:
    """Return every name that a condition reads."""
    found: set[str] = set()
    _collect(condition, found)
    return frozenset(found)


def _collect_verb(verb: Verb, found: set[str]) -> None:
    match verb:
        case Forbid(rows=rows) | AllowOnly(rows=rows):
            for row in rows:
                _collect(row, found)
        case Require(condition=condition):
            _collect(condition, found)
        case Limit(term=term, steps=steps, upper=upper):
            for each in (term, upper, *(step.limit for step in steps)):
                _collect_term(each, found)
        case _:
            found.add(verb.name)


def _collect(condition: Condition, found: set[str]) -> None:
    match condition:
        case In(name=name) | Includes(name=name):
            found.add(name)
        case Compare(left=left, right=right):
            _collect_term(left, found)
            _collect_term(right, found)
        case Not(condition=inner):
            _collect(inner, found)
        case _:
            for inner in condition.conditions:
                _collect(inner, found)


def _collect_term(term: Term | None, found: set[str]) -> None:
    match term:
        case Name(name=name):
            found.add(name)
        case Scaled(term=inner, by=by):
            _collect_term(inner, found)
            _collect_term(by, found)
        case Lookup(inputs=inputs):
            found.update(inputs)
        case _:
            return
