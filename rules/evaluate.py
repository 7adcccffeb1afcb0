"""One case held against the rule book: which rules fire, and where.

Rules that read no lots are judged once for a spec; the others once for each assignment of lots
that the search of :mod:`rules.lots` tries, and then only over the parts just given a lot.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any

from catalog.model import Lot, Panel, Threshold
from rules.book import Book
from rules.case import Case
from rules.ir import SEVERITIES, In, Rule, Severity, Value, names_in
from rules.judge import Fired, Judge, Passed, Reader, judge_of
from rules.subjects import Instance, Whole, panel_use
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


Table = list[tuple[Rule, Judge]]


class Sorter:
    """The rules of one subject, sorted by the word that most of their conditions ask for.

    Most rules over a panel ask how its lot suits it, most rules over a choice which noun it is:
    reading that word once leaves the few rules that can apply.
    """

    def __init__(self, rules: Table, reader_of: Callable[[str], Reader]) -> None:
        self._rules = rules
        asked = Counter(name for rule, _ in rules for name in _words_asked(rule))
        self._read: Reader | None = None
        if asked and max(asked.values()) > 1:
            name = min(asked, key=lambda each: (-asked[each], each))
            self._read = reader_of(name)
            self._by_word: dict[Value, Table] = {
                word: [(rule, judge) for rule, judge in rules if _may_apply(rule, name, word)]
                for word in (*TERMS[name].levels, None)
            }

    def fired(self, instance: Instance) -> list[Found]:
        """Return the findings of the rules on one instance."""
        rules = self._rules if self._read is None else self._by_word[self._read(instance)]
        found = []
        for rule, judge in rules:
            said = judge(instance)
            if isinstance(said, Fired):
                found.append(Found(rule, said, instance))
        return found


def _words_asked(rule: Rule) -> set[str]:
    """Return the closed words that the rule's conditions ask for in every clause."""
    asked = [
        {each.name for each in clause.when.conditions if isinstance(each, In) and TERMS[each.name].levels}
        for clause in rule.clauses
    ]
    return set.intersection(*asked)


def _may_apply(rule: Rule, name: str, word: str | None) -> bool:
    """Whether some clause's condition admits the word; a condition on an unknown word does not hold."""
    return any(
        all(word in each.values for each in clause.when.conditions if isinstance(each, In) and each.name == name)
        for clause in rule.clauses
    )


class Judges:
    """The rule book compiled for one catalog's thresholds."""

    def __init__(self, book: Book, thresholds: Mapping[str, Threshold], today: date) -> None:
        self._limits = {f"threshold.{name}": threshold.value for name, threshold in thresholds.items()}
        self.lot_free: dict[str, Table] = {}
        self.lot_bound: dict[str, Table] = {}
        self.rule_ids: list[str] = []
        for rule in book.rules.values():
            if rule.stage == "check" and _in_force(rule, today):
                bound = rule.subject in _PER_LOT or self._reads_lots(rule)
                table = self.lot_bound if bound else self.lot_free
                self.rule_ids.append(rule.id)
                judge = judge_of(rule, partial(self._reader, subject=rule.subject))
                table.setdefault(rule.subject, []).append((rule, judge))
        self.sorters = {
            (kind, subject): Sorter(rules, partial(self._reader, subject=subject))
            for kind, table in (("free", self.lot_free), ("bound", self.lot_bound))
            for subject, rules in table.items()
        }

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

    def plan(self, case: Case) -> Plan:
        """Return what a search over the lots of a piece has to judge, and when."""
        return Plan(self, case)

    def words_on(self, case: Case) -> Iterator[tuple[Rule, Instance, Fired | Passed | None]]:
        """Give every rule's word on every instance of a complete case."""
        for table in (self.lot_free, self.lot_bound):
            for subject, rules in table.items():
                for instance in SUBJECTS[subject].instances(case):
                    for rule, judge in rules:
                        yield rule, instance, judge(instance)


def _in_force(rule: Rule, today: date) -> bool:
    return (rule.valid_from is None or rule.valid_from <= today) and (
        rule.valid_until is None or today <= rule.valid_until
    )


class Plan:
    """The instances of one piece, in the order in which a search can judge them.

    An instance is due when the last of its parts is given lots. Panels are judged once for each
    lot, whatever the other parts are cut from.
    """

    def __init__(self, judges: Judges, case: Case) -> None:
        self._case = case
        self._panel_rules = judges.sorters["bound", "panel"] if "panel" in judges.lot_bound else None
        self._panels: dict[tuple[str, str], list[Found]] = {}
        self._due: dict[str | None, list[tuple[Sorter, Instance]]] = {}
        depth = {part: place for place, part in enumerate(case.piece.parts)}
        for subject in judges.lot_bound:
            if subject not in _PER_LOT:
                for instance in SUBJECTS[subject].instances(case):
                    last = max(instance.parts, key=depth.__getitem__, default=None)
                    self._due.setdefault(last, []).append((judges.sorters["bound", subject], instance))
        self._lot_free = {subject: judges.sorters["free", subject] for subject in judges.lot_free}

    def base(self) -> list[Found]:
        """Return the findings that no lot can change."""
        found = [
            each
            for subject, rules in self._lot_free.items()
            for instance in SUBJECTS[subject].instances(self._case)
            for each in rules.fired(instance)
        ]
        for rules, instance in self._due.get(None, []):
            found += rules.fired(instance)
        return found

    def given(self, part: str) -> list[Found]:
        """Return the findings that are due now that ``part``, after all before it, has its lots."""
        found: list[Found] = []
        for panel in self._case.panels:
            if panel.part == part:
                for lot in self._case.lots_for(part):
                    found += self._panel(panel, lot)
        for rules, instance in self._due.get(part, []):
            found += rules.fired(instance)
        return found

    def _panel(self, panel: Panel, lot: Lot) -> list[Found]:
        key = (panel.code, lot.code)
        if key not in self._panels:
            use = panel_use(self._case, panel, lot)
            self._panels[key] = [] if self._panel_rules is None else self._panel_rules.fired(use)
        return self._panels[key]


def value_of(case: Case, name: str) -> Value:
    """Return a ``piece.*`` name's value in a case."""
    measure: Any = TERMS[name].measure
    value: Value = measure(Whole(case))
    return value
