"""Rules of a frame read over a domain, member by member, and what was read kept for the next order."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from rules.cells import Frame, Member
from rules.diagram.constraint import Allowed
from rules.facets import EMPTY, OF_PIECE, Facet
from rules.guide.domain import Domain
from rules.guide.judged import REFUSES, Judged, Row
from rules.guide.reading import Reader
from rules.guide.stocked import SHARED
from rules.ir import Rule, names_in
from rules.shop import Shop
from rules.vocabulary import TERMS

#: What members said of orders' own facts that is kept before all is forgotten.
MOST_KEPT: Final = 2_000


@dataclass(frozen=True)
class Read:
    """What rules say of a domain: of nothing chosen, of single values, of several together."""

    always: Mapping[str, int]
    rows: Sequence[Row]
    judged: Sequence[Judged]

    def alive(self, level: int, sizes: Sequence[int]) -> Allowed:
        """Return the values of which nothing is said that is as bad as a level."""
        found = [np.ones(size, dtype=bool) for size in sizes]
        for row in self.rows:
            found[row.slot] &= row.words < level
        return found


def all_of(several: Iterable[Read]) -> Read:
    """Return what several say."""
    always: dict[str, int] = {}
    rows: list[Row] = []
    judged: list[Judged] = []
    for each in several:
        for rule, bad in each.always.items():
            always[rule] = max(always.get(rule, 0), bad)
        rows += each.rows
        judged += each.judged
    return Read(always, rows, judged)


@dataclass(frozen=True, eq=False)
class Moving:
    """Rules of a member that hang on facts of the order, or on the stock.

    ``reads`` are the facts, by the words of :data:`rules.vocabulary.READS`; ``slots`` how many slots it reads.
    """

    member: Member
    rules: tuple[Rule, ...]
    reads: tuple[str, ...]
    stock: bool
    slots: int

    def hangs_on(self, reader: Reader, supplies: Hashable) -> Hashable:
        """Return all that what it says follows from beside the slots."""
        piece = reader.case({}).piece
        facts = tuple(OF_PIECE[read](piece) for read in self.reads if read != "letters")
        return facts, reader.domain.letters if "letters" in self.reads else (), supplies if self.stock else None


def supplies_of(shop: Shop) -> Hashable:
    """Return what is in stock beside leather; equal where it is the same, whatever revision it is of."""
    catalog = shop.catalog
    return (
        tuple((thread.left_um, thread.status) for thread in catalog.threads.values()),
        tuple((edge.left_ul, edge.status) for edge in catalog.edges.values()),
        tuple(hardware.stock for hardware in catalog.hardware.values()),
        shop.indexes.marking_stock,
    )


class Members:
    """The members of a frame: what hangs on slots alone, and what hangs on more."""

    def __init__(self, frame: Frame, domain: Domain) -> None:
        numbers = domain.numbers()
        own = [member for member in frame.members if member.subject.name not in SHARED]
        self.fixed = [(member, rules) for member in own if (rules := _fixed(member, numbers))]
        self.moving = [moving for member in own if (moving := _moving(member, numbers)).rules]


def _fixed(member: Member, numbers: Mapping[Facet, int]) -> tuple[Rule, ...]:
    """Return the rules of a member that hang on nothing but slots."""
    if any(facet not in numbers for facet in member.facets) or ("letters", "") in member.facets:
        return ()
    return tuple(rule for rule in member.rules if not _reads_stock(rule))


def _moving(member: Member, numbers: Mapping[Facet, int]) -> Moving:
    fixed = {rule.id for rule in _fixed(member, numbers)}
    rules = tuple(rule for rule in member.rules if rule.id not in fixed)
    reads = sorted({read for read, part in member.facets if (read, part) not in numbers or read == "letters"})
    slots = {numbers[facet] for facet in member.facets if facet in numbers}
    return Moving(member, rules, tuple(reads), any(map(_reads_stock, rules)), len(slots))


def _reads_stock(rule: Rule) -> bool:
    return any("stock" in TERMS[name].reads for name in names_in(rule) if not name.startswith("threshold."))


def read_fixed(reader: Reader, members: Members) -> Read:
    """Read what hangs on slots alone: single values first, then of several those that are left."""
    alone = [each for each in members.fixed if len(reader.slots_of(each[0].facets)) < 2]  # several
    several = [each for each in members.fixed if each not in alone]
    first = all_of(read_member(reader, *each) for each in alone)
    reader.alive = first.alive(REFUSES, reader.domain.sizes)
    return all_of([first, *(read_member(reader, *each) for each in several)])


def read_member(reader: Reader, member: Member, rules: Sequence[Rule]) -> Read:
    """Read some rules of one member."""
    if _never_listed(member, reader):
        return Read({}, (), ())
    ids = {rule.id for rule in rules}
    slots = reader.slots_of(member.facets)
    if not slots:
        return Read({rule: bad for rule, bad in reader.always(member).items() if rule in ids and bad}, (), ())
    if len(slots) == 1:
        return Read({}, [row for row in reader.alone(member, slots[0], member.facets) if row.rule in ids], ())
    found: list[Any] = [each for rule in rules for each in reader.together(member, rule)]
    rows = [each for each in found if isinstance(each, Row)]
    return Read({}, rows, [each for each in found if not isinstance(each, Row)])


def _never_listed(member: Member, reader: Reader) -> bool:
    """Whether what a member is judged over is only there with something that the order does not have."""
    what = member.lister.only_with
    if not what or (what, "") in reader.domain.numbers():
        return False
    return OF_PIECE[what](reader.case({}).piece) == EMPTY[what]
