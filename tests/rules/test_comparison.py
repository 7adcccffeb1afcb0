"""Comparisons of two shops over specs: bulk and single verdicts say the same, and what is counted is what differs."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Any

from rules.brief import brief_of
from rules.check import judge
from rules.comparison import MOST_NAMED, Asked, Comparison, Pair, compare, differs, pairs, worst_by_rule
from rules.sample import sample_specs
from rules.shop import Shop
from rules.spec import Spec

COUNT = 60


def dearer_and_without(shop: Shop, pattern: str) -> Shop:
    """Return the shop with base prices a fifth up and one pattern gone."""
    catalog = shop.catalog
    prices = catalog.price_list
    base = {code: {band: minor * 6 // 5 for band, minor in row.items()} for code, row in prices.base_minor.items()}
    patterns = {code: each for code, each in catalog.patterns.items() if code != pattern}
    return replace(
        shop, catalog=replace(catalog, price_list=replace(prices, base_minor=base), patterns=patterns)
    ).apart()


def asked_of(old: Shop, new: Shop, today: date) -> list[Asked]:
    specs = sample_specs(old.catalog, random.Random("compare"), today, COUNT)
    return [Asked("sample", f"{place}", spec, old, new) for place, spec in enumerate(specs)]


def test_pairs_are_what_single_checks_say_however_many_are_held_at_once(shop: Shop, today: date) -> None:
    old, new = shop.apart(), dearer_and_without(shop, "fob")
    asked = asked_of(old, new, today)
    alone = [
        Pair(each, brief_of(judge(old, each.spec, today)), brief_of(judge(new, each.spec, today))) for each in asked
    ]
    assert list(pairs(asked, today)) == alone
    assert list(pairs(asked, today, chunk=7)) == alone  # too few for the bulk evaluator


def test_what_is_counted_is_what_differs(shop: Shop, today: date) -> None:
    old, new = shop.apart(), dearer_and_without(shop, "fob")
    asked = asked_of(old, new, today)
    found, every = compare(asked, today), list(pairs(asked, today))
    assert found.compared == {"sample": COUNT}
    assert found.changed["sample"] == sum(differs(pair.old, pair.new) for pair in every) > 0
    moved = [pair for pair in every if pair.old.total_minor != pair.new.total_minor]
    assert found.totals.named == moved
    both = [pair for pair in moved if None not in (pair.old.total_minor, pair.new.total_minor)]
    assert len(both) < len(moved)  # the pattern that is gone has no price any more
    assert found.difference_minor == sum((p.new.total_minor or 0) - (p.old.total_minor or 0) for p in both) > 0
    gone = [pair for pair in every if pair.asked.spec.pattern == "fob"]
    assert gone
    for pair in gone:
        assert pair in found.rules["CAT-01"].falls.named
        before = worst_by_rule(pair.old)
        assert all(pair in found.rules[rule].passes.named for rule in before if rule not in worst_by_rule(pair.new))


def test_the_same_shop_differs_in_nothing(shop: Shop, today: date) -> None:
    found = compare(asked_of(shop.apart(), shop.apart(), today), today)
    assert (found.changed, found.rules, found.outcomes, found.totals.count, found.days.count) == ({}, {}, {}, 0, 0)


def test_a_severity_that_changes_and_a_day_that_moves_are_told(
    shop: Shop, today: date, spec_of: Callable[[dict[str, Any]], Spec]
) -> None:
    spec = spec_of({"pattern": "belt"})
    old = brief_of(judge(shop, spec, today))
    rule = old.fired[0][0]
    new = replace(old, fired=((rule, "notice"), *old.fired[1:]), ready_on=today)
    found = Comparison()
    found.add(Pair(Asked("order", "O1", spec, shop, shop, 1), old, new))
    assert found.rules[rule].severities[old.fired[0][1], "notice"].count == 1
    assert found.days.count == 1


def test_cases_beyond_the_bound_are_counted(shop: Shop, today: date, spec_of: Callable[[dict[str, Any]], Spec]) -> None:
    spec = spec_of({"pattern": "belt"})
    old = brief_of(judge(shop, spec, today))
    found = Comparison()
    for place in range(MOST_NAMED + 5):
        found.add(Pair(Asked("check", f"{place}", spec, shop, shop), old, replace(old, ready_on=today)))
    assert (found.days.count, len(found.days.named), found.days.by_source) == (
        MOST_NAMED + 5, MOST_NAMED, {"check": MOST_NAMED + 5},
    )  # fmt: skip
