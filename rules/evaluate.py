"""One case held against the rule book: which rules fire, and where.

Rules that read no lots are judged once for a spec; the others once for each assignment of lots
that the search of :mod:`rules.lots` tries, and then only over the parts just given a lot.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any

from catalog.model import Threshold
from rules.book import Book
from rules.case import Case
from rules.ir import SEVERITIES, Rule, Severity, Value, names_in
from rules.judge import Fired, Judge, Passed, Reader, judge_of
from rules.subjects import Instance, Whole
from rules.vocabulary import SUBJECTS, TERMS

#: Subjects whose very instances depend on the lots given.
_PER_LOT = frozenset({"panel"})
OUTCOMES = ("buildable", "sign_off", "refused")


@dataclass(frozen=True, slots=True)
class Found:
    """A rule that fired on an instance."""

    rule: Rule
    fired: Fired
    instance: Instance


@dataclass(frozen=True, slots=True)
class Rank:
    """How bad a set of findings is: outcome, then different rules by severity. Smaller is better."""

    outcome: int
    refuse: int
    sign_off: int
    advise: int


def rank_of(found: list[Found]) -> Rank:
    """Return the rank of findings; notices change nothing."""
    rules: dict[Severity, set[str]] = {severity: set() for severity in SEVERITIES}
    for each in found:
        rules[each.fired.severity].add(each.rule.id)
    refuse, sign_off, advise = (len(rules[severity]) for severity in SEVERITIES[:3])
    return Rank(2 if refuse else 1 if sign_off else 0, refuse, sign_off, advise)


def order_of(rank: Rank) -> tuple[int, int, int, int]:
    """Return a rank as a sort key."""
    return rank.outcome, rank.refuse, rank.sign_off, rank.advise


class Judges:
    """The rule book compiled for one catalog's thresholds."""

    def __init__(self, book: Book, thresholds: Mapping[str, Threshold], today: date | None = None) -> None:
        self._limits = {f"threshold.{name}": threshold.value for name, threshold in thresholds.items()}
        self.lot_free: dict[str, list[tuple[Rule, Judge]]] = {}
        self.lot_bound: dict[str, list[tuple[Rule, Judge]]] = {}
        self.rule_ids: list[str] = []
        for rule in book.rules.values():
            if rule.stage == "check" and _in_force(rule, today):
                bound = rule.subject in _PER_LOT or self._reads_lots(rule)
                table = self.lot_bound if bound else self.lot_free
                self.rule_ids.append(rule.id)
                judge = judge_of(rule, partial(self._reader, subject=rule.subject))
                table.setdefault(rule.subject, []).append((rule, judge))

    def _reads_lots(self, rule: Rule) -> bool:
        names = [name for name in names_in(rule) if not name.startswith("threshold.")]
        reading = {name for name in names if "lots" in TERMS[name].reads}
        if rule.subject != "piece" and any(name.startswith("piece.") for name in reading):
            raise ValueError(
                f"{rule.id}: a rule over {rule.subject} cannot read {sorted(reading)}, which needs every lot"
            )
        return bool(reading)

    def _reader(self, name: str, *, subject: str) -> Reader:
        if name.startswith("threshold."):
            value = self._limits[name]
            return lambda _: value
        measure = TERMS[name].measure
        if name.startswith("piece.") and subject != "piece":
            return lambda instance: measure(Whole(instance.case))
        return measure

    def free_of_lots(self, case: Case) -> list[Found]:
        """Return the findings of the rules that read no lots."""
        return list(_judge(self.lot_free, case, None, None))

    def bound_to_lots(self, case: Case, given: frozenset[str], last: str | None) -> list[Found]:
        """Return the findings of the rules that read lots, over instances that depend on ``last``.

        Only instances whose every part is in ``given`` are judged. ``last`` None judges those
        that depend on no part.
        """
        return list(_judge(self.lot_bound, case, given, last))

    def words_on(self, case: Case) -> Iterator[tuple[Rule, Instance, Fired | Passed | None]]:
        """Give every rule's word on every instance of a complete case."""
        for table in (self.lot_free, self.lot_bound):
            for subject, rules in table.items():
                for instance in SUBJECTS[subject].instances(case):
                    for rule, judge in rules:
                        yield rule, instance, judge(instance)


def _in_force(rule: Rule, today: date | None) -> bool:
    if today is None:
        return True
    return (rule.valid_from is None or rule.valid_from <= today) and (
        rule.valid_until is None or today <= rule.valid_until
    )


def _judge(
    table: Mapping[str, list[tuple[Rule, Judge]]], case: Case, given: frozenset[str] | None, last: str | None
) -> Iterator[Found]:
    for subject, rules in table.items():
        for instance in SUBJECTS[subject].instances(case):
            if given is not None and not _due(instance, given, last):
                continue
            for rule, judge in rules:
                said = judge(instance)
                if isinstance(said, Fired):
                    yield Found(rule, said, instance)


def _due(instance: Instance, given: frozenset[str], last: str | None) -> bool:
    parts = instance.parts
    if last is None:
        return not parts
    return last in parts and given.issuperset(parts)


def value_of(case: Case, name: str) -> Value:
    """Return a ``piece.*`` name's value in a case."""
    measure: Any = TERMS[name].measure
    value: Value = measure(Whole(case))
    return value
