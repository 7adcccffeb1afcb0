"""Checks in this process: what each kind costs, and how the cost grows with the number of rules."""

from __future__ import annotations

import gc
import json
import random
import statistics
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import islice
from typing import Any

from api.schemas.spec import SpecIn, to_spec
from measure.report import Figure, median_of
from measure.workshop import BOOK, TODAY, bodies, demo, drawn, texts
from rules.book import load_book
from rules.check import check, judge
from rules.layout import Piece, Rect, lay_out
from rules.shop import Shop, shop_of
from rules.spec import Spec

ROUNDS = 5


def microseconds(work: Callable[[Any], object], items: Sequence[Any]) -> float:
    """Return CPU microseconds an item."""
    begun = time.process_time()
    for item in items:
        work(item)
    return (time.process_time() - begun) / len(items) * 1e6


def kinds(*, quick: bool) -> list[Figure]:
    """Measure checks by kind, each spec seen for the first time unless said."""
    count = 200 if quick else 3_000
    specs = passing(2 * count)
    mixed = list(islice(drawn("in process"), 100 if quick else 1_000))
    shop = demo_anew()
    answers = [json.dumps(check(shop, spec, today=TODAY)) for spec in specs[:count]]
    gc.collect()
    through = microseconds(lambda text: json.dumps(json.loads(text)), answers)
    first = microseconds(lambda spec: check(shop, spec, today=TODAY), specs[count:])
    again = microseconds(lambda spec: check(shop, spec, today=TODAY), specs[count:])
    half = len(mixed) // 2
    verdict = microseconds(lambda spec: judge(shop, spec, TODAY), mixed[:half])
    remedies = microseconds(lambda spec: check(shop, spec, today=TODAY), mixed[half:])
    book = median_of(ROUNDS, lambda: microseconds(lambda _: load_book(texts(BOOK), shop.catalog.thresholds), [0]))
    figures = {
        "reading and writing an answer's JSON": through,
        "a passing check, spec not seen before": first,
        "the same specs once more": again,
        "the verdict alone, random specs not seen before": verdict,
        "a check with remedies, random specs not seen before": remedies,
        "rule book read, compiled, its examples run": book,
        **{f"layout of {panels} like panels": _layout(panels) for panels in (2, 6, 12, 24, 60, 200)},
    }
    return [Figure(f"{what}, us", f"{us:.0f}   {us / through:6.1f} x JSON") for what, us in figures.items()]


def _layout(panels: int) -> float:
    """Return microseconds for laying out like panels in one rectangle that holds them."""
    pieces = [Piece(62_000, 107_000, True, panels, "slot")]  # noqa: FBT003 -- a panel that may be turned
    side = 1_000 * (100 + 62 * panels)
    return median_of(ROUNDS, lambda: microseconds(lambda _: lay_out(pieces, [Rect(side, 240_000)], 3_000), [0]))


def by_number_of_rules(*, quick: bool) -> list[Figure]:
    """Measure passing checks against the number of rules, families mixed."""
    half, rounds = (120, 2) if quick else (1_500, ROUNDS)
    specs = passing(2 * half)
    whole = len(_of_a_check(demo()))
    counts = [whole * quarters // 4 for quarters in (1, 2, 3, 4)]
    taken: dict[int, list[float]] = {count: [] for count in counts}
    for seed in range(rounds):
        for count, own in taken.items():  # interleaved: what else the machine does falls on all of them
            own.append(_with(count, seed, specs, half))
    found = {count: statistics.median(own) for count, own in taken.items()}
    # No worse than linear: the time grows by no larger a factor than the number of rules.
    linear = found[whole] / found[counts[0]] <= whole / counts[0]
    growth = f"{(found[whole] - found[counts[0]]) / (whole - counts[0]):.1f} us a rule"
    return [
        *(
            Figure(f"a passing check with {count} rules, us", f"{us:.0f}   {us / found[whole]:.2f} of all")
            for count, us in found.items()
        ),
        Figure(f"growth from {counts[0]} to {whole} rules", growth, "linear", linear),
    ]


def _of_a_check(shop: Shop) -> list[str]:
    """Return the ids of the rules that a check judges."""
    return sorted(rule.id for rule in shop.book.rules.values() if "check" in rule.stages)


def _with(rules: int, seed: int, specs: Sequence[Spec], warm_up: int) -> float:
    """Return microseconds a check with some of the rules, chosen at random."""
    shop = demo()
    chosen = set(random.Random(seed).sample(_of_a_check(shop), rules))
    book = replace(shop.book, rules={code: rule for code, rule in shop.book.rules.items() if code in chosen})
    part = shop_of(shop.catalog, book)
    for spec in specs[:warm_up]:
        check(part, spec, today=TODAY)
    gc.collect()
    return microseconds(lambda spec: check(part, spec, today=TODAY), specs[warm_up:])


def passing(count: int) -> list[Spec]:
    """Return that many different random specs that come out buildable."""
    return [to_spec(SpecIn.model_validate_json(body)) for body in bodies(count)]


def demo_anew() -> Shop:
    """Return the demo workshop with nothing kept of any check."""
    shop = demo()
    return shop_of(shop.catalog, shop.book)
