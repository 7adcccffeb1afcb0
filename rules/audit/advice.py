"""Advice that nobody can follow: where a rule speaks, nothing that it points at can be changed so that all is well.

What a finding points at is what the customer is asked to change. Two specs are looked for that differ in nothing else:
one that breaks the rule, and one that can be made and hears no more of it. A solver looks at all such pairs of a
pattern at once, every slot that the rule reads standing there twice.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import reduce
from typing import Any, Final

import numpy as np

from catalog.model import Pattern
from rules.audit.breaking import named
from rules.audit.covered import levels_of
from rules.audit.held import HELD, facts_of, hangs_on_facts, proof_over, specs_in
from rules.audit.report import Report
from rules.audit.search import Search
from rules.case import Case
from rules.diagram.clash import at_work
from rules.diagram.clauses import Clauses, Questions
from rules.diagram.constraint import Allowed, Constraint, Fold, Table, TooEntangledError
from rules.evaluate import Judges
from rules.findings import pointers_of
from rules.guide.counts import groups_of
from rules.guide.domain import Slot
from rules.guide.judged import ASKS, REFUSES, badness
from rules.guide.situation import Situation, situation_of
from rules.ir import Rule
from rules.judge import Fired
from rules.lots import find_best
from rules.sorter import Found
from rules.spec import Spec
from rules.vocabulary import SUBJECTS

#: Slots of which a pointer may name a part, with what is left of a value where that part is not looked at.
_WITHOUT: Final[dict[str, Callable[[Any, str], Hashable]]] = {
    "monogram": lambda value, name: value if value is None else replace(value, **{name: None}),
    "hardware": lambda value, name: tuple(each for each in value if each[0] != name),
    "sizes": lambda value, name: tuple(each for each in value if each[0] != name),
}
#: What of a monogram, and of what it is for, is no slot: a finding that points there can be followed otherwise.
_NO_SLOTS: Final = ("/monogram/text", "/monogram/artwork", "/purpose/child_under_3", "/purpose/dog_kg")


@dataclass(frozen=True)
class _Place:
    """Where a rule speaks: ``wanted`` over the second of each of the ``slots`` that it reads, and what it points at."""

    wanted: Constraint
    slots: tuple[int, ...]
    pointers: tuple[str, ...]


_POINTED: Final = (
    "/parts/", "/edge", "/stitch", "/thread", "/hardware", "/sizes", "/modifications", "/monogram", "/purpose/use",
)  # fmt: skip


def idle_advice(search: Search, rules: Sequence[Rule]) -> Iterator[Report]:
    """Give each rule with a pattern where it speaks and cannot be followed, and a smallest set of rules at work."""
    own = {rule.id: rule for rule in rules if levels_of(rule)}
    for pattern in search.shop.catalog.patterns.values():
        heard: set[str] = set()
        for rule, base in _bases(search, pattern, own):
            if rule not in heard:
                try:
                    situation = situation_of(search.shop, base, search.today)
                    reports, spoke = _of_order(situation, [each for each in own.values() if each.id not in heard])
                except TooEntangledError:
                    continue
                heard |= spoke
                yield from reports


def _bases(search: Search, pattern: Pattern, rules: Mapping[str, Rule]) -> Iterator[tuple[str, Spec]]:
    """Give a plain order of a pattern, and some with what a rule that hangs on more than choices spoke of there.

    Rules that point at more than choices are left out: there is more to change than is looked at here.
    """
    yield "", facts_of(pattern)
    find = search.shop.indexes.patterns.code
    for rule, broke in search.found.broke.items():
        spec = next((spec for spec in broke if find(spec.pattern) == pattern.code), None)
        if rule in rules and spec is not None and rules[rule].subject != "choice" and hangs_on_facts(rules[rule]):
            pointers = _pointed_in(search, rules[rule], spec)
            if pointers and not _elsewhere(pointers):
                yield rule, facts_of(pattern, spec)


def _pointed_in(search: Search, rule: Rule, spec: Spec) -> tuple[str, ...]:
    judges = search.shop.judges(search.today)
    case = find_best(search.shop.piece(spec), judges, search.shop.warehouse, search.today).case
    return _pointers(rule, case, judges, levels_of(rule)[-1])


def _pointers(rule: Rule, case: Case, judges: Judges, level: int) -> tuple[str, ...]:
    """Return what the findings of a rule in a case that are at least so bad point at."""
    judge = next(each for own, each in judges.tables[rule.subject] if own.id == rule.id)
    found: dict[str, None] = {}
    for instance in SUBJECTS[rule.subject].instances(case):
        said = judge(instance)
        if isinstance(said, Fired) and badness(said) >= level:
            found |= dict.fromkeys(pointers_of(Found(rule, said, instance)))
    return tuple(found)


def _elsewhere(pointers: Sequence[str]) -> bool:
    """Whether something is pointed at that is no slot."""
    return any(each in _NO_SLOTS or not each.startswith(_POINTED) for each in pointers)


def _of_order(situation: Situation, rules: Sequence[Rule]) -> tuple[list[Report], set[str]]:
    """Return the reports of one order, and the rules that speak there."""
    if situation.never(REFUSES) or not situation.whole:
        return [], set()
    twice = _Twice(situation, rules)
    reports: list[Report] = []
    with twice.clauses() as clauses:
        if not clauses.only(twice.standing).feasible(twice.allow):
            return [], set()  # of a pattern of which nothing can be made that is said alone
        for rule in rules:
            at_work_there = twice.in_the_way(clauses, rule)
            if at_work_there is not None:
                reports.append(_told(situation, rule, at_work_there, twice.pointers(rule)))
    return reports, set(twice.places)


def _told(situation: Situation, rule: Rule, others: Sequence[str], pointers: Sequence[str]) -> Report:
    pattern = situation.domain.pattern.code
    by = f"; {', '.join(others)} stand in the way" if others else ""
    says = (
        f"Where {rule.id} speaks in {pattern}, changing {', '.join(pointers)} never leads to a spec that can be made"
        f"{by}. {HELD}"
    )
    proof = proof_over(specs_in(situation.domain))
    return Report("idle_advice", f"{rule.id} in {pattern}", says, proof, {"rules": [rule.id, *others]})


class _Twice:
    """The slots of an order, and each once more: a spec that can be made, and beside it one that breaks a rule."""

    def __init__(self, situation: Situation, rules: Sequence[Rule]) -> None:
        self._situation = situation
        self._slots = situation.domain.slots
        self._level = {rule.id: levels_of(rule)[0] for rule in rules}
        self.standing: set[Hashable] = {each.rule for each in (*situation.read.rows, *situation.read.judged)}
        self.standing |= {each.label for each in situation.standing.links}
        self.places: dict[str, list[_Place]] = {}
        for rule in rules:
            found = list(self._places(rule))
            if found:
                self.places[rule.id] = found
        self._links: dict[Hashable, Table] = {}
        self._linked = {
            place.wanted.label: [self._link(slot, place.pointers) for slot in place.slots]
            for several in self.places.values()
            for place in several
        }

    def clauses(self) -> Clauses:
        """Return all that may be asked."""
        read = self._situation.read
        told: list[Constraint] = [*self._situation.constraints(REFUSES), *self._links.values()]
        told += [place.wanted for several in self.places.values() for place in several]
        for row in read.rows:
            table = row.at_least(REFUSES)
            told += [] if table is None else [replace(table, holds=~table.holds)]
        for row in (each for each in read.rows if self._level.get(each.rule) == ASKS):
            table = row.at_least(ASKS)
            told += [] if table is None else [replace(table, holds=~table.holds, label=("eased", row.rule))]
        for judged in (each for each in read.judged if self._level.get(each.rule) == ASKS):
            below = judged.below(ASKS)
            told += [] if below is None else [named(below, ("eased", judged.rule))]
        return Clauses([*self._situation.domain.sizes, *self._situation.domain.sizes], told)

    @property
    def allow(self) -> Allowed:
        """What is allowed of each slot, and of each once more."""
        return [*self._situation.fits, *self._situation.fits]

    def _allow(self, rule: Rule) -> Allowed:
        """What is allowed, the second of each slot closed by no rule but this one."""
        second = [each.copy() for each in self._situation.fits]
        for row in self._situation.read.rows:
            if row.rule != rule.id:
                second[row.slot] &= row.words < REFUSES
        return [*self._situation.fits, *second]

    def pointers(self, rule: Rule) -> tuple[str, ...]:
        """Return what a rule points at here."""
        return tuple(dict.fromkeys(each for place in self.places[rule.id] for each in place.pointers))

    def in_the_way(self, clauses: Questions, rule: Rule) -> tuple[str, ...] | None:
        """Return the rules that keep a rule from being followed; None where it may be, or never speaks."""
        places = self.places.get(rule.id, [])
        if not places or any(_elsewhere(place.pointers) for place in places):
            return None
        found: dict[str, None] = {}
        allow = self._allow(rule)
        for place in places:
            own = {place.wanted.label, *self._linked[place.wanted.label]}
            asked = clauses.only([*self.standing, ("eased", rule.id), *own])
            if asked.feasible(allow):
                return None
            labels = at_work(asked, allow) or ()
            found |= dict.fromkeys(str(each) for each in labels if each in self.standing and each != rule.id)
        return tuple(found)

    def _places(self, rule: Rule) -> Iterator[_Place]:
        read, count = self._situation.read, len(self._slots)
        for number, each in enumerate((*read.rows, *read.judged)):
            bad = each.at_least(self._level[rule.id]) if each.rule == rule.id else None
            if bad is not None:
                wanted = named(_moved(bad, count), ("advice", rule.id, number))
                pointers = self._pointed(rule, bad)
                if pointers:
                    yield _Place(wanted, bad.slots, pointers)

    def _pointed(self, rule: Rule, bad: Constraint) -> tuple[str, ...]:
        """Return what a rule points at where it speaks; nothing where it does so only beside what others close."""
        situation = self._situation
        with Clauses(situation.domain.sizes, [bad]) as clauses:
            values = clauses.witness(self._allow(rule)[len(self._slots) :])
        if values is None:
            return ()
        case = situation.domain.case(dict(enumerate(values)), situation.today)
        return _pointers(rule, case, situation.judges, self._level[rule.id])

    def _link(self, slot: int, pointers: Sequence[str]) -> Hashable:
        """Return the label of what a slot and its second have in common where some pointers may be changed."""
        label = ("same", slot, pointers)
        if label not in self._links:
            codes = _codes(self._slots[slot], pointers)
            count = int(codes.max()) + 1
            second = slot + len(self._slots)
            self._links[label] = Table((slot, second), (codes, codes), np.eye(count, dtype=bool), label=label)
        return label


def _codes(slot: Slot, pointers: Sequence[str]) -> np.ndarray[Any, np.dtype[np.intp]]:
    """Return the class of each value: equal where values differ in nothing but what some pointers name."""
    pointer = f"/parts/{slot.part}" if slot.read == "part" else f"/{slot.read}"
    if any(
        each == pointer or (slot.read in ("part", "purpose") and each.startswith(f"{pointer}/")) for each in pointers
    ):
        return np.zeros(len(slot.values), dtype=np.intp)
    if slot.read not in _WITHOUT:
        return groups_of(slot)
    names = [each.removeprefix(f"{pointer}/") for each in pointers if each.startswith(f"{pointer}/")]
    names += ["foil"] if "method" in names else []  # with the method a foil comes or goes
    places: dict[Hashable, int] = {}
    codes = np.zeros(len(slot.values), dtype=np.intp)
    for at, value in enumerate(slot.values):
        rest = reduce(_WITHOUT[slot.read], names, value)
        codes[at] = places.setdefault(rest, len(places))
    return codes


def _moved(constraint: Constraint, by: int) -> Constraint:
    """Return a constraint over slots that stand so many places later."""
    slots = tuple(slot + by for slot in constraint.slots)
    assert isinstance(constraint, Table | Fold)
    return replace(constraint, slots=slots)
