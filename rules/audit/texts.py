"""What the rules' own texts tell: rules that say the same, examples that lack, are stale, or hold no limit in place."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass, replace
from fractions import Fraction
from typing import Any, Final

from catalog.model import Catalog, Number, Threshold
from catalog.units import UNITS, text_in
from rules.audit.report import Report
from rules.book import Book
from rules.examples import outcome_of_example, severity_of_example
from rules.ir import AllOf, AllowOnly, Constant, Forbid, Limit, Rule, names_in
from rules.pins import step_in

_THRESHOLD: Final = "threshold."


def duplicates(book: Book) -> Iterator[Report]:
    """Give each rule that is judged just as one before it."""
    first: dict[Any, str] = {}
    for rule in book.rules.values():
        other = first.setdefault(_form(rule), rule.id)
        if other != rule.id:
            yield Report(
                "duplicate_rule", f"{other} + {rule.id}",
                f"{rule.id} is judged just as {other}: the same clauses over {rule.subject}.",
                witness={"rules": [other, rule.id]},
            )  # fmt: skip


def _form(rule: Rule) -> Any:
    """Return what a rule is judged by, equal for rules that always say the same; sentences and pointers aside."""
    clauses = frozenset((_norm(clause.when), clause.stage, _norm(clause.verb)) for clause in rule.clauses)
    return rule.subject, clauses, rule.valid_from, rule.valid_until


def _norm(value: Any) -> Any:
    """Return a part of the intermediate form without the order of what has none."""
    match value:
        case AllOf(conditions=conditions):
            return "all", frozenset(map(_norm, conditions))
        case Forbid(rows=rows, severity=severity) | AllowOnly(rows=rows, severity=severity):
            return type(value).__name__, frozenset(map(_norm, rows)), severity
        case Limit(term=term, bound=bound, steps=steps, upper=upper):
            return "limit", _norm(term), bound, frozenset(map(_norm, steps)), _norm(upper)
        case Constant(value=number):
            return "number", number
    if is_dataclass(value):
        return type(value).__name__, tuple(_norm(getattr(value, field.name)) for field in fields(value))
    return tuple(map(_norm, value)) if isinstance(value, tuple) else value


def missing_examples(book: Book) -> Iterator[Report]:
    """Give each rule that lacks an example that fails, one that passes, or where it has a condition one that skips."""
    for rule in book.rules.values():
        wanted = ["fails", "passes", *(["skips"] if any(each.when.conditions for each in rule.clauses) else [])]
        has = {example.expect for example in rule.examples}
        missing = [each for each in wanted if each not in has]
        if missing:
            yield Report(
                "missing_example", rule.id, f"{rule.id} has no example that {' and none that '.join(missing)}."
            )


def stale_examples(book: Book, catalog: Catalog) -> Iterator[Report]:
    """Give each rule of which an example names a code that is gone, or comes out otherwise under today's limits."""
    moved: dict[str, list[int]] = {}
    for rule_id, place in book.moved:
        moved.setdefault(rule_id, []).append(place)
    for rule in book.rules.values():
        gone = sorted({code for example in rule.examples for code in _gone(example.facts, catalog)})
        if gone:
            yield Report("stale_example", rule.id, f"An example of {rule.id} names {', '.join(gone)}, which is gone.")
        elif rule.id in moved:
            now = [outcome_of_example(rule, place, book.thresholds) for place in moved[rule.id]]
            lines = [
                f"line {rule.examples[place].line} ({rule.examples[place].expect}) now {said}"
                for place, said in zip(moved[rule.id], now, strict=True)
            ]
            says = f"Under the limits of the workshop an example of {rule.id} comes out otherwise: {'; '.join(lines)}."
            yield Report("stale_example", rule.id, says)


def _gone(facts: Any, catalog: Catalog) -> Iterator[str]:
    """Give the codes among the facts of an example that the catalog lacks."""
    known = {"piece.pattern": catalog.patterns, "piece.offered_modifications": catalog.modifications}
    rules_named = {row.rule for row in catalog.law_rows.values()}
    for name, value in facts:
        words = value if isinstance(value, frozenset) else {value} if isinstance(value, str) else set()
        if name in known:
            yield from (f"{name.partition('.')[2]} {word}" for word in words if word not in known[name])
        elif name == "piece.law_rows":
            yield from (f"law rows of {word}" for word in words if word not in rules_named)


def unpinned_limits(book: Book) -> Iterator[Report]:
    """Give each limit that may move a step up or down without any example of its rule coming out otherwise.

    Limits of the workshop and numbers of the rule; figures of the catalog are held by worked orders.
    """
    for rule in book.rules.values():
        limits = book.limits_for(rule)
        for name in sorted(names_in(rule)):
            if name.startswith(_THRESHOLD):
                own = limits[name.removeprefix(_THRESHOLD)]
                yield from _threshold(rule, own, limits)
        yield from _numbers(rule, limits)


def _threshold(rule: Rule, own: Threshold, limits: Mapping[str, Threshold]) -> Iterator[Report]:
    said = _outcomes(rule, limits)
    for way, value in _moves(own.value, own.unit):
        if _outcomes(rule, {**limits, own.name: replace(own, value=value)}) == said:
            yield _unpinned(rule, own.name, way, own.value, value, own.unit)


def _numbers(rule: Rule, limits: Mapping[str, Threshold]) -> Iterator[Report]:
    said = _outcomes(rule, limits)
    for number in dict.fromkeys(_constants(rule.clauses)):
        unit = number.unit or "count"
        for way, value in _moves(number.value, unit):
            moved = replace(rule, clauses=_swapped(rule.clauses, number, Constant(value, number.unit)))
            if _outcomes(moved, limits) == said:
                yield _unpinned(rule, text_in(number.value, unit), way, number.value, value, unit)


def _unpinned(rule: Rule, name: str, way: str, was: Number, now: Number, unit: str) -> Report:
    moved = f"{text_in(was, unit)} to {text_in(now, unit)} {UNITS[unit].words}".strip()
    return Report(
        "unpinned_limit", f"{rule.id} {name} {way}", f"No example of {rule.id} notices {name} moved from {moved}."
    )


def _moves(value: Number, unit: str) -> Iterator[tuple[str, Number]]:
    step = Fraction(step_in(unit)) * UNITS[unit].per
    for way, moved in (("up", Fraction(value) + step), ("down", Fraction(value) - step)):
        yield way, moved.numerator if moved.denominator == 1 else moved


def _outcomes(rule: Rule, limits: Mapping[str, Threshold]) -> list[tuple[str, str | None]]:
    """Return what each example comes out as, with its severity."""
    places = range(len(rule.examples))
    return [(outcome_of_example(rule, place, limits), severity_of_example(rule, place, limits)) for place in places]


def _constants(value: Any) -> Iterator[Constant]:
    """Give the numbers written in a part of the intermediate form, but the 1 that stands for no ratio."""
    if isinstance(value, Constant):
        yield value
    elif is_dataclass(value):
        for field in fields(value):
            yield from _constants(getattr(value, field.name))
    elif isinstance(value, tuple):
        for each in value:
            yield from _constants(each)


def _swapped(value: Any, old: Constant, new: Constant) -> Any:
    """Return a part of the intermediate form with one number in the place of another."""
    if value == old:
        return new
    if is_dataclass(value) and not isinstance(value, type):
        changes = {field.name: _swapped(getattr(value, field.name), old, new) for field in fields(value)}
        return replace(value, **changes)
    return tuple(_swapped(each, old, new) for each in value) if isinstance(value, tuple) else value
