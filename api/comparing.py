"""Two sets of files compared over what the store holds, and the result as JSON."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import chain
from typing import Any, Final

from api.desk.comparing import Gathering, Sides
from api.figures import money
from api.house import House
from api.visibility import OWNER_RULES, Caller
from rules.brief import Brief
from rules.check import judge
from rules.comparison import Asked, Cases, Comparison, OfRule, Pair, compare
from rules.shop import Shop
from rules.spec import Spec

#: Random specs, unless told otherwise, and at most.
SAMPLE: Final = 2_000
MOST_SAMPLE: Final = 20_000
#: Cases under each heading of a rule that are told with the words of the finding.
_MOST_WORDED: Final = 20
OPEN_RECORDS: Final = ("quote", "order")


@dataclass(frozen=True, slots=True)
class Compared:
    """What came of a comparison: the two shops over the present stock, and what could not be compared."""

    old: Shop
    new: Shop
    today: date
    found: Comparison
    left_out: Mapping[tuple[str, str], int]


def compared_in(
    house: House,
    old: Shop,
    new: Shop,
    *,
    sample: int = SAMPLE,
    specs: Mapping[str, Spec] | None = None,
    who: Caller = Caller.OWNER,
) -> Compared:
    """Compare shops of files over examples, stored checks, open quotes, open orders and a sample; takes seconds.

    Rules that the caller may not see are neither told nor counted: by a count alone a margin could be found out.
    """
    house.log.flush()
    today = house.clock.today()
    with house.store.read() as connection:
        gathering = Gathering(house, connection, Sides.in_store(house, connection, old, new))
        kept = [
            *gathering.named(specs or {}), *gathering.patterns(), *gathering.checks(), *gathering.quotes(),
            *gathering.orders(),
        ]  # fmt: skip
    # Nothing is read from here on: judging may take longer than a database lets a reader think.
    return _compared(gathering, chain(kept, gathering.sample(sample, today)), today, hidden_from(who))


def affected_in(house: House, old: Shop, new: Shop) -> Compared:
    """Compare shops of files over open quotes and open orders alone."""
    with house.store.read() as connection:
        gathering = Gathering(house, connection, Sides.in_store(house, connection, old, new))
        kept = [*gathering.quotes(), *gathering.orders()]
    return _compared(gathering, kept, house.clock.today(), frozenset())


def hidden_from(who: Caller) -> frozenset[str]:
    """Return the rules that a caller may not know of."""
    return frozenset() if who >= Caller.OWNER else OWNER_RULES


def _compared(gathering: Gathering, asked: Iterable[Asked], today: date, hidden: frozenset[str]) -> Compared:
    found = compare(asked, today, hidden)
    sides = gathering.sides
    return Compared(sides.old.shop, sides.new.shop, today, found, dict(gathering.left_out))


def comparison_json(compared: Compared, who: Caller) -> dict[str, Any]:
    """Return a comparison as JSON; rules that only the owner sees are left out for others."""
    found = compared.found
    hidden = hidden_from(who)
    tell = _Telling(compared)
    before, now = (set(shop.book.rules) - hidden for shop in (compared.old, compared.new))
    return {
        "as_of": compared.today.isoformat(),
        "old": _side(compared.old),
        "new": _side(compared.new),
        "compared": dict(sorted(found.compared.items())),
        "changed": dict(sorted(found.changed.items())),
        "not_compared": [
            {"source": source, "why": why, "count": count} for (source, why), count in sorted(compared.left_out.items())
        ],
        "outcomes": [
            {"old": old, "new": new, **tell.cases(cases)} for (old, new), cases in sorted(found.outcomes.items())
        ],
        "rules": [tell.rule(rule, of) for rule, of in sorted(found.rules.items()) if rule not in hidden],
        "rules_added": sorted(now - before),
        "rules_dropped": sorted(before - now),
        "totals": {
            "currency": compared.new.catalog.workshop.currency,
            "difference": tell.money(found.difference_minor),
            **tell.cases(found.totals, tell.total),
        },
        "ready_on": tell.cases(found.days, _days),
    }


def _side(shop: Shop) -> dict[str, Any]:
    return {"edition": shop.edition, "content_hash": shop.catalog.content_hash, "revisions": shop.revisions}


class _Telling:
    """Puts cases into JSON."""

    def __init__(self, compared: Compared) -> None:
        self._today = compared.today
        self._digits = compared.new.catalog.workshop.minor_digits

    def money(self, minor: int | None) -> str | None:
        return None if minor is None else money(minor, self._digits)

    def cases(self, cases: Cases, more: Any = None) -> dict[str, Any]:
        """Return how many there are, how many of each source, and those that are named."""
        return {
            "count": cases.count,
            "by_source": dict(sorted(cases.by_source.items())),
            "cases": [{**_case(pair), **(more(pair) if more else {})} for pair in cases.named],
        }

    def rule(self, rule: str, of: OfRule) -> dict[str, Any]:
        return {
            "rule": rule,
            "newly_falls": self._worded(rule, of.falls, under_new=True),
            "newly_passes": self._worded(rule, of.passes, under_new=False),
            "severity_changes": [
                {"old": old, "new": new, **self._worded(rule, cases, under_new=True)}
                for (old, new), cases in sorted(of.severities.items())
            ],
        }

    def _worded(self, rule: str, cases: Cases, *, under_new: bool) -> dict[str, Any]:
        """Return cases, the first of them with what the rule says of them under the shop in which it fires."""
        found = self.cases(cases)
        for case, pair in zip(found["cases"][:_MOST_WORDED], cases.named, strict=False):
            shop = pair.asked.new if under_new else pair.asked.old
            case.update(next(self._words(shop, pair.asked.spec, rule), {}))
        return found

    def _words(self, shop: Shop, spec: Spec, rule: str) -> Iterator[dict[str, Any]]:
        for finding in judge(shop, spec, self._today).findings:
            if finding.rule == rule:
                told = finding.as_json([])
                yield {"says": told["bench_message"], **{name: told[name] for name in ("measured", "limit", "unit")}}

    def total(self, pair: Pair) -> dict[str, Any]:
        old, new = pair.old.total_minor, pair.new.total_minor
        difference = None if old is None or new is None else new - old
        return {
            "old_total": self.money(old), "new_total": self.money(new), "difference": self.money(difference),
        }  # fmt: skip


def _case(pair: Pair) -> dict[str, Any]:
    asked = pair.asked
    return {
        "source": asked.source,
        "ref": asked.ref,
        "item": asked.item,
        "pattern": asked.spec.pattern,
        "old_outcome": pair.old.outcome,
        "new_outcome": pair.new.outcome,
    }


def _days(pair: Pair) -> dict[str, Any]:
    return {"old_ready_on": _day(pair.old), "new_ready_on": _day(pair.new)}


def _day(brief: Brief) -> str | None:
    return None if brief.ready_on is None else brief.ready_on.isoformat()
