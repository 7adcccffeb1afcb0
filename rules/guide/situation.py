"""All that stands between choices in one shop on one day: the rules over a domain, compiled.

What follows from the pattern and the catalog alone is worked out once and kept (:mod:`rules.guide.standing`); what
hangs on the order's own facts (what it carries, how many, where it goes) or on the stock is added to it at request
time. Both are compiled twice: without what the maker must agree to, and with it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import partial
from threading import Lock
from typing import Any, Final
from weakref import finalize

import numpy as np

from rules.case import Case
from rules.cells import Member
from rules.diagram.clauses import Clauses
from rules.diagram.constraint import Allowed, Amounts, Constraint, Table, TooEntangledError
from rules.diagram.diagram import Diagram
from rules.evaluate import Judges
from rules.guide.amounts import Prices
from rules.guide.counts import Specs
from rules.guide.domain import Domain, asked_of, domain_of
from rules.guide.judged import ASKS, FREE, REFUSES, badness
from rules.guide.read import Moving, Read, all_of, read_member, supplies_of
from rules.guide.reading import Reader, fired_in
from rules.guide.standing import MOST_ARCS, Standing, stockless
from rules.guide.stocked import Said, Stocked, Ways
from rules.guide.verified import Verified
from rules.guide.views import View, views_of
from rules.lazy import once
from rules.memo import Memo
from rules.shop import Shop
from rules.spec import Spec

#: What is left where what is at least so bad is left out.
LEVELS: Final = {"open": ASKS, "sign_off": REFUSES}
#: Ways of taking lots, leathers with their lots, and situations that are remembered.
MOST_SAID: Final = 20_000
MOST_GRIDS: Final = 1_000
MOST_STANDING: Final = 64
#: What rules said of values and combinations, kept for one situation.
MOST_TOLD: Final = 10_000
MOST_SITUATIONS: Final = 48


class Situation:
    """What an order's own facts and the stock add, and the diagrams with all of it."""

    def __init__(self, domain: Domain, standing: Standing, judges: Judges, today: date, guides: Guides) -> None:
        self.standing = standing
        self.judges = judges
        self.today = today
        self.told: Memo[Any] = Memo(MOST_TOLD)
        alive = standing.alive
        #: What is left where a part has no more lots than panels; no rule says so.
        self.fits = _no_more_lots_than_panels(domain)
        self.domain = domain = self._lettered(domain, guides, alive)
        reader = Reader(domain, judges, today, alive)
        supplies = supplies_of(domain.shop)
        told = [
            standing.told.get(
                (place, each.hangs_on(reader, supplies)), partial(read_member, reader, each.member, each.rules)
            )
            for place, each in enumerate(standing.members.moving)
        ]
        moved = all_of(told)
        rows = [*standing.read.rows, *moved.rows]
        left = _and(_and(alive, self.fits), Read({}, rows, ()).alive(REFUSES, domain.sizes))
        stocked = Stocked(domain, judges, today, guides.said, guides.grids)
        rows += stocked.alone(left)
        left = _and(left, Read({}, rows, ()).alive(REFUSES, domain.sizes))
        self._joint, self._moved = stocked.together(left), moved.judged
        self._stocked = stocked
        own = Read(moved.always, rows[len(standing.read.rows) :], [*self._joint, *self._moved])
        self.read = all_of([standing.read, own])
        self.prices = Prices(domain, static=False)
        self._diagrams: dict[int, Diagram] = {}
        self._entangled: set[int] = set()
        self._alive: dict[int, Allowed] = {}
        self._specs: dict[int, Specs] = {}
        self._clauses: dict[int, Clauses] = {}
        self._lock = Lock()

    def _lettered(self, domain: Domain, guides: Guides, alive: Allowed) -> Domain:
        """Return the domain with the letters that suit each monogram best."""
        if not any(len(own) > 1 for own in domain.letters):
            return domain
        lettering = [each for each in self.standing.members.moving if "letters" in each.reads and each.slots == 1]
        reader = Reader(domain, self.judges, self.today, alive)
        supplies = supplies_of(domain.shop)
        (values,) = (each.values for each in domain.slots if each.read == "monogram")
        key = domain.pattern.code, self.today, values, *(each.hangs_on(reader, supplies) for each in lettering)
        return domain.lettered(guides.letters.get(key, lambda: _best_letters(domain, self.today, lettering, alive)))

    @once
    def views(self) -> tuple[View, ...]:
        """The slots of a spec, nothing chosen."""
        return views_of(self.domain)

    def alive(self, level: int) -> Allowed:
        """Return the values of which nothing is said by itself that is as bad as a level."""
        if level not in self._alive:
            self._alive[level] = _and(self.fits, self.read.alive(level, self.domain.sizes))
        return self._alive[level]

    def never(self, level: int) -> tuple[str, ...]:
        """Return the rules that stand in the way whatever is chosen."""
        return tuple(rule for rule, bad in self.read.always.items() if bad >= level)

    def constraints(self, level: int) -> list[Constraint]:
        """Return all that several slots must agree on."""
        own = [each for own in self.read.judged if (each := own.below(level)) is not None]
        return [*own, *self.standing.links]

    def diagram(self, level: int) -> Diagram:
        """Return the diagram of what is less bad than a level. Raises TooEntangledError."""
        if self._stocked.unread:
            raise TooEntangledError(", ".join(sorted(self._stocked.unread)))
        if level in self._entangled:
            raise TooEntangledError(level)
        if level not in self._diagrams:
            try:
                self._diagrams[level] = self.standing.diagram(level, self._joint, self._moved, self.prices.together)
            except TooEntangledError:
                self._entangled.add(level)  # it took long to find out, and comes out no other the next time
                raise
        return self._diagrams[level]

    @property
    def amounts(self) -> list[Amounts]:
        """What several slots cost together."""
        return [*self.standing.prices.together, *self.prices.together]

    def total_minor(self, values: Sequence[int]) -> int:
        """Return the total of an order with a value for each slot, minor units."""
        amount = sum(int(own[value]) for own, value in zip(self.prices.alone, values, strict=True))
        for each in self.amounts:
            at = tuple(codes[values[slot]] for slot, codes in zip(each.slots, each.classes, strict=True))
            amount += int(each.amounts[at])
        return self.prices.total_minor(amount)

    def stands(self, level: int, values: Sequence[int]) -> bool:
        """Whether a complete spec, a value for each slot, is less bad than a level cut from some of its lots."""
        if self.never(level):
            return False
        allow = []
        for slot, value, alive in zip(self.domain.slots, values, self.alive(level), strict=True):
            if slot.read == "part":
                own = slot.values[value]
                same = [(each.leather, each.side) == (own.leather, own.side) for each in slot.values]
                allow.append(np.array(same, dtype=bool) & alive)
            else:
                allow.append((np.arange(len(alive)) == value) & alive)
        return self.diagram(level).feasible(allow)

    @property
    def whole(self) -> bool:
        """Whether all that rules say is read: no leather has more lots than can be looked at."""
        return not self._stocked.unread and not self.domain.limited

    def clauses(self, level: int) -> Clauses:
        """Return the rules as clauses, single values too, to ask which of them are at work. ``fits`` is not in them."""
        with self._lock:
            if level not in self._clauses:
                rows = [
                    Table((row.slot,), (np.arange(len(row.words), dtype=np.intp),), row.words < level, label=row.rule)
                    for row in self.read.rows
                ]
                # A selector for each leather rule, though not all that it says may be known yet.
                named = [Table((), (), np.array(True), label=rule) for rule in self._stocked.rules]  # noqa: FBT003
                named = named if self._stocked.unread else []
                self._clauses[level] = Clauses(self.domain.sizes, [*rows, *self.constraints(level), *named])
                finalize(self, self._clauses[level].close)
            return self._clauses[level]

    def possible(self, level: int, allow: Allowed) -> tuple[bool, Allowed]:
        """Return what may stand by clauses: whether anything does, and each value while the others are as allowed.

        Raises:
            TooEntangledError: not even that can be found out.
        """
        clauses = self.clauses(level)
        if not self._stocked.unread:
            return clauses.possible(allow)
        return Verified(self.domain, clauses, self._stocked, level).possible(allow, self.alive(level))

    def specs(self, level: int) -> Specs:
        """Return the specs of what is less bad than a level, to be counted. Raises TooEntangledError."""
        if level not in self._specs:
            self._specs[level] = Specs(self.domain, self.diagram(level), self.alive(level))
        return self._specs[level]


def _no_more_lots_than_panels(domain: Domain) -> Allowed:
    found = []
    for slot in domain.slots:
        most = domain.panels(slot.part) if slot.read == "part" else 0
        found.append(np.array([slot.read != "part" or len(value.lots) <= most for value in slot.values], dtype=bool))
    return found


def _best_letters(domain: Domain, today: date, members: Sequence[Moving], alive: Allowed) -> dict[int, str]:
    """Return for each value of the monogram the text of which least is said, the first of equals."""
    number = next(number for number, slot in enumerate(domain.slots) if slot.read == "monogram")
    found: dict[int, str] = {}
    for place in np.flatnonzero(alive[number]).tolist():
        best: tuple[int, str] | None = None
        for text in domain.letters[place] if len(domain.letters[place]) > 1 else ():
            case = domain.lettered({place: text}).case({number: place}, today)
            bad = max((_worst(each.member, case) for each in members), default=FREE)
            if best is None or bad < best[0]:
                best = bad, text
            if not bad:
                break
        if best is not None:
            found[place] = best[1]
    return found


def _worst(member: Member, case: Case) -> int:
    return max((badness(found.fired) for found in fired_in(member, case)), default=FREE)


def _and(one: Allowed, other: Allowed) -> Allowed:
    return [a & b for a, b in zip(one, other, strict=True)]


@dataclass
class Guides:
    """What was compiled for one shop, whatever its stock. Threads may share it.

    ``most_arcs``: beyond, a pattern is too entangled to be compiled and is answered without prices.
    """

    most_arcs: int = MOST_ARCS
    standing: Memo[Standing] = field(default_factory=lambda: Memo(MOST_STANDING))
    situations: Memo[Situation] = field(default_factory=lambda: Memo(MOST_SITUATIONS))
    letters: Memo[dict[int, str]] = field(default_factory=lambda: Memo(MOST_SITUATIONS))
    said: Memo[Said] = field(default_factory=lambda: Memo(MOST_SAID))
    grids: Memo[Ways] = field(default_factory=lambda: Memo(MOST_GRIDS))


def guides_of(shop: Shop) -> Guides:
    """Return what was compiled for a shop so far."""
    found: Guides = shop.guides.setdefault("guides", Guides())
    return found


def situation_of(shop: Shop, spec: Spec, today: date) -> Situation:
    """Return what stands between choices for a spec's pattern and facts.

    Raises:
        ValueError: no pattern is known.
        TooEntangledError: a rule reads more than can be looked at.
    """
    guides = guides_of(shop)
    asked = asked_of(spec, shop.piece(spec))
    key = asked, today, shop.stock_revision, shop.backlog_revision, id(shop.catalog)
    return guides.situations.get(key, lambda: _made(shop, spec, today, guides))


def _made(shop: Shop, spec: Spec, today: date, guides: Guides) -> Situation:
    domain = domain_of(shop, spec)
    judges = shop.judges(today)
    standing = guides.standing.get(
        stockless(domain, today), lambda: Standing(domain, judges, today, guides.most_arcs)
    )  # fmt: skip
    return Situation(domain, standing, judges, today, guides)
