"""The limits of a rule as they stand now: what is measured, against what, and where that figure comes from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

from catalog.model import Threshold
from catalog.units import number_in
from rules.ir import (
    AllOf,
    AllowOnly,
    Compare,
    Condition,
    Constant,
    Forbid,
    Graded,
    Limit,
    Lookup,
    Name,
    Not,
    Require,
    Rule,
    Scaled,
    Severity,
    Term,
    Verb,
)
from rules.vocabulary import TERMS
from rules.words import row_in_words, term_in_words

_THRESHOLD: Final = "threshold."
#: Whose own figure it is, by what its measure reads; the first that is read counts.
_OWNERS: Final = (
    ("stock", "what is in stock"),
    ("backlog", "what the bench has room for"),
    ("lots", "the figure of the lots cut from"),
    ("carry", "the figure of what it is to carry"),
    ("hardware", "the fitting's own figure"),
    ("thread", "the thread's own figure"),
    ("edge", "the edge's own figure"),
    ("monogram", "the figure of the zone and the letters"),
    ("sizes", "the figure of the sizes chosen"),
    ("purpose", "the figure of the purpose named"),
    ("leather", "the figure of the leather's own kind"),
    ("pattern", "the pattern's own figure"),
)
#: What must hold of a figure where a comparison must not.
_OPPOSITE: Final = {"max": "above", "above": "max", "min": "below", "below": "min"}


def limits_now(rule: Rule, thresholds: Mapping[str, Threshold]) -> list[dict[str, Any]]:
    """Return the limits of a rule, clause by clause, each with its present figures and their sources."""
    return [
        {**limit, "stage": clause.stage}
        for clause in rule.clauses
        for limit in (*_of_condition(clause.when, None, thresholds), *_of_verb(clause.verb, thresholds))
    ]


def _of_verb(verb: Verb, thresholds: Mapping[str, Threshold]) -> Iterator[dict[str, Any]]:
    match verb:
        case Limit(term=term, bound=bound, steps=steps, upper=upper):
            for step in steps:
                yield _limit(term, bound, step.limit, step.severity, thresholds, upper)
        case Forbid(rows=rows, severity=severity):
            for row in rows:
                yield from _of_condition(row, severity, thresholds, holds=False)
        case AllowOnly(rows=rows, severity=severity):
            for row in rows:
                yield from _of_condition(row, severity, thresholds)
        case Require(condition=condition, severity=severity):
            yield from _of_condition(condition, severity, thresholds)
        case Graded():
            return


def _of_condition(
    condition: Condition, severity: Severity | None, thresholds: Mapping[str, Threshold], *, holds: bool = True
) -> Iterator[dict[str, Any]]:
    """Give the figures that a condition compares with, as limits of what is well (``holds``: where it holds).

    ``severity`` None: they only decide whether the rule applies.
    """
    match condition:
        case Compare(left=left, op=op, right=right):
            yield _limit(left, op if holds else _OPPOSITE[op], right, severity, thresholds)
        case Not(condition=inner):
            yield from _of_condition(inner, severity, thresholds, holds=not holds)
        case AllOf(conditions=conditions):
            for inner in conditions:
                yield from _of_condition(inner, severity, thresholds, holds=holds)
        case _:
            return


def _limit(
    term: Term,
    bound: str,
    limit: Term,
    severity: Severity | None,
    thresholds: Mapping[str, Threshold],
    upper: Term | None = None,
) -> dict[str, Any]:
    words = term_in_words(limit, thresholds)
    if upper is not None:
        words = f"{words} to {term_in_words(upper, thresholds)}"
    return {
        "measured": term_in_words(term, thresholds),
        "bound": bound,
        "limit": words,
        "unit": _unit(term, thresholds),
        "severity": severity,
        "figures": [each for one in (limit, upper) if one is not None for each in _figures(one, thresholds)],
    }


def _unit(term: Term, thresholds: Mapping[str, Threshold]) -> str:
    match term:
        case Constant(unit=unit):
            return unit or "count"
        case Scaled(term=inner):
            return _unit(inner, thresholds)
        case Name(name=name) if name.startswith(_THRESHOLD):
            return thresholds[name.removeprefix(_THRESHOLD)].unit
        case Name(name=name):
            return TERMS[name].unit
        case Lookup(unit=unit):
            return unit


def _figures(term: Term, thresholds: Mapping[str, Threshold]) -> Iterator[dict[str, Any]]:
    """Give the figures that a limit is made of.

    They are limits of the workshop, numbers of the rule, figures of the catalog and those of each row of a table.
    """
    match term:
        case Scaled(term=inner, by=by):
            yield from _figures(inner, thresholds)
            yield from _figures(by, thresholds)
        case Constant(value=value, unit=unit):
            yield {"of": "rule", "says": "a number of the rule", "figure": number_in(value, unit or "count"),
                   "unit": unit or "count", "threshold": None, "source": None}  # fmt: skip
        case Name(name=name) if name.startswith(_THRESHOLD):
            code = name.removeprefix(_THRESHOLD)
            own = thresholds[code]
            yield {"of": "workshop", "says": f"the workshop's limit {code}", "figure": number_in(own.value, own.unit),
                   "unit": own.unit, "threshold": code, "source": own.source}  # fmt: skip
        case Name(name=name):
            found = TERMS[name]
            whose = next((words for read, words in _OWNERS if read in found.reads), "worked out from the spec")
            yield {"of": "catalog", "says": f"{found.label}: {whose}", "figure": None,
                   "unit": found.unit, "threshold": None, "source": None}  # fmt: skip
        case Lookup(unit=unit, rows=rows, otherwise=otherwise):
            given = [(row_in_words(term, row), row.gives) for row in rows]
            if otherwise is not None:
                given.append(("otherwise", otherwise))
            for says, value in given:
                yield {"of": "table", "says": says, "figure": number_in(value, unit),
                       "unit": unit, "threshold": None, "source": None}  # fmt: skip
