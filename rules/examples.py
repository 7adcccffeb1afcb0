"""The examples of a rule as they come out: facts judged by the rule as any spec is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from catalog.model import Threshold
from rules.ir import Rule, Value
from rules.judge import Fired, Passed, judge_of
from rules.vocabulary import limits_by_name


def outcome_of_example(rule: Rule, place: int, thresholds: Mapping[str, Threshold]) -> str:
    """Return what an example comes out as now: fails, passes or skips."""
    said = _judge_example(rule, place, thresholds)
    return "fails" if isinstance(said, Fired) else "passes" if isinstance(said, Passed) else "skips"


def severity_of_example(rule: Rule, place: int, thresholds: Mapping[str, Threshold]) -> str | None:
    """Return the severity with which an example fails now, or None where it does not fail."""
    said = _judge_example(rule, place, thresholds)
    return said.severity if isinstance(said, Fired) else None


def _judge_example(rule: Rule, place: int, thresholds: Mapping[str, Threshold]) -> Any:
    facts: dict[str, Value] = {**limits_by_name(thresholds)}
    facts.update(rule.examples[0].facts)  # each later example says only what differs
    facts.update(rule.examples[place].facts)
    at_stage = rule.at_stage(rule.examples[place].stage or rule.stages[0])
    return None if at_stage is None else judge_of(at_stage, lambda name: lambda _: facts.get(name))(None)


def as_written(rule: Rule, place: int, thresholds: Mapping[str, Threshold]) -> bool:
    """Whether an example comes out as it says, in its severity too where it states one."""
    example, said = rule.examples[place], _judge_example(rule, place, thresholds)
    if outcome_of_example(rule, place, thresholds) != example.expect:
        return False
    return not isinstance(said, Fired) or example.severity in (None, said.severity)


def not_as_written(rule: Rule, place: int, thresholds: Mapping[str, Threshold]) -> str:
    """Return what an example that comes out otherwise should be, and what it is."""
    example, said = rule.examples[place], _judge_example(rule, place, thresholds)
    now = outcome_of_example(rule, place, thresholds)
    severity = f" with {said.severity}" if isinstance(said, Fired) else ""
    expected = f"{example.expect!r}" + (f" with {example.severity}" if example.severity else "")
    return f"{rule.id}: the example should be {expected} and is {now!r}{severity}"
