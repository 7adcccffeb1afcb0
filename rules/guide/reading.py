"""Rules of the book as constraints over slots.

Every word of a rule is found by judging a real case with the rule's own judge; what is decided here is only which
values a rule cannot tell apart, from what it declares to read. A rule that reads one slot is a row of words, one over
few classes a table, one over a figure that many slots add up to a fold (:mod:`rules.guide.gathered`).
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from functools import partial
from itertools import product
from math import prod
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from rules.case import Case
from rules.cells import Member, facets_read, scoped
from rules.evaluate import Judges
from rules.facets import Facet
from rules.guide.asked import asked_words, of_asked, told
from rules.guide.domain import Domain, facet_key
from rules.guide.gathered import ADDED_UP, COMPLETE, JOINED, Gathered, joined
from rules.guide.judged import BAD, Given, Grid, Heap, Judged, Row, Words, badness, coded
from rules.ir import Clause, Graded, Limit, Name, Rule, names_in, names_of
from rules.judge import condition_of, judge_of, term_of
from rules.sorter import Found
from rules.subjects import Instance
from rules.vocabulary import TERMS

#: Combinations of classes that are judged one by one; beyond, what parts add to sets is gathered.
MOST_CELLS: Final = 6_000
Key = tuple[Hashable, tuple[Hashable, ...], tuple[frozenset[str], ...]]
"""What a rule can tell of a value: its facets, what names say of each instance beside it, what it adds to sets."""


def listed(member: Member, case: Case) -> list[Instance]:
    """Return the instances that a member is judged over in a case in which not all need be chosen."""
    lister = member.lister
    if member.group is None or lister.reads or lister.own:
        return list(lister.instances(case, member.group))
    return [each for each in lister.instances(case, None) if each.parts == member.group]


def fired_in(member: Member, case: Case) -> Iterator[Found]:
    """Give what the rules of a member say of a case in which not all need be chosen."""
    for instance in listed(member, case):
        yield from member.sorter.fired(instance)


class Reader:
    """Reads the rules of one frame's members over a domain. ``alive`` are the values that anything is asked of."""

    def __init__(self, domain: Domain, judges: Judges, today: date, alive: Sequence[NDArray[np.bool_]]) -> None:
        self.domain = domain
        self.alive = alive
        self._today = today
        self._judges = judges
        self._numbers = domain.numbers()
        self._parts = domain.pattern.parts
        self._cases: dict[tuple[tuple[int, int], ...], Case] = {}
        self._empty = domain.case({}, today)

    def slots_of(self, facets: Iterable[Facet]) -> tuple[int, ...]:
        """Return the slots that facets are read from."""
        return tuple(sorted({self._numbers[facet] for facet in facets if facet in self._numbers}))

    def case(self, chosen: Mapping[int, int]) -> Case:
        """Return the case of some values; those of one slot alone are kept."""
        if len(chosen) > 1:
            return self.domain.case(chosen, self._today)
        key = tuple(chosen.items())
        if key not in self._cases:
            self._cases[key] = self.domain.case(chosen, self._today)
        return self._cases[key]

    def bad(self, member: Member, case: Case) -> dict[str, int]:
        """Return how bad each rule of a member is in a case, those that say something."""
        found: dict[str, int] = {}
        for each in fired_in(member, case):
            found[each.rule.id] = max(found.get(each.rule.id, 0), badness(each.fired))
        return found

    def alone(self, member: Member, slot: int, facets: Iterable[Facet]) -> list[Row]:
        """Return what the rules of a member that reads one slot say of each of its values."""
        values = self.domain.slots[slot].values
        said: dict[Hashable, dict[str, int]] = {}
        facets = tuple(facets)
        words: dict[str, Words] = {}
        for place in np.flatnonzero(self.alive[slot]).tolist():
            key = facet_key(self.domain.slots[slot], place, facets)
            if key not in said:
                said[key] = self.bad(member, self.case({slot: place}))
            for rule, bad in said[key].items():
                if bad:
                    words.setdefault(rule, np.zeros(len(values), dtype=np.int8))[place] = bad
        return [Row(rule, slot, own) for rule, own in words.items()]

    def always(self, member: Member) -> dict[str, int]:
        """Return what the rules of a member say that reads no slot at all."""
        return self.bad(member, self._empty)

    def together(self, member: Member, rule: Rule) -> list[Judged | Row]:
        """Return what a rule says of several slots."""
        return [each for live in self._live(member, rule) for each in self._of_clause(member, live)]

    def _of_clause(self, member: Member, live: Rule) -> list[Judged | Row]:
        """Return what one clause says; the worst clause counts, so each is looked at by itself."""
        names = [name for name in names_in(live) if not name.startswith("threshold.")]
        if member.subject.name == "species" and self._rests_on_one_part(live):
            return self._part_by_part(member, live, names)
        heaps = any(name in ADDED_UP for name in names)
        slots, keyed = ((), []) if heaps else self._keyed(member, live, names)
        # What is only there with something chosen cannot be told apart instance by instance beforehand.
        there = [] if member.lister.reads else listed(member, self._empty)
        if heaps or (there and _cells(keyed) > MOST_CELLS):
            return [self._heap(member, live, names, place) for place in range(len(listed(member, self._empty)))]
        return [self._combined(member, live, slots, keyed)]

    def _live(self, member: Member, rule: Rule) -> list[Rule]:
        """Return a rule once for each clause that may stand in the way of anything, with it alone."""
        return [
            replace(rule, clauses=(clause,))
            for clause in rule.clauses
            if speaks(clause) and not self._settled_off(member, rule, clause)
        ]

    def _settled_off(self, member: Member, rule: Rule, clause: Clause) -> bool:
        """Whether a condition or a figure that no slot decides keeps a clause from ever speaking."""
        there = listed(member, self._empty)
        if not there:
            return False
        read = partial(self._judges.reader, subject=rule.subject)
        fixed = [each for each in clause.when.conditions if not self._reads(member, rule, names_of(each))]
        if any(not condition_of(each, read)(instance) for each in fixed for instance in there[:1]):
            return len(there) == 1
        if not isinstance(clause.verb, Limit):
            return False
        terms = [clause.verb.term, *(step.limit for step in clause.verb.steps)]
        names = [each for each in terms if isinstance(each, Name) and not self._reads(member, rule, {each.name})]
        return len(there) == 1 and any(term_of(each, read)(there[0]) is None for each in names)

    def _reads(self, member: Member, rule: Rule, names: Iterable[str]) -> bool:
        return any(self._slots(member, rule, name) for name in names)

    def _slots(self, member: Member, rule: Rule, name: str) -> tuple[int, ...]:
        if name.startswith("threshold."):
            return ()
        return self.slots_of(facets_read(name, rule.subject, member.group, self._parts))

    @staticmethod
    def _rests_on_one_part(rule: Rule) -> bool:
        own = {read for name in names_in(rule) if not name.startswith("threshold.") for read in TERMS[name].reads}
        return not own & {"leather", "side", "lots"}

    def _part_by_part(self, member: Member, rule: Rule, names: Sequence[str]) -> list[Judged | Row]:
        """Return what a rule says of each part by itself: it speaks of one part's leather at a time."""
        found: list[Judged | Row] = []
        beside = self.slots_of([facet for name in names for facet in self._facets(member, rule, name)])
        beside = tuple(slot for slot in beside if self.domain.slots[slot].read != "part")
        others = [self._keys(member, rule, names, (), slot) for slot in beside]
        for number, slot in enumerate(self.domain.slots):
            if slot.read != "part":
                continue
            facets = [("leather", slot.part), ("species", slot.part)]
            if beside:
                own: list[Key | None] = [None] * len(slot.values)
                for place in np.flatnonzero(self.alive[number]).tolist():
                    own[place] = facet_key(slot, place, facets), (), ()
                found.append(self._combined(member, rule, (number, *beside), [own, *others]))
            else:
                found += [row for row in self.alone(member, number, facets) if row.rule == rule.id]
        return found

    def _keyed(
        self, member: Member, rule: Rule, names: Sequence[str]
    ) -> tuple[tuple[int, ...], list[list[Key | None]]]:  # fmt: skip
        """Return the slots that a rule reads, with what it can tell of each of their values."""
        shown = {facet for read in member.lister.reads for facet in scoped(read, member.group, self._parts)}
        slots = self.slots_of([*shown, *(facet for name in names for facet in self._facets(member, rule, name))])
        return slots, [self._keys(member, rule, names, shown, slot) for slot in slots]

    def _combined(
        self, member: Member, rule: Rule, slots: tuple[int, ...], keyed: Sequence[Sequence[Key | None]]
    ) -> Judged:  # fmt: skip
        """Return what a rule says of whatever is listed beside the values of some slots.

        A table of all combinations, or where it would be too large a heap: sets that parts add to are then taken
        together.
        """
        judge = judge_of(rule, partial(self._judges.reader, subject=rule.subject))

        def word(chosen: Mapping[int, int]) -> int:
            return max((badness(judge(each)) for each in listed(member, self.case(chosen))), default=0)

        if _cells(keyed) > MOST_CELLS:
            return Heap(rule.id, slots, [_given_by(own) for own in keyed], word, _sets_and_beside, rising=False)
        classes, examples = zip(*(coded(own) for own in keyed), strict=True) if slots else ((), ())
        words = np.zeros([len(own) for own in examples], dtype=np.int8)
        for at in product(*map(range, words.shape)):
            words[at] = word({slot: own[code] for slot, own, code in zip(slots, examples, at, strict=True)})
        return Grid(rule.id, slots, classes, words)

    def _facets(self, member: Member, rule: Rule, name: str) -> frozenset[Facet]:
        return facets_read(name, rule.subject, member.group, self._parts)

    def _keys(
        self, member: Member, rule: Rule, names: Sequence[str], shown: Iterable[Facet], slot: int
    ) -> list[Key | None]:  # fmt: skip
        """Return for each value of a slot what a rule can tell of it; None for values that are not asked about."""
        own, raw = self._split(member, rule, names, slot)
        raw |= set(shown)
        asked = asked_words(rule)
        found: list[Key | None] = [None] * len(self.domain.slots[slot].values)
        for place in np.flatnonzero(self.alive[slot]).tolist():
            case = self.case({slot: place})
            values = tuple(
                tuple(told(name, self._judges.reader(name, subject=rule.subject)(each), asked) for name in own)
                for each in listed(member, case)
            )
            beyond = raw if values or not own else member.facets
            sets = tuple(of_asked(joined(name, case), asked.get(name)) for name in names if name in JOINED)
            found[place] = (facet_key(self.domain.slots[slot], place, beyond) if beyond else None, values, sets)
        return found

    def _split(
        self, member: Member, rule: Rule, names: Sequence[str], slot: int
    ) -> tuple[list[str], set[Facet]]:  # fmt: skip
        """Return the names that a slot alone decides, and the facets of those that it decides with others."""
        own: list[str] = []
        raw: set[Facet] = set()
        for name in names:
            read = self._slots(member, rule, name)
            if slot not in read or name in JOINED:
                continue
            if read == (slot,):
                own.append(name)
            else:
                raw |= self._facets(member, rule, name)
        return own, raw

    def _heap(self, member: Member, rule: Rule, names: Sequence[str], place: int) -> Heap:
        """Return what a rule says of one instance, gathered slot by slot."""
        instance = listed(member, self._empty)[place]
        sums = {name: ADDED_UP[name](self.domain.pattern, instance) for name in names if name in ADDED_UP}
        sets = [name for name in names if name in JOINED]
        also = {name for each in sums.values() for name in each.also}
        others = [
            name for name in {*names, *also} if name not in sums and name not in sets and name not in COMPLETE
        ]  # fmt: skip
        slots = self.slots_of([facet for name in {*names, *also} for facet in self._facets(member, rule, name)])
        given = [self._given(member, rule, sums, sets, others, slot, place) for slot in slots]
        judge = judge_of(rule, partial(self._judges.reader, subject=rule.subject))
        kept = tuple(sums.values())

        def word(chosen: Mapping[int, int]) -> int:
            return badness(judge(listed(member, self.case(chosen))[place]))

        def settled(state: Any) -> Hashable:
            total, beside, _ = state
            own = tuple(each.settled(part) for each, part in zip(kept, total, strict=False))
            return (*own, *total[len(kept) :], beside)

        return Heap(rule.id, slots, given, word, settled, rising=_rises(rule, tuple(sums), sets))

    def _given(
        self, member: Member, rule: Rule, sums: Mapping[str, Gathered], sets: Sequence[str], others: Sequence[str],
        slot: int, at: int,
    ) -> list[Given | None]:  # fmt: skip
        """Return what each value of a slot gives: sums and sets, and a class of what is read beside (-1: nothing)."""
        own, raw = self._split(member, rule, others, slot)
        asked = asked_words(rule)
        nothing = self.case({})
        adds = [each if self._adds(each, slot) else None for each in sums.values()]
        found: list[Given | None] = [None] * len(self.domain.slots[slot].values)
        classes: dict[Hashable, int] = {}
        for place in np.flatnonzero(self.alive[slot]).tolist():
            case = self.case({slot: place})
            total = tuple(
                each.adds(case) if one is not None else (0,) * len(each.adds(nothing))
                for one, each in zip(adds, sums.values(), strict=True)
            )
            parts = tuple(of_asked(joined(name, case), asked.get(name)) for name in sets)
            class_of = -1
            if own or raw:
                instance = listed(member, case)[at]
                own_words = tuple(
                    told(name, self._judges.reader(name, subject=rule.subject)(instance), asked) for name in own
                )
                key = (facet_key(self.domain.slots[slot], place, raw) if raw else None, own_words)
                class_of = classes.setdefault(key, len(classes))
            found[place] = ((*total, *parts), class_of)
        return found

    def _adds(self, gathered: Gathered, slot: int) -> bool:
        own = self.domain.slots[slot]
        reads = {"lots", "side", "leather"} if own.read == "part" else {own.read}
        return bool(reads & gathered.reads)


def _cells(keyed: Sequence[Sequence[Key | None]]) -> int:
    """Return how many combinations there are of what a rule can tell apart."""
    return prod(len(set(own) - {None}) for own in keyed)


def _given_by(keys: Sequence[Key | None]) -> list[Given | None]:
    """Return what each value of a slot adds to sets, and the class of all else that a rule can tell of it."""
    places: dict[Hashable, int] = {}
    return [None if key is None else (key[2], places.setdefault(key[:2], len(places))) for key in keys]


def _sets_and_beside(state: Any) -> Hashable:
    sets, beside, _ = state
    return sets, beside


def _rises(rule: Rule, sums: tuple[str, ...], sets: Sequence[str]) -> bool:
    """Whether one figure alone is gathered, a larger one is worse, and no condition looks at it."""
    (clause,) = rule.clauses
    verb = clause.verb
    return (
        len(sums) == 1
        and not sets
        and isinstance(verb, Limit)
        and verb.bound == "max"
        and verb.term == Name(sums[0])
        and sums[0] in {"seam.stack", "spine.stack", "piece.closed", "piece.thread_needed"}
        and sums[0] not in names_of(clause.when)
    )


def speaks(clause: Clause) -> bool:
    """Whether a clause may stand in the way of anything."""
    verb = clause.verb
    if isinstance(verb, Limit):
        return any(step.severity in BAD for step in verb.steps)
    if isinstance(verb, Graded):
        return any(severity in BAD for _, severity in verb.levels)
    return verb.severity in BAD
