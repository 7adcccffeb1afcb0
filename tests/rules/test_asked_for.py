"""What a spec may say beside: absent it is not asked, said it is judged, and it comes back as it was understood."""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from rules.check import check
from rules.echo import spec_hash
from rules.sample import sample_specs
from rules.sample_more import with_more
from rules.shop import Shop
from rules.spec import Spec
from rules.themes import known_good

EXAMPLES = json.loads((Path(__file__).parents[1] / "data" / "example-specs.json").read_text(encoding="utf-8"))
ASKED = {"CAT-09", "FIT-11", "FIT-13", "FIT-14", "SID-04", "HDW-06", "FLD-08"}
FIELDS = ("notebook", "tools", "worn_in", "marks_ok", "mixed_metals_ok")
SpecOf = Callable[[dict[str, Any]], Spec]


def words(shop: Shop, spec: Spec, today: date, rule: str) -> list[tuple[str, list[str]]]:
    found = check(shop, spec, today=today)["findings"]
    return [(each["severity"], each["at"]) for each in found if each["rule"] == rule]


def kind_of(shop: Shop, spec: Spec, today: date, rule: str) -> str:
    told = check(shop, spec, today=today, explain=True)["explained"]
    return next(each["kind"] for each in told if each["rule"] == rule)


def test_what_is_not_asked_is_neither_echoed_nor_said_to_pass(shop: Shop, spec_of: SpecOf, today: date) -> None:
    for example in EXAMPLES:
        answer = check(shop, spec_of(example["spec"]), today=today, explain=True)
        text = json.dumps(answer["spec"])
        assert not [field for field in FIELDS if f'"{field}"' in text], example["id"]
        kinds = {
            each["rule"]: each["kind"] for each in answer["explained"] if each["rule"] in ASKED - {"CAT-09", "FLD-08"}
        }
        assert set(kinds.values()) <= {"notApplicable", "open"}, example["id"]


def test_the_echo_of_what_is_said_asks_the_same_and_has_a_hash_of_its_own(
    shop: Shop, spec_of: SpecOf, today: date
) -> None:
    draw = random.Random("more")
    hashes = {}
    for drawn in sample_specs(shop.catalog, draw, today, 150):
        spec = with_more(drawn, shop.catalog, draw)
        answer = check(shop, spec, today=today)
        again = check(shop, spec_of(answer["spec"]), today=today)
        assert (again["spec"], again["spec_hash"]) == (answer["spec"], answer["spec_hash"])
        assert [each["rule"] for each in again["findings"]] == [each["rule"] for each in answer["findings"]]
        hashes[answer["spec_hash"]] = json.dumps(answer["spec"], sort_keys=True)
    assert len(hashes) == len(set(hashes.values()))


def test_a_notebook_of_which_nothing_is_known_is_asked_for_all_the_same(
    shop: Shop, spec_of: SpecOf, today: date
) -> None:
    bare, asked = {"pattern": "twofold"}, {"pattern": "twofold", "carry": {"notebook": {}}}
    one, other = (check(shop, spec_of(body), today=today) for body in (bare, asked))
    assert other["spec"]["carry"] == {"notebook": {}}
    assert one["spec_hash"] != other["spec_hash"]
    assert words(shop, spec_of(asked), today, "FIT-11") == [("refuse", ["/carry/notebook"])]


def test_no_is_not_the_same_as_nobody_asked(shop: Shop, spec_of: SpecOf, today: date) -> None:
    answers = [
        check(shop, spec_of({"pattern": "fob", **said}), today=today)["spec"]
        for said in ({}, {"marks_ok": False}, {"marks_ok": True}, {"marks_ok": None})
    ]
    assert [spec.get("marks_ok", "absent") for spec in answers] == ["absent", False, True, "absent"]
    assert len({spec_hash(spec) for spec in answers}) == 3


@pytest.mark.parametrize(
    ("block", "expected"), [(2_600, []), (2_601, [("refuse", ["/carry/notebook", "/parts/outside"])])]
)
def test_pages_and_leather_just_fill_the_gap(
    shop: Shop, spec_of: SpecOf, today: date, block: int, expected: list[Any]
) -> None:
    body = {"pattern": "passcover", "carry": {"notebook": {"item": "nb-a7", "block_mm": block / 1000}}}
    spec = replace(known_good(shop.catalog.patterns["passcover"]), carry=spec_of(body).carry)
    assert words(shop, spec, today, "FIT-11") == expected  # 2.6 + 2 x 1.2 of L124 = 5.0


def test_sizes_of_its_own_count_before_the_published_ones(shop: Shop, spec_of: SpecOf, today: date) -> None:
    notebook = {"item": "NB-A6", "width_mm": 95, "height_mm": 127, "block_mm": 2}
    spec = replace(
        known_good(shop.catalog.patterns["passcover"]),
        carry=spec_of({"pattern": "x", "carry": {"notebook": notebook}}).carry,
    )
    assert words(shop, spec, today, "FIT-11") == []
    assert kind_of(shop, spec, today, "FIT-11") == "pass"


def test_a_notebook_of_an_unknown_code_is_a_finding_with_the_nearest(shop: Shop, spec_of: SpecOf, today: date) -> None:
    found = check(shop, spec_of({"pattern": "passcover", "carry": {"notebook": {"item": "NB-A66"}}}), today=today)
    told = next(each for each in found["findings"] if each["at"] == ["/carry/notebook/item"])
    assert (told["rule"], told["params"]["nearest"]) == ("CAT-01", "NB-A6")
    effect = next(each for each in found["findings"] if each["rule"] == "FIT-11")
    assert effect["severity"] == "sign_off"
    assert effect["caused_by"] == told["id"], "its size is not known because its code is not"


@pytest.mark.parametrize(
    ("pattern", "worn_in", "speaks"),
    [
        ("twofold", "back_pocket", False), ("twofold", "front_pocket", False), ("twofold", "inside_pocket", False),
        ("longfold", "back_pocket", True), ("longfold", "front_pocket", True), ("longfold", "inside_pocket", False),
        ("passcover", "back_pocket", True), ("passcover", "inside_pocket", True), ("belt", "back_pocket", False),
    ],
)  # fmt: skip
def test_a_piece_is_held_against_the_pocket_that_it_is_worn_in(
    shop: Shop, today: date, pattern: str, worn_in: str, *, speaks: bool
) -> None:
    good = known_good(shop.catalog.patterns[pattern])
    told = words(shop, replace(good, carry=replace(good.carry, worn_in=worn_in)), today, "FIT-13")
    assert told == ([("advise", ["/carry/worn_in", "/pattern"])] if speaks else [])


def test_a_pattern_without_a_slip_leaves_a_pen_to_the_maker(shop: Shop, today: date) -> None:
    good = known_good(shop.catalog.patterns["twofold"])
    slip = known_good(shop.catalog.patterns["longfold"])
    for count, own in ((1, []), (2, [("sign_off", ["/carry/tools"])] * 2)):
        spec = replace(slip, carry=replace(slip.carry, tools=("TO-PEN",) * count))
        assert words(shop, spec, today, "FIT-14") == own, "one slip takes one of them"
    spec = replace(good, carry=replace(good.carry, tools=("TO-PEN",)))
    assert words(shop, spec, today, "FIT-14") == [("sign_off", ["/carry/tools/0"])]


def test_whoever_takes_marks_is_told_of_none_and_whoever_does_not_gets_the_best_hides_first(
    shop: Shop, today: date
) -> None:
    good = known_good(shop.catalog.patterns["passcover"])
    walnut = replace(good, parts={**good.parts, "outside": replace(good.parts["outside"], leather="PU-WAL")})
    told = [words(shop, replace(walnut, marks_ok=said), today, "SID-04") for said in (None, True, False)]
    assert told == [[], [], [("advise", ["/parts/outside", "/marks_ok"])]]
    cut = check(shop, replace(good, marks_ok=False), today=today)["cut_from"]
    assert {shop.catalog.lots[each["lot"]].grade for each in cut} == {"A"}


def test_two_tones_are_held_only_against_whoever_wants_one(shop: Shop, today: date) -> None:
    good = known_good(shop.catalog.patterns["fob"])
    fob = replace(good, hardware={"ring": "HW-RING30-SS", "rivet": "HW-RIV9-BR"})
    told = [words(shop, replace(fob, mixed_metals_ok=said), today, "HDW-06") for said in (None, True, False)]
    assert told == [[], [], [("sign_off", ["/hardware", "/mixed_metals_ok"])]]
    assert kind_of(shop, replace(good, mixed_metals_ok=False), today, "HDW-06") == "pass", "a ring alone is of one tone"


@pytest.mark.parametrize(
    ("waist", "says"),
    [
        (3.499, "Please measure again, in mm."), (3.5, "Did you mean 3.5 inches? That is 88.9 mm."),
        (36, "Did you mean 36 inches? That is 914.4 mm."), (79.999, "Did you mean 79.999 inches? That is 2031.975 mm."),
        (80, None),
    ],
)  # fmt: skip
def test_a_short_length_is_asked_after_and_a_long_one_is_not(
    shop: Shop, spec_of: SpecOf, today: date, waist: float, says: str | None
) -> None:
    sizes = {"width_mm": 35, "waist_to_hole_mm": waist}
    spec = replace(
        known_good(shop.catalog.patterns["belt"]), sizes_um=spec_of({"pattern": "x", "sizes": sizes}).sizes_um
    )
    told = [each["message"] for each in check(shop, spec, today=today)["findings"] if each["rule"] == "CAT-09"]
    assert told == ([] if says is None else [told[0]])
    assert says is None or told[0].endswith(says)


@pytest.mark.parametrize(
    ("body", "change"),
    [
        (
            {"pattern": "belt", "sizes": {"width_mm": 35, "waist_to_hole_mm": 36}},
            {"sizes": {"waist_to_hole_mm": 914.4}},
        ),
        ({"pattern": "lead", "sizes": {"width_mm": 19, "length_mm": 50}}, {"sizes": {"length_mm": 1270}}),
        (
            {"pattern": "sheath", "carry": {"blade": {"width_mm": 28, "thickness_mm": 2, "length_mm": 4.5}}},
            {"carry": {"blade": {"length_mm": 114.3}}},
        ),
        (
            {"pattern": "passcover", "carry": {"notebook": {"width_mm": 74, "height_mm": 4.134, "block_mm": 2}}},
            {"carry": {"notebook": {"height_mm": 105.004}}},
        ),
    ],
)
def test_what_was_written_in_inches_is_offered_in_mm_checked(
    shop: Shop,
    spec_of: SpecOf,
    patched: Callable[[dict[str, Any], dict[str, Any]], Spec],
    today: date,
    body: dict[str, Any],
    change: dict[str, Any],
) -> None:
    said = spec_of(body)
    good = known_good(shop.catalog.patterns[body["pattern"]])
    spec = replace(good, sizes_um={**good.sizes_um, **said.sizes_um}, carry=said.carry)
    answer = check(shop, spec, today=today)
    (finding,) = [each for each in answer["findings"] if each["rule"] == "CAT-09"]
    assert [remedy["change"] for remedy in finding["remedies"]] == [change]
    assert (answer["outcome"], finding["remedies"][0]["outcome"]) == ("refused", "buildable")
    after = check(shop, patched(answer["spec"], change), today=today)
    assert after["outcome"] == "buildable"
    assert not [each for each in after["findings"] if each["rule"] == "CAT-09"]


def test_a_length_still_to_be_chosen_leaves_the_rule_open(shop: Shop, today: date) -> None:
    assert kind_of(shop, Spec("belt"), today, "CAT-09") == "open"
    assert kind_of(shop, Spec("twofold"), today, "CAT-09") == "notApplicable"
    assert kind_of(shop, Spec("no such"), today, "FIT-11") == "notApplicable", "no notebook is asked for"


def test_a_coat_without_a_test_is_held_against_daily_folds_alone(shop: Shop, today: date) -> None:
    found = {}
    for code in ("twofold", "sheath", "wstrap"):
        good = known_good(shop.catalog.patterns[code])
        deer = replace(good, parts={**good.parts, "outside": replace(good.parts["outside"], leather="DE-IVO")})
        found[code] = words(shop, deer, today, "FLD-08")
    assert found == {"twofold": [("sign_off", ["/parts/outside"])], "sheath": [], "wstrap": []}
