"""A table's verdicts in brief are those of its rows one by one: outcome, headline, rules, total, day and lots."""

from __future__ import annotations

import json
import random
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from api.schemas.spec import SpecIn, to_spec
from catalog.model import Catalog
from rules.assigning import MOST_LINES, MOST_OF_ROW
from rules.brief import Brief, brief_of
from rules.bulk import Bulk, briefs_of
from rules.check import judge
from rules.sample import as_repeat, sample_specs
from rules.sample_more import with_more
from rules.shop import Shop, open_shop
from rules.spec import PartChoice, Spec
from rules.table import tables_of
from rules.themes import known_good

EXAMPLES = Path(__file__).parents[1] / "data" / "example-specs.json"
FEW, MANY = 3_000, 20_000


def drawn(shop: Shop, today: date, seed: str, count: int) -> Iterator[Spec]:
    """Random specs; every eighth repeats an order, every 32nd is of a pattern that nobody has."""
    draw = random.Random(seed)
    for place, spec in enumerate(sample_specs(shop.catalog, draw, today, count)):
        if place % 32 == 5:
            yield replace(spec, pattern="nobody-has-it")
        else:
            yield as_repeat(spec, shop.catalog, draw) if place % 8 == 0 else spec


def alone(shop: Shop, specs: Sequence[Spec], today: date) -> list[Brief]:
    return [brief_of(judge(shop, spec, today)) for spec in specs]


def different(shop: Shop, specs: Sequence[Spec], today: date) -> list[tuple[Spec, Brief, Brief]]:
    together, single = briefs_of(shop, specs, today), alone(shop, specs, today)
    return [each for each in zip(specs, single, together, strict=True) if each[1] != each[2]]


def test_random_specs_have_the_verdicts_that_they_have_alone(shop: Shop, today: date) -> None:
    specs = list(drawn(shop, today, "bulk", FEW))
    assert different(shop, specs, today) == []
    outcomes = Counter(brief.outcome for brief in briefs_of(shop, specs, today))
    assert all(outcomes[outcome] > 0.1 * FEW for outcome in ("buildable", "sign_off", "refused")), outcomes


@pytest.mark.long
def test_very_many_random_specs_have_the_verdicts_that_they_have_alone(shop: Shop, today: date) -> None:
    assert different(shop, list(drawn(shop, today, "very many", MANY)), today) == []


def test_the_examples_have_the_verdicts_that_they_have_alone(shop: Shop, today: date) -> None:
    specs = [to_spec(SpecIn.model_validate(each["spec"])) for each in json.loads(EXAMPLES.read_text("utf-8"))]
    assert len(specs) > 10
    assert different(shop, specs, today) == []


def test_rows_that_say_more_have_the_verdicts_that_they_have_alone(shop: Shop, today: date) -> None:
    draw = random.Random("more")
    specs = [with_more(spec, shop.catalog, draw) for spec in sample_specs(shop.catalog, draw, today, 1_200)]
    assert different(shop, specs, today) == []
    fired = Counter(rule for brief in briefs_of(shop, specs, today) for rule, _ in brief.fired)
    asked = ("CAT-09", "FIT-11", "FIT-13", "FIT-14", "HDW-06", "SID-04")
    assert [rule for rule in asked if fired[rule] < 10] == []


def test_rows_that_rest_on_law_past_its_review_say_so_as_they_do_alone(shop: Shop) -> None:
    late = date(2027, 3, 1)
    specs = list(sample_specs(shop.catalog, random.Random("late"), date(2026, 3, 2), 600))
    assert different(shop, specs, late) == []
    told = [brief.headline for brief in briefs_of(shop, specs, late)]
    assert sum(line.startswith("Law note past its review date") for line in told) > 10
    assert max(map(len, told)) <= 120


def test_rows_that_name_lots_get_them(shop: Shop, today: date) -> None:
    draw = random.Random("named")
    lots = list(shop.catalog.lots.values())
    specs = []
    for spec in sample_specs(shop.catalog, draw, today, 600):
        parts = list(shop.catalog.patterns[spec.pattern].parts)
        part, chosen = draw.choice(parts), draw.sample(lots, 2)
        own = [lot.code.lower() for lot in lots if lot.leather == chosen[0].leather][: draw.randrange(1, 3)]
        named = {part: (*own, *([chosen[1].code, "L-NONE"] if draw.randrange(3) == 0 else []))}
        specs.append(replace(spec, parts={**spec.parts, part: PartChoice(chosen[0].leather)}, lots=named))
    assert different(shop, specs, today) == []
    cut = [set(brief.lots.get(part, ())) for spec in specs for part, brief in _judged(shop, spec, today)]
    assert any(len(lots) == 2 for lots in cut)


def _judged(shop: Shop, spec: Spec, today: date) -> Iterator[tuple[str, Brief]]:
    for part in spec.lots:
        yield part, brief_of(judge(shop, spec, today))


@pytest.mark.parametrize("size", [1, 7, 64, 500])
def test_tables_of_any_size_come_out_alike(shop: Shop, today: date, size: int) -> None:
    specs = [spec for spec in drawn(shop, today, "sizes", 500) if spec.pattern != "nobody-has-it"]
    bulk = Bulk(shop, today)
    found: list[Brief] = []
    for begun in range(0, len(specs), size):
        some = specs[begun : begun + size]
        own: dict[int, Brief] = {}
        for table, places in tables_of(some, shop.indexes)[0]:
            briefs = bulk.briefs(table)
            own.update((place, briefs.brief(row)) for row, place in enumerate(places.tolist()))
        found += [own[place] for place in range(len(some))]
    assert found == briefs_of(shop, specs, today)


def test_more_assignments_than_are_looked_at_at_once_make_no_difference(shop: Shop, today: date) -> None:
    draw = random.Random("lines")
    several = [code for code in shop.catalog.leathers if len(shop.catalog.lots_of(code)) > 1]
    base = next(spec for spec in sample_specs(shop.catalog, draw, today, 100) if spec.pattern == "twofold")
    specs = [
        replace(base, parts={part: PartChoice(draw.choice(several)) for part in base.parts}, quantity=1 + place % 900)
        for place in range(300)
    ]
    times = 1 + MOST_LINES // (8 * len(specs))
    again = briefs_of(shop, specs * times, today)
    assert again == alone(shop, specs, today) * times


def test_rows_with_very_many_assignments_are_searched_as_one_is(
    oddlestone: Catalog, book_files: dict[str, str], today: date
) -> None:
    base = known_good(oddlestone.patterns["twofold"])
    own = [lot for part in base.parts.values() for lot in oddlestone.lots_of(str(part.leather))]
    copies = [replace(lot, code=f"{lot.code}-{place}", key="") for lot in own for place in range(9)]
    shop = open_shop(replace(oddlestone, lots={**oddlestone.lots, **{lot.code: lot for lot in copies}}), book_files)
    assert len(shop.catalog.lots_of(str(base.parts["outside"].leather))) ** 3 > MOST_OF_ROW
    specs = [replace(base, edge=code) for code in shop.catalog.edges]
    found = [spec for spec in specs if judge(shop, spec, today).outcome != "refused"]  # or sets of lots compete too
    assert len(found) > 1
    assert different(shop, found, today) == []


def test_no_rows_have_no_verdicts(shop: Shop, today: date) -> None:
    assert briefs_of(shop, [], today) == []
