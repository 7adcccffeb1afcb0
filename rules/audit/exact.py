"""What can be gone through whole: everything that a rule reads, or that a single choice decides.

Rests on what every name of the vocabulary declares that it reads (:mod:`rules.vocabulary`): a clause that reads
nothing but a few slots says of every spec what it says of one with these slots alone. Figures of stock are those of
the catalog. What cannot be listed (sizes, letters, what is carried, quantities, days, places) ends the argument.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date
from functools import partial
from itertools import combinations, product
from math import prod
from typing import Any, Final

from catalog.model import Lot, Pattern
from rules.case import Case
from rules.cells import facets_read, scoped
from rules.facets import Facet
from rules.ir import Condition, Rule, names_in, names_of
from rules.judge import Fired, Judge, condition_of, judge_of
from rules.piece import OUTSIDE
from rules.shop import Shop
from rules.spec import Monogram, PartChoice, Spec
from rules.vocabulary import BY_PART, SAME_FOR_ALL, SUBJECTS, Group, Lister

#: More combinations than these are not gone through.
MOST: Final = 30_000
#: A leather with more lots than these has too many sets of them.
_MOST_LOTS: Final = 3
_SIDES: Final = ("grain", "flesh")
_METHODS: Final = ("blind", "foil", "ink", "laser")
#: A code that no catalog has: what is not known is all the same.
_UNKNOWN: Final = "?"
_WITH_OUTSIDE: Final = frozenset({"thread", "edge"})
Changes = Callable[[Spec], Spec]
Lots = tuple[Lot, ...]
Settled = tuple[str, Lister, Group | None, Judge]
"""A rule, the instances that it is judged over, and one clause of it alone."""


class TooMany(Exception):  # noqa: N818  # not an error: the argument ends here
    """More combinations than can be gone through, or some that cannot be listed."""


class Exact:
    """Goes through combinations of a shop's catalog on one day."""

    def __init__(self, shop: Shop, today: date) -> None:
        self._shop = shop
        self._today = today
        self._judges = shop.judges(today)
        self._clauses: dict[tuple[str, frozenset[Facet]], list[Settled]] = {}

    def word(self, rule: Rule) -> tuple[bool, bool] | None:
        """Return whether a rule ever applies and whether it is ever broken; None where not all can be gone through."""
        judge, applies = self._judge(rule), False
        try:
            for instance in self._instances(rule.subject, names_in(rule)):
                said = judge(instance)
                applies = applies or said is not None
                if isinstance(said, Fired):
                    return True, True
        except TooMany:
            return None
        return applies, False

    def unmet(self, rule: Rule) -> str | None:
        """Return the name in the condition of every clause that is never met alone; None where one may be met."""
        found = [self._unmet(rule, clause.when.conditions) for clause in rule.clauses]
        return None if None in found else ", ".join(dict.fromkeys(each for each in found if each is not None))

    def _unmet(self, rule: Rule, conditions: Iterable[Condition]) -> str | None:
        return next((", ".join(sorted(names_of(each))) for each in conditions if self._never(rule, each)), None)

    def _never(self, rule: Rule, condition: Condition) -> bool:
        holds = condition_of(condition, partial(self._judges.reader, subject=rule.subject))
        try:
            return not any(holds(each) is True for each in self._instances(rule.subject, names_of(condition)))
        except TooMany:
            return False

    def _judge(self, rule: Rule) -> Judge:
        return judge_of(rule, partial(self._judges.reader, subject=rule.subject))

    def _instances(self, subject: str, names: Iterable[str]) -> Iterator[Any]:
        """Give the instances of a subject under every combination of what names read. Raises TooMany."""
        names, left = [name for name in names if not name.startswith("threshold.")], MOST
        for pattern in self._shop.catalog.patterns.values():
            for lister in SUBJECTS[subject].listers:
                if _shared(lister, pattern):
                    raise TooMany
                for group in _groups(lister, pattern):
                    facets = _facets(subject, names, lister, group, pattern)
                    slots = [self._values(facet, pattern) for facet in _ordered(facets, pattern)]
                    left -= prod(map(len, slots))
                    if left < 0:
                        raise TooMany
                    for changes in product(*slots):
                        for case in self._cases(pattern, changes, facets):
                            yield from lister.instances(case, group)

    def _values(self, facet: Facet, pattern: Pattern) -> Sequence[Changes]:
        """Return every value of a slot as a change of a spec. Raises TooMany where they cannot be listed."""
        read, part = facet
        catalog = self._shop.catalog
        match read:
            case "leather":
                return [partial(_give, part=part, leather=code) for code in (*catalog.leathers, None)]
            case "side":
                return [partial(_turn, part=part, side=side) for side in _SIDES]
            case "thread":
                return [partial(_set, slot="thread", value=code) for code in (*catalog.threads, "match", None)]
            case "edge":
                return [partial(_set, slot="edge", value=code) for code in (*catalog.edges, "match", None)]
            case "hardware":
                choices = [*catalog.hardware, _UNKNOWN, None]
                if len(choices) ** len(pattern.fixings) > MOST:
                    raise TooMany
                every = product(choices, repeat=len(pattern.fixings))
                return [partial(_fit, slots=dict(zip(pattern.fixings, codes, strict=True))) for codes in every]
            case "modifications":
                codes = list(catalog.modifications)
                sets = [some for size in range(len(codes) + 1) for some in combinations(codes, size)]
                return [partial(_set, slot="modifications", value=some) for some in sets]
            case "monogram":
                return self._monograms(pattern)
            case "rush":
                return [partial(_set, slot="rush", value=value) for value in (False, True)]
            case _:
                raise TooMany

    def _monograms(self, pattern: Pattern) -> Sequence[Changes]:
        catalog = self._shop.catalog
        every = product(
            (*_METHODS, None), (*catalog.typefaces, _UNKNOWN, None), (*pattern.zones, _UNKNOWN, None),
            (*catalog.foils, _UNKNOWN, None), (False, True),
        )  # fmt: skip
        asked = [Monogram("A", *values) for values in every]
        return [partial(_set, slot="monogram", value=monogram) for monogram in (*asked, None)]

    def _cases(self, pattern: Pattern, changes: Iterable[Changes], facets: frozenset[Facet]) -> Iterator[Case]:
        """Give the cases of a spec with some slots chosen, under every set of lots of the parts whose lots are read."""
        spec = Spec(pattern.code)
        for change in changes:
            spec = change(spec)
        piece = self._shop.piece(spec)
        parts = [part for read, part in facets if read == "lots"]
        sets = [self._sets(None if (found := piece.parts[part].leather) is None else found.code) for part in parts]
        for given in product(*sets):
            yield Case(piece, dict(zip(parts, given, strict=True)), self._shop.warehouse, self._today)

    def _sets(self, leather: str | None) -> Sequence[Lots]:
        lots = [] if leather is None else list(self._shop.catalog.lots_of(leather))
        if len(lots) > _MOST_LOTS:
            raise TooMany
        return [some for size in range(1, len(lots) + 1) for some in combinations(lots, size)] or [()]

    def refuses(self, spec: Spec, fixed: frozenset[Facet]) -> list[frozenset[str]] | None:
        """Return the rules that refuse every spec with the slots named as they are here, whatever else is chosen.

        One set of rules for each set of lots, where ``fixed`` names lots. None where some set of lots is refused by
        none, or not all can be gone through.
        """
        pattern = self._shop.catalog.patterns[spec.pattern]
        found: list[frozenset[str]] = []
        try:
            for case in self._cases(pattern, [lambda _: spec], fixed):
                found.append(frozenset(self._refusing(case, self._settled(pattern, fixed))))
                if not found[-1]:
                    return None
        except TooMany:
            return None
        return found

    @staticmethod
    def _refusing(case: Case, settled: Iterable[Settled]) -> Iterator[str]:
        for rule, lister, group, judge in settled:
            for instance in lister.instances(case, group):
                said = judge(instance)
                if isinstance(said, Fired) and said.severity == "refuse":
                    yield rule

    def _settled(self, pattern: Pattern, fixed: frozenset[Facet]) -> list[Settled]:
        """Return the clauses that may refuse and read nothing but what is settled, with what they are judged over."""
        key = pattern.code, fixed
        if key not in self._clauses:
            self._clauses[key] = list(self._find_settled(pattern, fixed))
        return self._clauses[key]

    def _find_settled(self, pattern: Pattern, fixed: frozenset[Facet]) -> Iterator[Settled]:
        for subject, table in self._judges.tables.items():
            for lister in SUBJECTS[subject].listers:
                for group in () if _shared(lister, pattern) else _groups(lister, pattern):
                    for rule, _ in table:
                        for clause in rule.clauses:
                            alone = replace(rule, clauses=(clause,))
                            names = [name for name in names_in(alone) if not name.startswith("threshold.")]
                            if (
                                "refuse" in alone.severities
                                and _facets(subject, names, lister, group, pattern) <= fixed
                            ):
                                yield rule.id, lister, group, self._judge(alone)


def in_common(sets: Sequence[frozenset[str]]) -> list[str]:
    """Return a few of the names in the sets so that each set holds one: greedily, the most frequent first."""
    left, found = list(sets), list[str]()
    while left:
        counts = Counter(name for each in left for name in each)
        best = min(counts, key=lambda name: (-counts[name], name))
        found.append(best)
        left = [each for each in left if best not in each]
    return sorted(found)


def _groups(lister: Lister, pattern: Pattern) -> list[Group | None]:
    """Return the sets of parts over which a list goes, each part of a leather of its own."""
    if lister.groups is None:
        return [None]
    return list(dict.fromkeys(lister.groups(pattern, [(part,) for part in pattern.parts])))


def _shared(lister: Lister, pattern: Pattern) -> bool:
    """Whether the sets hang on which parts share a leather: then no part alone decides what is said of it."""
    if lister.groups is None:
        return False
    apart = set(lister.groups(pattern, [(part,) for part in pattern.parts]))
    return apart != set(lister.groups(pattern, [pattern.parts]))


def _facets(
    subject: str, names: Iterable[str], lister: Lister, group: Group | None, pattern: Pattern
) -> frozenset[Facet]:
    parts = pattern.parts
    own = frozenset(facet for read in lister.reads for facet in scoped(read, group, parts))
    return own.union(*(facets_read(name, subject, group, parts) for name in names))


def _ordered(facets: frozenset[Facet], pattern: Pattern) -> list[Facet]:
    """Return the slots to choose, leathers before their sides; lots follow from leathers, species are theirs."""
    leathers = {("leather", part) for read, part in facets if read in BY_PART}
    matches = OUTSIDE in pattern.parts and any(read in _WITH_OUTSIDE for read, _ in facets)
    matched = {("leather", OUTSIDE)} if matches else set()
    rest = {facet for facet in facets if facet[0] not in {"leather", "lots", "species"} | SAME_FOR_ALL}
    return [*sorted(leathers | matched), *sorted(rest)]


def _give(spec: Spec, *, part: str, leather: str | None) -> Spec:
    return spec if leather is None else replace(spec, parts={**spec.parts, part: PartChoice(leather)})


def _turn(spec: Spec, *, part: str, side: str) -> Spec:
    asked = spec.parts.get(part)
    return spec if asked is None else replace(spec, parts={**spec.parts, part: replace(asked, side=side)})


def _set(spec: Spec, *, slot: str, value: Any) -> Spec:
    changes: dict[str, Any] = {slot: value}
    return replace(spec, **changes)


def _fit(spec: Spec, *, slots: dict[str, str | None]) -> Spec:
    return replace(spec, hardware={slot: code for slot, code in slots.items() if code is not None})
