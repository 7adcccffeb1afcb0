"""What a check costs, measured in one run and printed; nothing here is asserted about time.

Ratios compare runs of the same process: the time of a check with part of the rule book against
the whole, and a check against reading and writing its JSON.
"""

from __future__ import annotations

import json
import os
import platform
import random
import statistics
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

import rules
from catalog.model import Catalog
from rules.book import Book, load_book
from rules.check import check, judge
from rules.layout import Piece, Rect, lay_out
from rules.sample import sample_specs
from rules.shop import Shop, open_shop
from rules.themes import known_good

pytestmark = pytest.mark.bench
TODAY = date(2026, 3, 2)
ROUNDS = 5


@pytest.fixture(scope="module")
def shop(oddlestone: Catalog) -> Shop:
    folder = Path(rules.__file__).parent / "book"
    return open_shop(oddlestone, {path.name: path.read_text(encoding="utf-8") for path in folder.glob("*.yaml")})


def median_us(work: Callable[[], int]) -> float:
    """Median over rounds of microseconds for one unit of work."""
    times = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        units = work()
        times.append((time.perf_counter() - start) / units * 1e6)
    return statistics.median(times)


def say(line: str) -> None:
    print(line, flush=True)


def test_describe_the_machine() -> None:
    python = f"{platform.python_implementation()} {platform.python_version()}"
    say(f"\n{python}, {os.cpu_count()} cores, {platform.machine()}")


def test_cost_of_a_check_by_kind_of_spec(shop: Shop) -> None:
    good = [known_good(pattern) for pattern in shop.catalog.patterns.values()]
    mixed = list(sample_specs(shop.catalog, random.Random(1), TODAY, 400))
    echo = [json.dumps(check(shop, spec, today=TODAY)) for spec in good]

    def json_only() -> int:
        for text in echo * 20:
            json.dumps(json.loads(text))
        return 20 * len(echo)

    base = median_us(json_only)
    rows = {
        "JSON of the answer, read and written": base,
        "passing check": median_us(
            lambda: sum(1 for _ in range(10) for spec in good if check(shop, spec, today=TODAY))
        ),
        "verdict alone, random specs": median_us(lambda: sum(1 for spec in mixed if judge(shop, spec, TODAY))),
        "check with remedies, random specs": median_us(
            lambda: sum(1 for spec in mixed if check(shop, spec, today=TODAY))
        ),
    }
    for name, us in rows.items():
        say(f"{name:40s} {us:9.0f} us   {us / base:6.1f} x JSON")


def test_cost_of_a_verdict_by_number_of_rules(shop: Shop) -> None:
    mixed = list(sample_specs(shop.catalog, random.Random(2), TODAY, 300))
    ids = list(shop.book.rules)
    whole = 0.0
    for count in (97, 72, 48, 24):
        kept = {rule_id: shop.book.rules[rule_id] for rule_id in ids[:: max(1, round(97 / count))][:count]}
        part = replace(shop, book=Book(kept, "", shop.book.thresholds), _judges={})
        us = median_us(lambda part=part: sum(1 for spec in mixed if judge(part, spec, TODAY)))
        whole = whole or us
        say(f"verdict with {len(kept):3d} rules {us:9.0f} us   {us / whole:5.2f} of the whole book")


def test_cost_of_loading(oddlestone: Catalog) -> None:
    folder = Path(rules.__file__).parent / "book"
    files = {path.name: path.read_text(encoding="utf-8") for path in folder.glob("*.yaml")}
    us = median_us(lambda: len([load_book(files, oddlestone.thresholds)]))
    say(f"rule book read, compiled, examples run   {us / 1000:9.0f} ms")


def test_cost_of_a_layout_by_number_of_panels() -> None:
    for count in (2, 6, 12, 24, 60, 200):
        pieces = [Piece(62_000, 107_000, True, count, "slot")]
        side = 1_000 * (100 + 62 * count)
        us = median_us(lambda pieces=pieces, side=side: len([lay_out(pieces, [Rect(side, 240_000)], 3_000)]))
        say(f"layout of {count:3d} like panels               {us:9.0f} us")
