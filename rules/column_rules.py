"""Rules evaluated from their intermediate form over whole columns.

Three-valued like :mod:`rules.judge`: what is not known fires nothing. Figures are exact, whole
numbers over whole numbers.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rules.cells import Member
from rules.ir import (
    SEVERITIES,
    AllOf,
    AllowOnly,
    Clause,
    Compare,
    Condition,
    Constant,
    Forbid,
    Graded,
    In,
    Includes,
    Interval,
    Limit,
    Lookup,
    Name,
    Not,
    Require,
    Rule,
    Scaled,
    Severity,
    Term,
    Value,
    Verb,
)
from rules.sums import SUMMED, SUMMED_TRUTHS, Bools, Figures, Sums, always, figures, times
from rules.vocabulary import TERMS

_NONE = len(SEVERITIES)
_CLAUSES = 16


@dataclass(frozen=True, slots=True)
class Truths:
    """One three-valued truth a row."""

    true: Bools
    known: Bools


def judged_by(sums: Sums, member: Member) -> list[tuple[Rule, NDArray[np.int8]]]:
    """Return each rule with the place of the severity it fires with on each row, once an instance."""
    return [(rule, fired // _CLAUSES) for rule in member.rules for fired in fired_by(sums, member, rule)]


def fired_by(sums: Sums, member: Member, rule: Rule) -> list[NDArray[np.int8]]:
    """Return what a rule of a member says on each row, one column an instance.

    Equal numbers stand for the same severity by the same clause; a row on which it does not fire has the largest.
    """
    instances = list(member.instances(sums.block.case_at(0, ())))
    return [_View(sums, member, place, instance).judged(rule) for place, instance in enumerate(instances)]


class _View:
    """The rules of a member over one instance, column by column."""

    def __init__(self, sums: Sums, member: Member, place: int, instance: Any) -> None:
        self._sums = sums
        self._member = member
        self._place = place
        self._instance = instance
        self._figures: dict[str, Figures] = {}

    def judged(self, rule: Rule) -> NDArray[np.int8]:
        """Return the worst clause that fires, the first among equals, by the place of its severity and its own."""
        if len(rule.clauses) > _CLAUSES:
            raise ValueError(f"{rule.id} has more than {_CLAUSES} clauses")
        worst = np.full(self._sums.rows, _NONE * _CLAUSES, dtype=np.int8)
        for place, clause in enumerate(rule.clauses):
            said = self._clause(clause)
            np.minimum(worst, np.where(said == _NONE, worst, said * np.int8(_CLAUSES) + np.int8(place)), out=worst)
        return worst

    def _clause(self, clause: Clause) -> NDArray[np.int8]:
        said = self._verb(clause.verb)
        if clause.when.conditions:
            said = np.where(self._holds(clause.when).true, said, np.int8(_NONE))
        return said

    def _verb(self, verb: Verb) -> NDArray[np.int8]:
        match verb:
            case Limit():
                return self._limit(verb)
            case Graded(name=name, levels=levels):
                values, codes = self._values(name)
                places = {level: _NONE if own is None else SEVERITIES.index(own) for level, own in levels}
                return np.array([_NONE if v is None else places[str(v)] for v in values], dtype=np.int8)[codes]
            case Forbid(rows=rows, severity=severity):
                return self._where(self._any(rows).true, severity)
            case AllowOnly(rows=rows, severity=severity):
                holds = self._any(rows)
                return self._where(holds.known & ~holds.true, severity)
            case Require(condition=condition, severity=severity):
                holds = self._any((condition,))
                return self._where(holds.known & ~holds.true, severity)

    def _where(self, fired: Bools, severity: Severity) -> NDArray[np.int8]:
        return np.where(fired, SEVERITIES.index(severity), _NONE).astype(np.int8)

    def _limit(self, verb: Limit) -> NDArray[np.int8]:
        measured = self._figure(verb.term)
        said = np.full(self._sums.rows, _NONE, dtype=np.int8)
        open_still = measured.known.copy()
        if verb.upper is not None:
            low, high = self._figure(verb.steps[0].limit), self._figure(verb.upper)
            beyond = (_compare(measured, low) < 0) | (_compare(measured, high) > 0)
            fired = open_still & low.known & high.known & beyond
            return self._where(fired, verb.steps[0].severity)
        for step in sorted(verb.steps, key=lambda each: SEVERITIES.index(each.severity)):
            limit = self._figure(step.limit)
            open_still &= limit.known
            sign = _compare(measured, limit)
            beyond = {"max": sign > 0, "min": sign < 0}.get(verb.bound, sign != 0)
            fired = open_still & beyond
            said[fired] = SEVERITIES.index(step.severity)
            open_still &= ~fired
        return said

    def _any(self, rows: Sequence[AllOf]) -> Truths:
        true, known = np.zeros(self._sums.rows, dtype=bool), always(self._sums.rows)
        for row in rows:
            holds = self._holds(row)
            true |= holds.true
            known &= holds.known
        return Truths(true, true | known)

    def _holds(self, condition: Condition) -> Truths:
        match condition:
            case In(name=name, values=wanted):
                return self._chosen(name, lambda value: value in wanted)
            case Includes(name=name, value=held):
                return self._chosen(name, lambda value: isinstance(value, frozenset) and held in value)
            case Compare(left=left, op=op, right=right):
                one, other = self._figure(left), self._figure(right)
                sign = _compare(one, other)
                true = {"max": sign <= 0, "min": sign >= 0, "above": sign > 0, "below": sign < 0}[op]
                known = one.known & other.known
                return Truths(true & known, known)
            case Not(condition=inner):
                holds = self._holds(inner)
                return Truths(holds.known & ~holds.true, holds.known)
            case AllOf(conditions=several):
                true, wrong = always(self._sums.rows), np.zeros(self._sums.rows, dtype=bool)
                for each in several:
                    holds = self._holds(each)
                    true &= holds.true
                    wrong |= holds.known & ~holds.true
                return Truths(true, true | wrong)

    def _chosen(self, name: str, wanted: Callable[[Value], bool]) -> Truths:
        if name in SUMMED_TRUTHS:
            said = SUMMED_TRUTHS[name](self._sums, self._instance)
            return Truths(np.where(said, wanted(True), wanted(False)), always(self._sums.rows))  # noqa: FBT003
        values, codes = self._values(name)
        known = np.array([value is not None for value in values], dtype=bool)[codes]
        return Truths(np.array([value is not None and wanted(value) for value in values], dtype=bool)[codes], known)

    def _figure(self, term: Term) -> Figures:
        match term:
            case Constant(value=value):
                return figures([value], np.zeros(self._sums.rows, dtype=np.intp))
            case Name(name=name):
                if name not in self._figures:
                    self._figures[name] = self._named(name)
                return self._figures[name]
            case Lookup():
                return self._looked_up(term)
            case Scaled():
                one, other = self._figure(term.term), self._figure(term.by)
                known = one.known & other.known
                under = (
                    times(other.under, one.under) if isinstance(other.under, np.ndarray) else one.under * other.under
                )
                return Figures(times(one.over, other.over), under, known)

    def _looked_up(self, table: Lookup) -> Figures:
        """Return what a table of the house gives for each row: the first of its own rows that holds says it."""
        known = always(self._sums.rows)
        for name in table.inputs:
            known &= self._figure(Name(name)).known if TERMS[name].type == "number" else self._chosen(name, _any).known
        place = np.full(self._sums.rows, len(table.rows), dtype=np.intp)
        for number in range(len(table.rows) - 1, -1, -1):
            suits = known.copy()
            for name, cell in zip(table.inputs, table.rows[number].cells, strict=True):
                if cell is not None:
                    suits &= self._suits(name, cell)
            place[suits] = number
        found = figures([*(row.gives for row in table.rows), table.otherwise], place)
        return Figures(found.over, found.under, found.known & known)

    def _suits(self, name: str, cell: frozenset[str | bool] | Interval) -> Bools:
        if not isinstance(cell, Interval):
            return self._chosen(name, lambda value: value in cell).true
        figure, first = self._figure(Name(name)), np.zeros(self._sums.rows, dtype=np.intp)
        suits = figure.known.copy()
        if cell.low is not None:
            above = _compare(figure, figures([cell.low], first))
            suits &= above >= 0 if cell.low_in else above > 0
        if cell.high is not None:
            below = _compare(figure, figures([cell.high], first))
            suits &= below <= 0 if cell.high_in else below < 0
        return suits

    def _named(self, name: str) -> Figures:
        if name in SUMMED:
            return SUMMED[name](self._sums, self._instance)
        values, codes = self._values(name)
        return figures(values, codes)  # type: ignore[arg-type]  # the book lets only numbers stand here

    def _values(self, name: str) -> tuple[list[Value], NDArray[np.intp]]:
        return self._sums.block.tabled(name, self._member, self._place)


def _any(_: Value) -> bool:
    return True


def _compare(one: Figures, other: Figures) -> NDArray[np.int8]:
    """Return -1, 0, 1 as one figure is below, at or above another; denominators are above zero."""
    left, right = times(one.over, other.under), times(other.over, one.under)
    return (left > right).astype(np.int8) - (left < right).astype(np.int8)
