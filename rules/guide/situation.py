"""All that stands between choices in one shop on one day: the rules over a domain, compiled.

What follows from the pattern and the catalog alone is worked out once and kept (:class:`Standing`); what hangs on the
order's own facts (what it carries, how many, where it goes) or on the stock is added to it at request time
(:class:`Situation`). Both are compiled twice: without what the maker must agree to, and with it.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from threading import Lock
from typing import Any, Final
from weakref import finalize

import numpy as np

from rules.cells import Frame, Member
from rules.diagram.clauses import Clauses
from rules.diagram.constraint import Allowed, Constraint, Table
from rules.diagram.diagram import Diagram, compile_diagram
from rules.evaluate import Judges
from rules.facets import EMPTY, OF_PIECE, Facet, Names
from rules.guide.amounts import Prices
from rules.guide.counts import Specs
from rules.guide.domain import Domain, domain_of
from rules.guide.judged import ASKS, FREE, REFUSES, Judged, Row, badness
from rules.guide.reading import Reader, fired_in
from rules.guide.stocked import SHARED, Said, Stocked
from rules.ir import Rule, names_in
from rules.memo import Memo
from rules.shop import Shop
from rules.spec import Spec
from rules.vocabulary import TERMS

#: What is left where what is at least so bad is left out.
LEVELS: Final = {"open": ASKS, "sign_off": REFUSES}
#: Arcs of a diagram beyond which a pattern is too entangled to be compiled.
MOST_ARCS: Final = 8_000_000
#: Ways of taking lots, and situations, that are remembered.
MOST_SAID: Final = 200_000
MOST_STANDING: Final = 64
MOST_SITUATIONS: Final = 64


@dataclass
class Guides:
    """What was compiled for one shop, whatever its stock. Threads may share it."""

    standing: Memo[Standing] = field(default_factory=lambda: Memo(MOST_STANDING))
    situations: Memo[Situation] = field(default_factory=lambda: Memo(MOST_SITUATIONS))
    said: Memo[Said] = field(default_factory=lambda: Memo(MOST_SAID))


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


class Standing:
    """What the pattern and the catalog alone say, compiled."""

    def __init__(self, domain: Domain, frame: Frame, judges: Judges, today: date) -> None:
        self.frame = frame
        members = [member for member in frame.members if member.subject.name not in SHARED]
        numbers = domain.numbers()
        static = [(member, rules) for member in members if (rules := _static(member, numbers))]
        self.read = read_rules(domain, judges, today, static, None)
        self.links = domain.links()
        self.prices = Prices(domain, static=True)
        self._diagrams: dict[int, Diagram] = {}
        self._sizes = domain.sizes

    def diagram(self, level: int) -> Diagram:
        """Return the diagram of what is less bad than a level. Raises TooEntangledError."""
        if level not in self._diagrams:
            constraints = [each for own in self.read.judged if (each := own.below(level)) is not None]
            allow = self.read.alive(level, self._sizes)
            self._diagrams[level] = compile_diagram(
                self._sizes, [*constraints, *self.links, *self.prices.together], allow=allow, most_arcs=MOST_ARCS
            )
        return self._diagrams[level]


def _static(member: Member, numbers: Mapping[Facet, Any]) -> tuple[Rule, ...]:
    """Return the rules of a member that hang on nothing but slots."""
    if any(facet not in numbers for facet in member.facets) or ("letters", "") in member.facets:
        return ()
    return tuple(rule for rule in member.rules if not _reads_stock(rule))


def _reads_stock(rule: Rule) -> bool:
    return any("stock" in TERMS[name].reads for name in names_in(rule) if not name.startswith("threshold."))


def read_rules(
    domain: Domain, judges: Judges, today: date, members: Iterable[tuple[Member, tuple[Rule, ...]]],
    before: Allowed | None,
) -> Read:  # fmt: skip
    """Read rules of members over a domain. ``before``: the values that are still asked about."""
    alive = [np.ones(size, dtype=bool) for size in domain.sizes] if before is None else before
    members = list(members)
    reader = Reader(domain, judges, today, alive)
    always: dict[str, int] = {}
    rows: list[Row] = []
    several: list[tuple[Member, Rule]] = []
    for member, rules in members:
        if _never_listed(member, domain, reader):
            continue
        ids = {rule.id for rule in rules}
        slots = reader.slots_of(member.facets)
        if not slots:
            always |= {rule: bad for rule, bad in reader.always(member).items() if rule in ids and bad}
        elif len(slots) == 1:
            rows += [row for row in reader.alone(member, slots[0], member.facets) if row.rule in ids]
        else:
            several += [(member, rule) for rule in rules]
    own = Read({}, rows, ()).alive(REFUSES, domain.sizes)
    reader.alive = [one & other for one, other in zip(alive, own, strict=True)]
    judged: list[Judged] = []
    for member, rule in several:
        for each in reader.together(member, rule):
            if isinstance(each, Row):
                rows.append(each)
            else:
                judged.append(each)
    return Read(always, rows, judged)


def _never_listed(member: Member, domain: Domain, reader: Reader) -> bool:
    """Whether what a member is judged over is only there with something that the order does not have."""
    what = member.lister.only_with
    if not what or (what, "") in domain.numbers():
        return False
    return OF_PIECE[what](reader.case({}).piece) == EMPTY[what]


class Situation:
    """What an order's own facts and the stock add, and the diagrams with all of it."""

    def __init__(self, domain: Domain, standing: Standing, judges: Judges, today: date, said: Memo[Said]) -> None:
        self.standing = standing
        self.judges = judges
        self.today = today
        self.told: dict[Any, Any] = {}
        numbers = domain.numbers()
        moving = [
            (member, rules)
            for member in standing.frame.members
            if member.subject.name not in SHARED and (rules := _moving(member, numbers))
        ]
        alive = standing.read.alive(REFUSES, domain.sizes)
        #: What is left where a part has no more lots than panels; no rule says so.
        self.fits = _no_more_lots_than_panels(domain)
        alive = _and(alive, self.fits)
        lettering = [each for each in moving if _lettering(each[0], numbers)]
        domain = domain.lettered(_best_letters(domain, judges, today, lettering, alive))
        self.domain = domain
        stocked = Stocked(domain, judges, today, said)
        rows = [*standing.read.rows, *stocked.alone(alive)]
        alive = _and(alive, Read({}, rows, ()).alive(REFUSES, domain.sizes))
        moved = read_rules(domain, judges, today, moving, alive)
        rows += moved.rows
        alive = _and(alive, Read({}, rows, ()).alive(REFUSES, domain.sizes))
        joint = stocked.together(alive)
        self.moving: list[Judged] = [*moved.judged, *joint]
        self.read = Read(
            {**standing.read.always, **moved.always}, rows, (*standing.read.judged, *self.moving)
        )  # fmt: skip
        self.prices = Prices(domain, static=False)
        self._diagrams: dict[int, Diagram] = {}
        self._alive: dict[int, Allowed] = {}
        self._specs: dict[int, Specs] = {}
        self._clauses: dict[int, Clauses] = {}
        self._lock = Lock()

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
        if level not in self._diagrams:
            standing = self.standing.diagram(level)
            added: list[Constraint] = [each for own in self.moving if (each := own.below(level)) is not None]
            added += self.prices.together
            found = standing.conjoined(added, allow=self.alive(level), most_arcs=MOST_ARCS) if added else standing
            self._diagrams[level] = found
        return self._diagrams[level]

    def clauses(self, level: int) -> Clauses:
        """Return the rules as clauses, single values too, to ask which of them are at work. ``fits`` is not in them."""
        with self._lock:
            if level not in self._clauses:
                rows = [
                    Table((row.slot,), (np.arange(len(row.words), dtype=np.intp),), row.words < level, label=row.rule)
                    for row in self.read.rows
                ]
                self._clauses[level] = Clauses(self.domain.sizes, [*rows, *self.constraints(level)])
                finalize(self, self._clauses[level].close)
            return self._clauses[level]

    def specs(self, level: int) -> Specs:
        """Return the specs of what is less bad than a level, to be counted. Raises TooEntangledError."""
        if level not in self._specs:
            self._specs[level] = Specs(self.domain, self.diagram(level), self.alive(level))
        return self._specs[level]


def _moving(member: Member, numbers: Mapping[Facet, Any]) -> tuple[Rule, ...]:
    own = {rule.id for rule in _static(member, numbers)}
    return tuple(rule for rule in member.rules if rule.id not in own)


def _lettering(member: Member, numbers: Mapping[Facet, Any]) -> bool:
    """Whether a member reads the letters of a monogram, and no slot beside it."""
    slots = {numbers[facet] for facet in member.facets if facet in numbers}
    return ("letters", "") in member.facets and len(slots) == 1


def _no_more_lots_than_panels(domain: Domain) -> Allowed:
    found = []
    for slot in domain.slots:
        most = domain.panels(slot.part) if slot.read == "part" else 0
        found.append(np.array([slot.read != "part" or len(value.lots) <= most for value in slot.values], dtype=bool))
    return found


def _best_letters(
    domain: Domain, judges: Judges, today: date, members: Sequence[tuple[Member, tuple[Rule, ...]]], alive: Allowed
) -> dict[int, str]:  # fmt: skip
    """Return for each value of the monogram the text of which least is said, the first of equals."""
    number = next(number for number, slot in enumerate(domain.slots) if slot.read == "monogram")
    several = [place for place in np.flatnonzero(alive[number]).tolist() if len(domain.letters[place]) > 1]
    found: dict[int, str] = {}
    for place in several:
        best: tuple[int, str] | None = None
        for text in domain.letters[place]:
            case = domain.lettered({place: text}).case({number: place}, today)
            bad = max((_worst(member, case) for member, _ in members), default=FREE)
            if best is None or bad < best[0]:
                best = bad, text
            if not bad:
                break
        if best is not None:
            found[place] = best[1]
    return found


def _worst(member: Member, case: Any) -> int:
    return max((badness(found.fired) for found in fired_in(member, case)), default=FREE)


def _and(one: Allowed, other: Allowed) -> Allowed:
    return [a & b for a, b in zip(one, other, strict=True)]


def situation_of(shop: Shop, spec: Spec, today: date) -> Situation:
    """Return what stands between choices for a spec's pattern and facts. Raises ValueError where no pattern is known.

    Raises:
        TooManySetsError: a leather has too many lots.
        TooEntangledError: a rule reads more than can be looked at.
    """
    guides: Guides = shop.guides.setdefault("guides", Guides())
    domain = domain_of(shop, spec)
    judges = shop.judges(today)
    key = _key_of(domain, today)
    standing = guides.standing.get(key, lambda: Standing(domain, _frame(domain, judges, today), judges, today))
    moving = (key, shop.stock_revision, shop.backlog_revision, id(shop.catalog), _facts(domain))
    return guides.situations.get(moving, lambda: Situation(domain, standing, judges, today, guides.said))


def _frame(domain: Domain, judges: Judges, today: date) -> Frame:
    """Return the members of a pattern whose parts are all of different leathers."""
    apart = tuple(range(len(domain.pattern.parts)))
    return Frame(domain.case({}, today), apart, judges.tables, Names(), judges.sorter)


def _key_of(domain: Domain, today: date) -> Hashable:
    """Return all that a standing follows from beside the shop's files."""
    catalog = domain.shop.catalog
    slots = tuple((slot.read, slot.part, tuple(map(_stockless, slot.values))) for slot in domain.slots)
    status = tuple(
        noun.status for nouns in (catalog.leathers, catalog.threads, catalog.edges) for noun in nouns.values()
    )
    return domain.pattern.code, today, slots, status


def _stockless(value: Any) -> Hashable:
    lots = getattr(value, "lots", None)
    if lots is None:
        return value  # type: ignore[no-any-return]
    own = tuple(
        (lot.code, lot.form, lot.thickness, lot.drift_milli, lot.stamp_legible, lot.grade, lot.care) for lot in lots
    )
    return value.leather, value.side, own


def _facts(domain: Domain) -> Hashable:
    """Return what an order says beside its choices, as far as a rule may read it."""
    base = domain.base
    return (
        base.carry, base.purpose, base.quantity, base.ship_to, base.rush, base.ready_by, base.repeats,
        base.catalog_revision, base.marks_ok, base.mixed_metals_ok, base.noted, domain.letters,
    )  # fmt: skip
