"""What options take of what is scarce, and the limits that follow: linear in how often each is taken.

Scarce is a supply or a lot that does not suffice for the most that all rows could ask of it. Whatever
is not scarce sets no limit and does not tell options apart.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from typing import NamedTuple

from catalog.model import Catalog
from rules.best.room import Lies, Room
from rules.best.wish import Option, Wish
from rules.layout import Piece as LaidPiece
from rules.layout.panels import size_of
from rules.needs import SUPPLY_FIELDS, Needs


class Cut(NamedTuple):
    """A panel of one size that is cut from one lot; micrometers, a turnable one with its longer side along."""

    lot: str
    along_um: int
    across_um: int
    turnable: bool


class Supply(NamedTuple):
    """Something that is used up: its noun (or ``rush`` for minutes at the bench) and its code."""

    noun: str
    code: str


Thing = Cut | Supply
Load = Mapping[Thing, int]
RUSH = Supply("rush", "")


def load_of(needs: Needs) -> Load:
    """Return what an option takes: panels by lot and size, supplies, minutes of a rush."""
    load: Counter[Thing] = Counter()
    for taken in needs.panels:
        piece = LaidPiece(taken.along_um, taken.across_um, taken.turnable, taken.count)
        load[Cut(taken.lot, *size_of(piece))] += taken.count
    for noun, fields in SUPPLY_FIELDS.items():
        for code, amount in getattr(needs, fields.need).items():
            load[Supply(noun, code)] += amount
    if needs.rush:
        load[RUSH] += needs.minutes
    return +load


@dataclass(frozen=True, slots=True)
class Limit:
    """A sum that must not exceed ``most``: weight x how many of each thing are taken."""

    weights: Mapping[Thing, int]
    most: int

    def broken_by(self, load: Load) -> bool:
        """Whether a load is beyond the limit."""
        return sum(weight * load.get(thing, 0) for thing, weight in self.weights.items()) > self.most


@dataclass(frozen=True, slots=True)
class Choice:
    """One option of a group: what it takes of scarce things, and how bad its outcome is."""

    load: Load
    outcome: int


@dataclass(frozen=True, slots=True)
class Group:
    """Rows that count the same and have the same choices; ``options`` are each row's own, choice by choice."""

    value: int
    choices: tuple[Choice, ...]
    whole: bool
    rows: list[int] = field(default_factory=list)
    options: dict[int, tuple[Option, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Problem:
    """Groups of rows, the limits on what they take together, and the lots in which panels must lie."""

    groups: tuple[Group, ...]
    limits: tuple[Limit, ...]
    rooms: Mapping[str, Room]


def problem_of(catalog: Catalog, wishes: Sequence[Wish], rooms: Mapping[str, Room]) -> Problem:
    """Return the choice among wishes in terms of scarce things alone.

    ``rooms`` are the lots that any option cuts from, as they stand.
    """
    loads = [[load_of(option.needs) for option in wish.options] for wish in wishes]
    most: Counter[Thing] = Counter()
    for own in loads:
        asked: Counter[Thing] = Counter()
        for load in own:
            asked |= Counter(load)
        most.update(asked)
    left = _left(catalog, most)
    tight = {code: room for code, room in sorted(rooms.items()) if room.verdict(counts_in(code, most)) is not Lies.YES}
    scarce = {thing for thing in most if (thing.lot in tight if isinstance(thing, Cut) else thing in left)}
    limits = [Limit({supply: 1}, amount) for supply, amount in sorted(left.items())]
    for code, room in tight.items():
        area: dict[Thing, int] = {}
        for thing in sorted(scarce, key=repr):
            if isinstance(thing, Cut) and thing.lot == code:
                area[thing] = room.net_um2(thing[1:])
        limits += [Limit(area, max(0, most_um2)) for most_um2 in (room.by_yield_um2, room.by_rects_um2)]
    return Problem(_grouped(wishes, loads, scarce), tuple(limits), tight)


def _grouped(wishes: Sequence[Wish], loads: Sequence[Sequence[Load]], scarce: AbstractSet[Thing]) -> tuple[Group, ...]:
    """Put rows together that count the same and have the same choices."""
    groups: dict[Hashable, Group] = {}
    for row, (wish, own) in enumerate(zip(wishes, loads, strict=True)):
        taken = [{thing: amount for thing, amount in load.items() if thing in scarce} for load in own]
        kept = sorted(_undominated(wish.options, taken), key=_told)
        if not kept and wish.whole:
            continue
        key = wish.value, wish.whole, tuple(_told(each) for each in kept)
        if key not in groups:
            groups[key] = Group(wish.value, tuple(Choice(load, option.outcome) for option, load in kept), wish.whole)
        groups[key].rows.append(row)
        groups[key].options[row] = tuple(option for option, _ in kept)
    return tuple(groups.values())


def _left(catalog: Catalog, most: Mapping[Thing, int]) -> dict[Supply, int]:
    """Return what is left of each supply that does not suffice for all."""
    left = {}
    for thing, amount in most.items():
        if isinstance(thing, Supply):
            there = _there(catalog, thing)
            if there is not None and amount > there:
                left[thing] = there
    return left


def _there(catalog: Catalog, supply: Supply) -> int | None:
    if supply == RUSH:
        return catalog.workshop.rush_minutes_per_week
    fields = SUPPLY_FIELDS[supply.noun]
    noun = getattr(catalog, fields.nouns).get(supply.code)
    amount: int | None = 0 if noun is None else getattr(noun, fields.left)
    return amount


def counts_in(lot: str, load: Load) -> dict[tuple[int, int, bool], int]:
    """Return the panels of a load that are cut from one lot, by size."""
    return {thing[1:]: count for thing, count in load.items() if isinstance(thing, Cut) and thing.lot == lot}


_Taking = tuple[Option, dict[Thing, int]]


def _told(taking: _Taking) -> tuple[str, int]:
    """Return what tells choices apart, as a sort key."""
    option, load = taking
    return repr(sorted(load.items(), key=repr)), option.outcome


def _undominated(options: Sequence[Option], loads: Sequence[dict[Thing, int]]) -> list[_Taking]:
    """Leave out options that take no less than another of anything and come out no better; of equals one stays."""
    kept: list[_Taking] = []
    for option, load in zip(options, loads, strict=True):
        if any(_no_worse(other, less, option, load) for other, less in kept):
            continue
        kept = [(other, more) for other, more in kept if not _no_worse(option, load, other, more)]
        kept.append((option, load))
    return kept


def _no_worse(one: Option, takes: Load, other: Option, more: Load) -> bool:
    return one.outcome <= other.outcome and all(amount <= more.get(thing, 0) for thing, amount in takes.items())


def total_of(loads: Iterable[Load]) -> Counter[Thing]:
    """Return what several loads take together."""
    total: Counter[Thing] = Counter()
    for load in loads:
        total.update(load)
    return total
