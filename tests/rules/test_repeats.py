"""A repeat of an earlier order: how far its leather may have drifted from what that order was cut from."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from pydantic import ValidationError

from api.schemas.spec import SpecIn
from api.visibility import Caller, view
from rules.check import check, judge
from rules.columns import judge_specs
from rules.echo import spec_hash, understood
from rules.sample import as_repeat, sample_specs
from rules.shop import Shop
from rules.spec import CutThen, LotThen, PartChoice, Repeated, Spec
from rules.themes import known_good

COGNAC = "VS-COG"  # L124 is 0.9 from the standard, L125 5.2


def repeat(shop: Shop, *lots: LotThen, leather: str = COGNAC, side: str = "grain") -> Spec:
    """A passport cover of cognac that repeats an order with such an outside."""
    spec = known_good(shop.catalog.patterns["passcover"])
    parts = {**spec.parts, "outside": PartChoice(COGNAC)}
    return replace(spec, parts=parts, repeats=Repeated("o1", {"outside": CutThen(leather, side, lots)}))


def drifted(shop: Shop, spec: Spec, today: date) -> list[tuple[str, Any]]:
    """Severity and figure of each finding of COL-03."""
    found = judge(shop, spec, today).findings
    return [(each.severity, each.said.measured) for each in found if each.rule == "COL-03"]


@pytest.mark.parametrize(
    ("then_milli", "said"),
    [
        (1_100, []),
        (1_101, [("advise", 2.001)]),
        (3_100, [("advise", 4)]),
        (3_101, [("sign_off", 4.001)]),
    ],
)
def test_both_distances_to_the_standard_add_up_and_a_limit_itself_passes(
    then_milli: int, said: list[tuple[str, Any]], shop: Shop, today: date
) -> None:
    assert drifted(shop, repeat(shop, LotThen("L071", then_milli)), today) == said


def test_the_very_same_lot_has_not_drifted_however_far_from_the_standard(shop: Shop, today: date) -> None:
    spec = replace(repeat(shop, LotThen("L125", 5_200)), lots={"outside": ("L125",)})
    assert drifted(shop, spec, today) == []


def test_one_lot_of_two_may_still_differ_from_the_other(shop: Shop, today: date) -> None:
    spec = repeat(shop, LotThen("L124", 900), LotThen("L071", 2_000))
    assert drifted(shop, spec, today) == [("advise", 2.9)]


def test_of_several_lots_now_the_farthest_counts(shop: Shop, today: date) -> None:
    spec = replace(repeat(shop, LotThen("L124", 900)), lots={"outside": ("L124", "L125")})
    assert drifted(shop, spec, today) == [("sign_off", 6.1)]


def test_the_lot_of_the_earlier_order_is_preferred_to_the_one_otherwise_taken_first(shop: Shop, today: date) -> None:
    spec = replace(known_good(shop.catalog.patterns["twofold"]), parts={}, quantity=1)
    usual = {part: PartChoice(code) for part, code in shop.catalog.patterns["twofold"].default_parts.items()}
    spec = replace(spec, parts=usual)
    before = judge(shop, spec, today).case.lots
    moved = 0
    for part, (lot, *_) in before.items():
        for other in shop.catalog.lots_of(lot.leather):
            then = Repeated("o1", {part: CutThen(lot.leather, "grain", (LotThen(other.code, 9_000),))})
            after = judge(shop, replace(spec, repeats=then), today)
            same = judge(shop, replace(spec, lots={part: (other.code,)}), today)
            if other != lot and same.outcome == "buildable" and same.order == judge(shop, spec, today).order:
                assert after.case.lots[part] == (other,)
                moved += 1
    assert moved > 0, "or the test shows nothing"


@pytest.mark.parametrize("then", [{"leather": "GO-BLK"}, {"side": "flesh"}])
def test_another_leather_or_side_is_not_compared(then: dict[str, str], shop: Shop, today: date) -> None:
    assert drifted(shop, repeat(shop, LotThen("L071", 9_000), **then), today) == []


def test_a_part_that_the_earlier_order_lacked_is_not_compared(shop: Shop, today: date) -> None:
    spec = replace(
        repeat(shop), repeats=Repeated("o1", {"lining": CutThen(COGNAC, "grain", (LotThen("L071", 9_000),))})
    )
    assert drifted(shop, spec, today) == []


def test_the_id_of_an_order_alone_means_nothing_to_the_rules(shop: Shop, today: date) -> None:
    spec = replace(repeat(shop), repeats=None, repeat_of="o1")
    assert drifted(shop, spec, today) == []


def test_a_customer_is_told_of_no_lot_and_no_remedy_ends_the_comparison(shop: Shop, today: date) -> None:
    answer = check(shop, repeat(shop, LotThen("L071", 4_000)), today=today)
    seen = view(answer, Caller.PAGE)
    (finding,) = [each for each in seen["findings"] if each["rule"] == "COL-03"]
    assert "bench_message" not in finding
    assert "L071" not in str(seen)
    assert "L124" not in str(seen)
    assert finding["remedies"] == []


def test_no_body_can_say_what_an_order_was_cut_from() -> None:
    with pytest.raises(ValidationError):
        SpecIn.model_validate({"pattern": "passcover", "repeats": {"order": "o1", "drifts": {}}})


def test_what_an_order_was_cut_from_is_neither_echoed_nor_hashed(shop: Shop) -> None:
    spec = repeat(shop, LotThen("L071", 4_000))
    told = understood(shop.piece(spec))
    assert told == understood(shop.piece(replace(spec, repeats=None)))
    assert spec_hash(told) == spec_hash(understood(shop.piece(replace(spec, repeats=None))))


def test_equal_orders_have_one_hash_in_whatever_order_their_parts_stand() -> None:
    one, other = (CutThen(leather, "grain", (LotThen("L1", 1),)) for leather in ("A", "B"))
    first, second = Repeated("o1", {"outside": one, "inside": other}), Repeated("o1", {"inside": other, "outside": one})
    assert first == second
    assert hash(first) == hash(second)


def test_a_table_with_repeats_among_other_rows_is_judged_as_its_rows_one_by_one(shop: Shop, today: date) -> None:
    draw = random.Random("repeats in bulk")
    specs: list[Spec] = []
    for spec in sample_specs(shop.catalog, draw, today, 700):
        specs += [replace(spec, repeats=None), *(as_repeat(spec, shop.catalog, draw) for _ in range(2))]
    judged = judge_specs(shop, specs, today)
    alone = [{(each.rule, each.severity) for each in judge(shop, spec, today).findings} for spec in specs]
    assert [judged.rules_of(row) for row in range(len(specs))] == alone
    said = [severity for row in alone for rule, severity in row if rule == "COL-03"]
    assert min(said.count("advise"), said.count("sign_off")) > 50
