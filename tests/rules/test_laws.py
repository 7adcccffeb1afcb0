"""Laws that the verdict keeps whatever the spec: tried on random specs of a fixed seed each."""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from catalog.model import Catalog, FreeRectangle, Lot, Pattern, Span
from rules.check import check, judge
from rules.evaluate import OUTCOMES
from rules.ir import SEVERITIES
from rules.layout import EXACT_UP_TO
from rules.sample import sample_spec
from rules.shop import Shop, shop_of
from rules.spec import PartChoice, Spec
from rules.themes import known_good, pick

SEEDS = range(8)
EACH = 40
STACKS = ("STK-01", "STK-02", "STK-03", "STK-04", "STK-07")
FOLDS = ("FLD-01", "FLD-02", "FLD-03")


def over(shop: Shop, catalog: Catalog) -> Shop:
    """The same rules over other facts."""
    return shop_of(catalog, shop.book)


def place(shop: Shop, spec: Spec, today: date) -> int:
    return OUTCOMES.index(judge(shop, spec, today).outcome)


def worst(shop: Shop, spec: Spec, rules: tuple[str, ...], today: date) -> int:
    """How bad the worst finding of these rules is, 0 the worst."""
    found = [each for each in judge(shop, spec, today).findings if each.rule in rules]
    return min((SEVERITIES.index(each.severity) for each in found), default=len(SEVERITIES))


def in_exact_range(shop: Shop, spec: Spec) -> bool:
    pattern = shop.indexes.patterns.find(spec.pattern)
    return pattern is not None and sum(panel.count for panel in pattern.panels.values()) * spec.quantity <= EXACT_UP_TO


@pytest.mark.parametrize("pattern", ["twofold", "longfold", "upright", "gusset", "sleeve", "passcover", "clipfold",
                                     "sheath", "fob", "wstrap", "belt", "lead"])  # fmt: skip
def test_the_defaults_of_a_pattern_are_buildable(pattern: str, shop: Shop, today: date) -> None:
    answer = check(shop, known_good(shop.catalog.patterns[pattern]), today=today)
    assert (answer["outcome"], answer["complete"]) == ("buildable", True)


def test_every_pattern_is_among_those_tried(shop: Shop) -> None:
    assert len(shop.catalog.patterns) == 12


@pytest.mark.parametrize("seed", SEEDS)
def test_one_more_lot_never_worsens_the_outcome(seed: int, shop: Shop, today: date) -> None:
    draw = random.Random(f"more lots {seed}")
    tried = 0
    for _ in range(EACH):
        spec = sample_spec(shop.catalog, draw, today)
        if not in_exact_range(shop, spec):
            continue
        twin = pick(draw, list(shop.catalog.lots.values()))
        thickness = twin.thickness.max_um - 100 + 50 * draw.randrange(5)
        more = replace(
            twin, code="L999", grade=pick(draw, ("A", "B")), thickness=Span(thickness - 100, thickness),
            drift_milli=draw.randrange(5000),
        )  # fmt: skip
        wider = over(shop, replace(shop.catalog, lots={**shop.catalog.lots, more.code: more}))
        assert place(wider, spec, today) <= place(shop, spec, today)
        tried += 1
    assert tried > EACH // 2


@pytest.mark.parametrize("seed", SEEDS)
def test_a_larger_lot_never_worsens_the_outcome(seed: int, shop: Shop, today: date) -> None:
    draw = random.Random(f"larger lots {seed}")
    for _ in range(EACH):
        spec = sample_spec(shop.catalog, draw, today)
        if not in_exact_range(shop, spec):
            continue
        lots = {code: larger(lot, 1_000 * draw.randrange(80)) for code, lot in shop.catalog.lots.items()}
        assert place(over(shop, replace(shop.catalog, lots=lots)), spec, today) <= place(shop, spec, today)


def larger(lot: Lot, more_um: int) -> Lot:
    rectangles = tuple(FreeRectangle(each.along_um + more_um, each.across_um + more_um) for each in lot.rectangles)
    return replace(lot, left_um2=lot.left_um2 + more_um * 10**6, rectangles=rectangles)


@pytest.mark.parametrize("seed", SEEDS)
def test_more_quantity_never_improves_the_outcome(seed: int, shop: Shop, today: date) -> None:
    draw = random.Random(f"quantity {seed}")
    for _ in range(EACH):
        # Lots that staff name are all to be used, which one piece alone may not manage: none are named here.
        spec = replace(sample_spec(shop.catalog, draw, today), quantity=1, lots={})
        more = replace(spec, quantity=2 + draw.randrange(2))
        if in_exact_range(shop, more):
            assert place(shop, more, today) >= place(shop, spec, today)


@pytest.mark.parametrize("seed", SEEDS)
def test_with_the_lots_fixed_thinner_leather_never_worsens_a_stack(seed: int, shop: Shop, today: date) -> None:
    draw = random.Random(f"thinner {seed}")
    for _ in range(EACH):
        spec = sample_spec(shop.catalog, draw, today)
        best = judge(shop, spec, today).case
        fixed = replace(spec, lots={part: tuple(lot.code for lot in lots) for part, lots in best.lots.items() if lots})
        less = 50 * (1 + draw.randrange(6))
        lots = {code: thinner(lot, less) for code, lot in shop.catalog.lots.items()}
        thin = over(shop, replace(shop.catalog, lots=lots))
        assert worst(thin, fixed, STACKS, today) >= worst(shop, fixed, STACKS, today)


def thinner(lot: Lot, less_um: int) -> Lot:
    return replace(
        lot, thickness=Span(max(100, lot.thickness.min_um - less_um), max(200, lot.thickness.max_um - less_um))
    )


@pytest.mark.parametrize("seed", SEEDS)
def test_a_larger_radius_never_worsens_a_fold(seed: int, shop: Shop, today: date) -> None:
    draw = random.Random(f"radius {seed}")
    for _ in range(EACH):
        spec = sample_spec(shop.catalog, draw, today)
        more = 100 * (1 + draw.randrange(20))
        patterns = {code: rounder(pattern, more) for code, pattern in shop.catalog.patterns.items()}
        fixed = replace(
            spec,
            lots={
                part: tuple(lot.code for lot in lots)
                for part, lots in judge(shop, spec, today).case.lots.items()
                if lots
            },
        )
        wide = over(shop, replace(shop.catalog, patterns=patterns))
        assert worst(wide, fixed, FOLDS, today) >= worst(shop, fixed, FOLDS, today)


def rounder(pattern: Pattern, more_um: int) -> Pattern:
    folds = {
        code: replace(fold, inner_radius_um=fold.inner_radius_um + more_um) for code, fold in pattern.folds.items()
    }
    return replace(pattern, folds=folds)


@pytest.mark.parametrize("seed", SEEDS)
def test_one_more_card_never_improves_the_fit(seed: int, shop: Shop, today: date) -> None:
    draw = random.Random(f"cards {seed}")
    for _ in range(EACH):
        spec = sample_spec(shop.catalog, draw, today)
        cards = draw.randrange(14)
        fewer = replace(spec, carry=replace(spec.carry, cards=cards))
        more = replace(spec, carry=replace(spec.carry, cards=cards + 1))
        assert worst(shop, more, ("FIT-12",), today) <= worst(shop, fewer, ("FIT-12",), today)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_order_of_the_parts_in_a_spec_changes_nothing(seed: int, shop: Shop, today: date) -> None:
    draw = random.Random(f"order {seed}")
    for _ in range(EACH):
        spec = sample_spec(shop.catalog, draw, today)
        turned = replace(
            spec,
            parts=dict(reversed(list(spec.parts.items()))),
            hardware=dict(reversed(list(spec.hardware.items()))),
            sizes_um=dict(reversed(list(spec.sizes_um.items()))),
            lots=dict(reversed(list(spec.lots.items()))),
        )
        one, other = check(shop, spec, today=today), check(shop, turned, today=today)
        assert json.dumps(one, sort_keys=True) == json.dumps(other, sort_keys=True)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_order_of_the_lots_in_the_catalog_changes_nothing(seed: int, shop: Shop, today: date) -> None:
    draw = random.Random(f"lots {seed}")
    lots = list(shop.catalog.lots.items())
    draw.shuffle(lots)
    turned = over(shop, replace(shop.catalog, lots=dict(lots)))
    for _ in range(EACH):
        spec = sample_spec(shop.catalog, draw, today)
        assert json.dumps(check(shop, spec, today=today)) == json.dumps(check(turned, spec, today=today))


@pytest.mark.parametrize("seed", SEEDS)
def test_a_remedy_removes_its_finding_and_adds_none_that_is_worse(
    seed: int, shop: Shop, today: date, patched: Callable[[dict[str, Any], dict[str, Any]], Spec]
) -> None:
    draw = random.Random(f"remedies {seed}")
    offered = 0
    for _ in range(EACH):
        answer = check(shop, sample_spec(shop.catalog, draw, today), today=today)
        old = {(finding["rule"], finding["severity"]) for finding in answer["findings"]}
        for finding in answer["findings"]:
            for remedy in finding["remedies"]:
                offered += 1
                again = check(shop, patched(answer["spec"], remedy["change"]), today=today)
                assert (again["outcome"], (again["price"] or {}).get("total")) == (remedy["outcome"], remedy["total"])
                assert not [
                    each for each in again["findings"] if (each["rule"], each["at"]) == (finding["rule"], finding["at"])
                ]
                new = [each for each in again["findings"] if (each["rule"], each["severity"]) not in old]
                removed = SEVERITIES.index(finding["severity"])
                assert all(SEVERITIES.index(each["severity"]) > removed for each in new)
    assert offered > EACH // 4


@pytest.mark.parametrize("seed", SEEDS)
def test_an_alternative_is_better_than_the_spec_and_priced_as_said(
    seed: int, shop: Shop, today: date, patched: Callable[[dict[str, Any], dict[str, Any]], Spec]
) -> None:
    draw = random.Random(f"alternatives {seed}")
    for _ in range(EACH // 8):
        answer = check(shop, sample_spec(shop.catalog, draw, today), today=today, alternatives=3)
        assert len(answer["alternatives"]) <= 3
        for other in answer["alternatives"]:
            again = check(shop, patched(answer["spec"], other["change"]), today=today)
            assert again["outcome"] == other["outcome"]
            assert OUTCOMES.index(again["outcome"]) < OUTCOMES.index(answer["outcome"])
            assert (again["price"] or {}).get("total") == other["total"]


def test_two_faults_at_once_are_answered_by_two_changes(shop: Shop, today: date) -> None:
    faulty = replace(known_good(shop.catalog.patterns["twofold"]), thread="nothing like it", edge="none such")
    answer = check(shop, faulty, today=today, alternatives=3)
    assert [each["outcome"] for each in answer["alternatives"]] == ["buildable"] * 3
    assert all({"thread", "edge"} == set(each["change"]) for each in answer["alternatives"])
    assert all(each["says"].count(";") == 1 for each in answer["alternatives"])


def test_gaps_are_offered_filled_as_the_pattern_usually_has_them(shop: Shop, today: date) -> None:
    (filled,) = check(shop, Spec("twofold"), today=today, alternatives=1)["alternatives"]
    assert filled["outcome"] == "buildable"
    assert set(filled["change"]) == {"parts", "thread", "edge"}


def test_a_check_twice_gives_the_same_bytes(shop: Shop, today: date) -> None:
    for pattern in shop.catalog.patterns.values():
        spec = known_good(pattern)
        assert json.dumps(check(shop, spec, today=today)) == json.dumps(check(shop, spec, today=today))


def test_defaults_fill_every_gap_but_what_only_the_customer_knows(shop: Shop, today: date) -> None:
    answer = check(shop, Spec(pattern="TwoFold"), today=today, fill_defaults=True)
    assert answer["filled"] == ["/parts/outside", "/parts/inside", "/parts/pockets", "/thread", "/edge"]
    assert answer["outcome"] == "buildable"
    lead = check(shop, Spec(pattern="lead"), today=today, fill_defaults=True)
    gaps = [finding["at"] for finding in lead["findings"] if finding["rule"] == "CAT-03"]
    assert gaps == [["/purpose/dog_kg"], ["/purpose/use"]]
    assert all(finding["remedies"] == [] for finding in lead["findings"] if finding["rule"] == "CAT-03")


def test_a_gap_has_the_default_of_the_pattern_as_its_remedy(shop: Shop, today: date) -> None:
    spec = replace(known_good(shop.catalog.patterns["twofold"]), edge=None)
    (gap,) = [each for each in check(shop, spec, today=today)["findings"] if each["rule"] == "CAT-03"]
    assert gap["remedies"][0]["change"] == {"edge": "ED-BURN"}


def test_an_unknown_code_is_a_finding_with_the_nearest_code_and_all_else_is_answered(shop: Shop, today: date) -> None:
    good = known_good(shop.catalog.patterns["twofold"])
    spec = replace(good, parts={**good.parts, "inside": PartChoice("GO-BLKK")}, edge="ED-BRUN")
    answer = check(shop, spec, today=today)
    rules = {finding["rule"]: finding for finding in answer["findings"]}
    assert rules["CAT-01"]["params"]["nearest"] == "GO-BLK"
    assert rules["EDG-02"]["params"]["nearest"] == "ED-BURN"
    assert answer["figures"]["minutes"] is not None
    assert answer["promise"] is not None


def test_root_causes_come_before_their_effects(shop: Shop, today: date) -> None:
    good = known_good(shop.catalog.patterns["twofold"])
    answer = check(shop, replace(good, parts={**good.parts, "outside": PartChoice("BR-HAZ")}), today=today)
    by_id = {finding["id"]: finding for finding in answer["findings"]}
    effects = [finding for finding in answer["findings"] if finding["caused_by"]]
    assert {by_id[finding["caused_by"]]["rule"] for finding in effects} == {"THK-04"}
    assert answer["findings"][0]["rule"] == "THK-04"
    assert len(answer["headline"]) <= 120
