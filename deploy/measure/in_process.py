"""Checks in this process: what each kind costs, and how the cost grows with the number of rules."""

from __future__ import annotations

import gc
import json
import random
import statistics
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from api.schemas.spec import SpecIn, to_spec
from measure.report import Figure, median_of
from measure.workshop import BOOK, TODAY, bodies, demo, texts
from rules.book import load_book
from rules.check import check, judge, quick_check
from rules.shop import Shop, shop_of
from rules.spec import Spec
from rules.stock import Warehouse

ROUNDS = 5


def microseconds(work: Callable[[Any], object], items: Sequence[Any]) -> float:
    """Return CPU microseconds an item."""
    begun = time.process_time()
    for item in items:
        work(item)
    return (time.process_time() - begun) / len(items) * 1e6


def kinds(*, quick: bool) -> list[Figure]:
    """Measure checks by kind, each spec seen for the first time unless said."""
    count = 600 if quick else 3_000
    texts_ = bodies(3 * count, seed="in process")
    specs = [to_spec(SpecIn.model_validate_json(text)) for text in texts_]
    shop = demo_anew()
    answers = [json.dumps(check(shop, spec, today=TODAY)) for spec in specs[:count]]
    gc.collect()
    first = microseconds(lambda spec: quick_check(shop, spec, today=TODAY), specs[count : 2 * count])
    again = microseconds(lambda spec: quick_check(shop, spec, today=TODAY), specs[count : 2 * count])
    verdict = microseconds(lambda spec: judge(shop, spec, TODAY), specs[2 * count :])
    through = microseconds(lambda text: json.dumps(json.loads(text)), answers)
    book = median_of(ROUNDS, lambda: microseconds(lambda _: load_book(texts(BOOK), shop.catalog.thresholds), [0]))
    return [
        Figure("reading and writing an answer's JSON, us", f"{through:.0f}"),
        Figure("a passing check, spec not seen before, us", f"{first:.0f}"),
        Figure("the same specs once more, us", f"{again:.0f}"),
        Figure("the verdict alone, specs not seen before, us", f"{verdict:.0f}"),
        Figure("rule book read, compiled, its examples run, ms", f"{book / 1e3:.0f}"),
    ]


def by_number_of_rules(*, quick: bool) -> list[Figure]:
    """Measure passing checks and random verdicts against the number of rules, families mixed."""
    count = 300 if quick else 1_500
    specs = [to_spec(SpecIn.model_validate_json(text)) for text in bodies(2 * count, seed="by rules")]
    found: dict[int, float] = {}
    for rules in (24, 48, 72, 97):
        found[rules] = statistics.median(_with(rules, seed, specs, count) for seed in range(2 if quick else ROUNDS))
    whole = found[97]
    linear = all(found[rules] <= whole * 1.1 for rules in found)
    grows = (found[97] - found[24]) / (97 - 24) <= found[24] / 24
    figures = [Figure(f"a passing check with {rules} rules, us", f"{us:.0f}") for rules, us in found.items()]
    growth = f"{(found[97] - found[24]) / 73:.1f} us a rule"
    return [*figures, Figure("growth from 24 to 97 rules", growth, "linear", linear and grows)]


def _with(rules: int, seed: int, specs: Sequence[Spec], warm_up: int) -> float:
    """Return microseconds a check with some of the rules, chosen at random."""
    shop = demo()
    chosen = set(random.Random(seed).sample(sorted(shop.book.rules), min(rules, len(shop.book.rules))))
    book = replace(shop.book, rules={code: rule for code, rule in shop.book.rules.items() if code in chosen})
    part = shop_of(shop.catalog, book, Warehouse(shop.warehouse.gap_um))
    for spec in specs[:warm_up]:
        check_of(part, spec)
    gc.collect()
    return microseconds(lambda spec: check_of(part, spec), specs[warm_up:])


def check_of(shop: Shop, spec: Spec) -> object:
    """Return the answer to a spec without remedies."""
    return quick_check(shop, spec, today=TODAY)


def demo_anew() -> Shop:
    """Return the demo workshop with nothing kept of any check."""
    shop = demo()
    return shop_of(shop.catalog, shop.book, Warehouse(shop.warehouse.gap_um))
