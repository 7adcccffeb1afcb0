"""What is kept of one check for the next: a rule is judged anew only where what it reads is new.

A cell holds the rules that read the same facets of a piece. Its word for given facets is kept: a
set of bits, one for each rule and severity that fired, and what fired on which instance. A frame
holds the cells of a pattern whose parts share their leathers in one way. The verdict is the union
of the cells' words, for every assignment of lots alike; nothing of an answer is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from operator import itemgetter

from rules.case import Case
from rules.facets import OF_PART, OF_PIECE, Facet, Names, lots_value
from rules.findings import Said, said_of
from rules.ir import Condition, In, Rule, Severity, names_in
from rules.judge import Fired
from rules.law_rows import ANYWHERE
from rules.piece import PartUse, Piece
from rules.preference import Lots, preferred
from rules.sorter import Found, Sorter, Table
from rules.subjects import Instance, Whole
from rules.vocabulary import BY_PART, SAME_FOR_ALL, SUBJECTS, TERMS, Group, Lister, Subject

#: Words kept before all are forgotten: customers' own letters and sizes never end.
MOST_KEPT = 400_000
#: Words kept of one member before its own are forgotten. Few have as many, and those seldom say one of them again.
MOST_WORDS = 2_000
#: Lots of a part in order of preference kept for one frame.
MOST_LOTS = 2_000
#: Findings in words kept for one cell.
MOST_SAID = 5_000
#: What most specs leave as it is. Keys of fewer facets would be hit hardly more often, but there would be more of them.
_SELDOM = frozenset(
    {
        "side", "ship_to", "rush", "ready_by", "stitch", "modifications", "purpose", "foreign", "named", "repeat",
        "revision", "marks_ok", "mixed_metals_ok", "note",
    }
)  # fmt: skip
Bits = int
Key = Callable[[list[int]], Hashable]
"""Picks from the numbers of a piece's facets those that matter."""
Signature = tuple[int, ...]
SorterOf = Callable[[str, Table], Sorter]


@dataclass(slots=True)
class Member:
    """Rules of one subject over the instances of one set of parts.

    ``words`` by the numbers of ``facets``; ``said``, see :meth:`first_said`, also by those of ``shown``, which the
    words of an instance depend on. ``summed``: whether what it reads can be summed up column by column, once
    :func:`rules.sums.can_be_summed` was asked.
    """

    subject: Subject
    lister: Lister
    group: Group | None
    rules: tuple[Rule, ...]
    sorter: Sorter
    facets: frozenset[Facet]
    shown: frozenset[Facet]
    words: dict[Hashable, Bits] = field(default_factory=dict)
    said: dict[Hashable, Said | None] = field(default_factory=dict)
    summed: bool | None = None
    _places: list[int] | None = None

    @property
    def reads_lots(self) -> bool:
        """Whether its word depends on the lots given."""
        return any(read == "lots" for read, _ in self.facets)

    def instances(self, case: Case) -> Iterable[Instance]:
        """List the instances in a case."""
        if self.group is None or self.lister.reads or self.lister.own:
            return self.lister.instances(case, self.group)
        # The pattern alone says which they are: where they stand in its list is found out once.
        listed = list(self.lister.instances(case, None))
        if self._places is None:
            self._places = [place for place, each in enumerate(listed) if each.parts == self.group]
        return [listed[place] for place in self._places]

    def judge(self, case: Case) -> Iterator[Hit]:
        """Judge the rules in a case: what fired, on which instance."""
        for place, instance in enumerate(self.instances(case)):
            for each in self.sorter.fired(instance):
                yield self, place, each.rule, each.fired

    def first_said(self, rule: str, severity: Severity, key: Hashable, case_of: Callable[[], Case]) -> Said | None:
        """Return the first in order of what a rule says with a severity where the facets have certain numbers."""
        asked = rule, severity, key
        if asked in self.said:
            return self.said[asked]
        case = case_of()
        listed = list(self.instances(case))
        found = [
            said_of(Found(each, fired, listed[place]))
            for _, place, each, fired in self.judge(case)
            if each.id == rule and fired.severity == severity
        ]
        if len(self.said) >= MOST_SAID:
            self.said.clear()
        first = self.said[asked] = min(found, key=lambda each: each.order, default=None)
        return first


Hit = tuple[Member, int, Rule, Fired]
"""What fired: the member, the place of the instance in its list, the rule, its word."""


class Cell:
    """Rules that read the same facets, with the words they gave by the numbers of those facets."""

    __slots__ = ("_said", "_shown", "facets", "hits", "kept", "key", "members", "words")

    def __init__(self, members: tuple[Member, ...], facets: tuple[Facet, ...], key: Key, shown: Key) -> None:
        self.members = members
        self.facets = facets
        self.key = key
        self._shown = shown
        self._said: dict[Hashable, tuple[Said, ...]] = {}
        self.words: dict[Hashable, Bits] = {}
        self.kept = self.words.get
        self.hits: dict[Hashable, tuple[Hit, ...]] = {}

    def judge(self, case: Case) -> tuple[Hit, ...]:
        """Judge every member in a case: what fired, on which instance."""
        return tuple(hit for member in self.members for hit in member.judge(case))

    def said(self, key: Hashable, ids: list[int], case: Case) -> tuple[Said, ...]:
        """Put what was kept into words, on the instances of a case with these numbers of its facets."""
        shown = key, self._shown(ids)
        said = self._said.get(shown)
        if said is None:
            hits = self.hits[key]
            listed = {id(member): list(member.instances(case)) for member, *_ in hits}
            said = tuple(said_of(Found(rule, fired, listed[id(member)][place])) for member, place, rule, fired in hits)
            if len(self._said) >= MOST_SAID:
                self._said.clear()
            self._said[shown] = said
        return said


class Frame:
    """The cells of one pattern with its parts' leathers known and shared in one way.

    ``free`` read no lots; ``due[n]`` can be judged once part n, after all before it, has its lots.
    """

    def __init__(
        self, blank: Case, signature: Signature, tables: Mapping[str, Table], names: Names, sorter: SorterOf
    ) -> None:  # fmt: skip
        pattern = blank.piece.pattern
        if pattern is None:
            raise ValueError("no pattern is known")
        self.pattern = pattern
        self.parts = pattern.parts
        self.signature = signature
        self._names = names
        self._lots: dict[tuple[str, str, str], list[tuple[Lots, int]]] = {}
        shared: dict[int, list[str]] = {}
        for part, first in zip(pattern.parts, signature, strict=True):
            if first >= 0:
                shared.setdefault(first, []).append(part)
        # What rests on a row of some places says another thing, with another row, elsewhere.
        self._placed = {row.rule for row in blank.piece.catalog.law_rows.values() if row.destination != ANYWHERE}
        self._leathers = tuple(tuple(parts) for parts in shared.values())
        members: dict[frozenset[Facet], list[tuple[frozenset[Facet], Member]]] = {}
        for subject, rules in tables.items():
            may = [(rule, judge) for rule, judge in rules if may_apply(rule, blank)]
            for facets, member in self._members_of(subject, may, sorter):
                members.setdefault(_core(facets), []).append((facets, member))
        merged = [
            (tuple(sorted(frozenset().union(*(facets for facets, _ in own)))), tuple(member for _, member in own))
            for own in members.values()
        ]
        shown = [frozenset().union(*(member.shown for member in own)) for _, own in merged]
        lots = frozenset(("lots", part) for part in self.parts)
        self.facets = tuple(sorted(lots.union(*shown, *(facets for facets, _ in merged))))
        place = {facet: at for at, facet in enumerate(self.facets)}
        self.lots_at = tuple(place["lots", part] for part in self.parts)
        self.free: list[Cell] = []
        self.due: tuple[list[Cell], ...] = tuple([] for _ in self.parts)
        for (read, own), also in zip(merged, shown, strict=True):
            places = [place[facet] for facet in read]
            last = max((self.parts.index(part) for what, part in read if what == "lots"), default=None)
            (self.free if last is None else self.due[last]).append(
                Cell(own, read, _key(places), _key(sorted(place[facet] for facet in also)))
            )
        self.members = tuple(member for own in members.values() for _, member in own)
        self._judging: dict[str, list[Member]] = {}
        self._whole = [
            (place[facet], facet[0], names.known(facet[0]), OF_PIECE[facet[0]])
            for facet in self.facets
            if facet[0] in OF_PIECE
        ]
        self._by_part = [
            (place[facet], *facet, names.known(facet[0]), OF_PART[facet[0]])
            for facet in self.facets
            if facet[0] in OF_PART
        ]

    def _members_of(self, subject: str, rules: Table, sorter: SorterOf) -> Iterator[tuple[frozenset[Facet], Member]]:
        for lister in SUBJECTS[subject].listers:
            groups = (None,) if lister.groups is None else dict.fromkeys(lister.groups(self.pattern, self._leathers))
            for group in groups:
                by_facets: dict[frozenset[Facet], Table] = {}
                for rule, judge in rules:
                    by_facets.setdefault(self._facets_of(rule, lister, group), []).append((rule, judge))
                for facets, same in by_facets.items():
                    rule_of = tuple(rule for rule, _ in same)
                    shown = frozenset(self._shown_by(SUBJECTS[subject], group))
                    own = Member(SUBJECTS[subject], lister, group, rule_of, sorter(subject, same), facets, shown)
                    yield facets, own

    def _shown_by(self, subject: Subject, group: Group | None) -> Iterator[Facet]:
        """Give what the words of instances depend on."""
        for read in subject.shows:
            yield from scoped(read, subject.of or group, self.parts)

    def _facets_of(self, rule: Rule, lister: Lister, group: Group | None) -> frozenset[Facet]:
        found = {facet for read in lister.reads for facet in scoped(read, group, self.parts)}
        for name in names_in(rule):
            if not name.startswith("threshold."):
                found |= facets_read(name, rule.subject, group, self.parts)
        if rule.id in self._placed:
            found.add(("ship_to", ""))
        # Lots say their leather, but for a leather that has none.
        found |= {("leather", part) for read, part in found if read == "lots"}
        return frozenset(found)

    def members_of(self, rule: str) -> Sequence[Member]:
        """Return the members that judge a rule."""
        if not self._judging:
            for member in self.members:
                for each in member.rules:
                    self._judging.setdefault(each.id, []).append(member)
        return self._judging.get(rule, ())

    def ids(self, piece: Piece) -> list[int]:
        """Return the numbers of a piece's facets by place; those of the lots are not yet given."""
        number = self._names.number
        ids = [0] * len(self.facets)
        for at, read, known, value_of in self._whole:
            value = value_of(piece)
            found = known(value)
            ids[at] = number(read, value) if found is None else found
        for at, read, part, known, value_in in self._by_part:
            value = value_in(piece, part)
            found = known(value)
            ids[at] = number(read, value) if found is None else found
        return ids

    def singles(self, piece: Piece, part: PartUse) -> list[tuple[Lots, int]]:
        """Return the single lots that a part may be cut from, best first, with their numbers; () where none is."""
        leather = "" if part.leather is None else part.leather.code
        key = part.code, leather, piece.catalog.shelf(leather)
        found = self._lots.get(key)
        if found is None:
            lots = [(lot,) for lot in piece.catalog.lots_of(leather)] if leather else []
            found = [self.numbered(each) for each in preferred(piece, part.code, lots) or [()]]
            if len(self._lots) >= MOST_LOTS:
                self._lots.clear()  # shelves of earlier stock revisions
            self._lots[key] = found
        return found

    def numbered(self, lots: Lots) -> tuple[Lots, int]:
        """Return lots with the number of their facet."""
        return lots, self._names.number("lots", lots_value(lots))


def may_apply(rule: Rule, blank: Case) -> bool:
    """Whether some clause of a rule is not ruled out by the pattern alone.

    ``blank`` is a case of the pattern with nothing chosen: what reads the pattern alone is known there.
    """
    return any(all(_admits(each, blank) for each in clause.when.conditions) for clause in rule.clauses)


def _admits(condition: Condition, blank: Case) -> bool:
    if not isinstance(condition, In) or not condition.name.startswith("piece."):
        return True
    term = TERMS[condition.name]
    return term.reads != {"pattern"} or term.measure(Whole(blank)) in condition.values


def facets_read(name: str, subject: str, group: Group | None, parts: Group) -> frozenset[Facet]:
    """Return the facets that a name reads in a rule over a subject, for instances of one set of parts."""
    term = TERMS[name]
    of_whole = name.startswith("piece.") and subject != "piece"
    own = term.of or (parts if of_whole else group)
    return frozenset(facet for read in term.reads for facet in scoped(read, own, parts))


def scoped(read: str, own: Group | None, parts: Group) -> Iterator[Facet]:
    """Give the facets of one word of READS: by part for those of the parts named that the pattern has."""
    if read in BY_PART:
        yield from ((read, part) for part in parts if own is None or part in own)
    elif read not in SAME_FOR_ALL:
        yield read, ""


def _core(facets: frozenset[Facet]) -> frozenset[Facet]:
    """Return the facets without those that seldom differ: rules apart in nothing else are kept together."""
    return frozenset((read, part) for read, part in facets if read not in _SELDOM)


def _key(places: list[int]) -> Key:
    return itemgetter(*places) if places else _nothing


def _nothing(_: list[int]) -> Hashable:
    return ()
