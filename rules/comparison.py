"""Two shops compared: what falls, passes, changes severity, costs otherwise or is ready on another day under the other.

Whatever is asked of both shops is judged by each as a single check of it would be; many specs of one pair of
shops go through the bulk evaluator, which comes to the same (:mod:`rules.bulk`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Final

from rules.brief import Brief, brief_of
from rules.bulk import briefs_of
from rules.check import judge
from rules.ir import SEVERITIES, Severity
from rules.shop import Shop
from rules.spec import Spec

#: Cases that are named one by one under each heading; beyond that they are counted.
MOST_NAMED: Final = 200
#: From so many specs of one pair of shops on the bulk evaluator is worth its tables.
_LEAST_IN_BULK: Final = 8
#: Specs that are held at once.
_CHUNK: Final = 2_000


@dataclass(frozen=True, slots=True)
class Asked:
    """One spec that both shops are asked about.

    ``source`` is where it comes from, ``ref`` how it is called there; ``item`` counts within a quote or an order.
    The shops differ in files; their stock is the same but for what each of them lacks.
    """

    source: str
    ref: str
    spec: Spec
    old: Shop
    new: Shop
    item: int | None = None


@dataclass(frozen=True, slots=True)
class Pair:
    """What both shops say of a spec."""

    asked: Asked
    old: Brief
    new: Brief


@dataclass
class Cases:
    """Cases under one heading: all counted, by source too, and the first of them kept."""

    count: int = 0
    by_source: Counter[str] = field(default_factory=Counter)
    named: list[Pair] = field(default_factory=list)

    def add(self, pair: Pair) -> None:
        """Take one more."""
        self.count += 1
        self.by_source[pair.asked.source] += 1
        if len(self.named) < MOST_NAMED:
            self.named.append(pair)


@dataclass
class OfRule:
    """What changes by one rule. ``severities``: where it fires under both, but otherwise: by old and new severity."""

    falls: Cases = field(default_factory=Cases)
    passes: Cases = field(default_factory=Cases)
    severities: dict[tuple[Severity, Severity], Cases] = field(default_factory=dict)


@dataclass
class Comparison:
    """What two shops say otherwise of specs. Orders, quotes and the like are told apart by their source.

    ``outcomes``: by old and new outcome, where they differ. ``difference_minor`` sums up the totals that move where
    both have one.
    """

    compared: Counter[str] = field(default_factory=Counter)
    changed: Counter[str] = field(default_factory=Counter)
    outcomes: dict[tuple[str, str], Cases] = field(default_factory=dict)
    rules: dict[str, OfRule] = field(default_factory=dict)
    totals: Cases = field(default_factory=Cases)
    difference_minor: int = 0
    days: Cases = field(default_factory=Cases)

    def add(self, pair: Pair) -> None:
        """Take what both shops say of one spec."""
        source, old, new = pair.asked.source, pair.old, pair.new
        self.compared[source] += 1
        if differs(old, new):
            self.changed[source] += 1
        if old.outcome != new.outcome:
            self.outcomes.setdefault((old.outcome, new.outcome), Cases()).add(pair)
        if old.fired != new.fired:
            self._by_rule(pair)
        if old.total_minor != new.total_minor:
            self.totals.add(pair)
            if old.total_minor is not None and new.total_minor is not None:
                self.difference_minor += new.total_minor - old.total_minor
        if old.ready_on != new.ready_on:
            self.days.add(pair)

    def _by_rule(self, pair: Pair) -> None:
        before, now = worst_by_rule(pair.old), worst_by_rule(pair.new)
        for rule in sorted({*before, *now}):
            was, is_now = before.get(rule), now.get(rule)
            if was == is_now:
                continue
            own = self.rules.setdefault(rule, OfRule())
            if was is None:
                own.falls.add(pair)
            elif is_now is None:
                own.passes.add(pair)
            else:
                own.severities.setdefault((was, is_now), Cases()).add(pair)


def worst_by_rule(brief: Brief) -> Mapping[str, Severity]:
    """Return the rules that fired, each with the worst of its severities."""
    found: dict[str, Severity] = {}
    for rule, severity in sorted(brief.fired, key=lambda each: SEVERITIES.index(each[1])):
        found.setdefault(rule, severity)
    return found


def differs(old: Brief, new: Brief) -> bool:
    """Whether two verdicts differ in outcome, in what fired, in the total or in the day; lots alone do not count."""
    return (old.outcome, old.fired, old.total_minor, old.ready_on) != (
        new.outcome, new.fired, new.total_minor, new.ready_on,
    )  # fmt: skip


def compare(asked: Iterable[Asked], today: date, hidden: AbstractSet[str] = frozenset()) -> Comparison:
    """Return what the shops say otherwise; each spec counts once.

    ``hidden`` are rules that whoever asks may not know of: nothing of theirs is told, nor counted.
    """
    found = Comparison()
    for pair in pairs(asked, today):
        found.add(replace(pair, old=_without(pair.old, hidden), new=_without(pair.new, hidden)) if hidden else pair)
    return found


def _without(brief: Brief, hidden: AbstractSet[str]) -> Brief:
    return replace(brief, fired=tuple(each for each in brief.fired if each[0] not in hidden))


def pairs(asked: Iterable[Asked], today: date, chunk: int = _CHUNK) -> Iterator[Pair]:
    """Give what both shops say of each spec, in the order asked; ``chunk`` specs are held at once at most."""
    held: list[Asked] = []
    for each in asked:
        held.append(each)
        if len(held) == chunk:
            yield from _paired(held, today)
            held = []
    yield from _paired(held, today)


def _paired(asked: Sequence[Asked], today: date) -> Iterator[Pair]:
    old = _briefs([(each.old, each.spec) for each in asked], today)
    new = _briefs([(each.new, each.spec) for each in asked], today)
    for each, before, now in zip(asked, old, new, strict=True):
        yield Pair(each, before, now)


def _briefs(asked: Sequence[tuple[Shop, Spec]], today: date) -> list[Brief]:
    """Return verdicts in brief; those of one shop are judged together where there are enough of them."""
    places: dict[int, list[int]] = {}
    for place, (shop, _) in enumerate(asked):
        places.setdefault(id(shop), []).append(place)
    found: dict[int, Brief] = {}
    for own in places.values():
        shop = asked[own[0]][0]
        specs = [asked[place][1] for place in own]
        if len(own) < _LEAST_IN_BULK:
            briefs = [brief_of(judge(shop, spec, today)) for spec in specs]
        else:
            briefs = briefs_of(shop, specs, today)
        found.update(zip(own, briefs, strict=True))
    return [found[place] for place in range(len(asked))]
