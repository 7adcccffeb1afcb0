"""Sentences for people, assembled from fields.

A rule's sentence holds placeholders from a closed list (the subject's words and measured,
limit, off_by); they are put in here by name, never by ``str.format`` on text from a file.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from fractions import Fraction
from functools import lru_cache
from typing import Any

from catalog.model import Threshold
from catalog.units import UNITS, text_in
from rules.ir import (
    AllowOnly,
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
    LookupRow,
    Name,
    Not,
    Rule,
    Scaled,
    Term,
    Verb,
)
from rules.vocabulary import TERMS

_PLACEHOLDER = re.compile(r"\{([a-z_]+)\}")
_BOUND_WORDS = {"max": "is at most", "min": "is at least", "equal": "equals", "between": "lies between"}
_COMPARE_WORDS = {"max": "at most", "min": "at least", "above": "more than", "below": "less than"}


def placeholders_in(sentence: str) -> list[str]:
    """Return the placeholder names of a sentence, in order."""
    return _PLACEHOLDER.findall(sentence)


def without_placeholders(sentence: str) -> str:
    """Return what is left of a sentence beside its placeholders."""
    return _PLACEHOLDER.sub("", sentence)


def fill(sentence: str, fields: Mapping[str, str]) -> str:
    """Return the sentence with each placeholder replaced by its field, first letter raised."""
    filled = "".join([text if fixed else fields.get(text, "") for fixed, text in _cut(sentence)])
    return filled[:1].upper() + filled[1:]


@lru_cache(maxsize=4096)
def _cut(sentence: str) -> tuple[tuple[bool, str], ...]:
    """Return a sentence cut at its placeholders: text as it stands (True) and names (False), in turn."""
    return tuple((place % 2 == 0, text) for place, text in enumerate(_PLACEHOLDER.split(sentence)))


def figure(value: int | Fraction, unit: str) -> str:
    """Return a base-unit value with its unit, as a sentence shows it."""
    if unit == "date":
        return date.fromordinal(int(value)).isoformat()
    words = UNITS[unit].words
    return f"{text_in(value, unit)} {words}".strip()


def _term(term: Term, thresholds: Mapping[str, Threshold]) -> str:
    match term:
        case Constant(value=value, unit=unit):
            return figure(value, unit or "ratio")
        case Name(name=name) if name.startswith("threshold."):
            threshold = thresholds[name.removeprefix("threshold.")]
            return figure(threshold.value, threshold.unit)
        case Name(name=name):
            return TERMS[name].label
        case Lookup(says=says):
            return f"what the table '{says}' gives"
        case Scaled():
            return f"{_term(term.by, thresholds)} x {_term(term.term, thresholds)}"


def _test(condition: Condition, thresholds: Mapping[str, Threshold]) -> str:
    match condition:
        case In(name=name, values=values) if TERMS[name].type == "truth" and len(values) == 1:
            return TERMS[name].label if True in values else f"not ({TERMS[name].label})"
        case In(name=name, values=values):
            return f"{TERMS[name].label} is {' or '.join(sorted(_word(value) for value in values))}"
        case Includes(name=name, value=value):
            return f"{TERMS[name].label} include {value}"
        case Compare(left=left, op=op, right=right):
            return f"{_term(left, thresholds)} is {_COMPARE_WORDS[op]} {_term(right, thresholds)}"
        case Not(condition=inner):
            return f"not ({_test(inner, thresholds)})"
        case _:
            return " and ".join(_test(each, thresholds) for each in condition.conditions) or "always"


def term_in_words(term: Term, thresholds: Mapping[str, Threshold]) -> str:
    """Return a number or the name of a figure as people read it; a limit of the workshop by its figure."""
    return _term(term, thresholds)


def row_in_words(table: Lookup, row: LookupRow) -> str:
    """Return what a row of a table asks of its inputs, as people read it."""
    asked = [_cell(name, cell) for name, cell in zip(table.inputs, row.cells, strict=True) if cell is not None]
    return f"where {' and '.join(asked)}" if asked else "always"


def _cell(name: str, cell: frozenset[str | bool] | Interval) -> str:
    if not isinstance(cell, Interval):
        return _test(In(name, frozenset(cell)), {})
    term, unit = TERMS[name].label, TERMS[name].unit
    if cell.low is not None and cell.low == cell.high:
        return f"{term} is {figure(cell.low, unit)}"
    ends = []
    if cell.low is not None:
        ends.append(f"{_COMPARE_WORDS['min' if cell.low_in else 'above']} {figure(cell.low, unit)}")
    if cell.high is not None:
        ends.append(f"{_COMPARE_WORDS['max' if cell.high_in else 'below']} {figure(cell.high, unit)}")
    return f"{term} is {' and '.join(ends)}"


def condition_in_words(condition: Condition, thresholds: Mapping[str, Threshold]) -> str:
    """Return a condition as people read it; one that asks nothing is "always"."""
    return _test(condition, thresholds)


def _word(value: Any) -> str:
    return {True: "true", False: "false"}[value] if isinstance(value, bool) else str(value)


def _verb(verb: Verb, thresholds: Mapping[str, Threshold]) -> str:
    match verb:
        case Limit(term=term, bound=bound, steps=steps, upper=upper):
            if upper is not None:
                ends = f"{_term(steps[0].limit, thresholds)} and {_term(upper, thresholds)}"
                return f"{_term(term, thresholds)} {_BOUND_WORDS[bound]} {ends}, else {steps[0].severity}"
            parts = [f"{_term(step.limit, thresholds)}, else {step.severity}" for step in steps]
            return f"{_term(term, thresholds)} {_BOUND_WORDS[bound]} {'; '.join(parts)}"
        case Graded(name=name, levels=levels):
            said = ", ".join(f"{level}: {severity or 'passes'}" for level, severity in levels)
            return f"{TERMS[name].label}: {said}"
        case Forbid(rows=rows, severity=severity):
            return f"never {' / '.join(_test(row, thresholds) for row in rows)}, else {severity}"
        case AllowOnly(rows=rows, severity=severity):
            return f"only {' / '.join(_test(row, thresholds) for row in rows)}, else {severity}"
        case _:
            return f"{_test(verb.condition, thresholds)}, else {verb.severity}"


def formula_of(rule: Rule, thresholds: Mapping[str, Threshold]) -> list[str]:
    """Return the rule's formula in words, one line a clause."""
    lines = []
    for clause in rule.clauses:
        when = f"when {_test(clause.when, thresholds)}: " if clause.when.conditions else ""
        lines.append(when + _verb(clause.verb, thresholds))
    return lines


def limit_of(rule: Rule, thresholds: Mapping[str, Threshold]) -> list[dict[str, Any]]:
    """Return the limits of the rule's figures: what is measured, bound, limit, unit."""
    found: list[dict[str, Any]] = []
    for clause in rule.clauses:
        if isinstance(verb := clause.verb, Limit) and isinstance(verb.term, Name | Lookup):
            unit = verb.term.unit if isinstance(verb.term, Lookup) else TERMS[verb.term.name].unit
            found.extend(
                {
                    "measured": _term(verb.term, thresholds),
                    "bound": verb.bound,
                    "limit": _term(step.limit, thresholds),
                    "unit": unit,
                    "severity": step.severity,
                }
                for step in verb.steps
            )
    return found
