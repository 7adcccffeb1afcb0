"""Specs and workshops at the edge of what occurs: each gets a clear answer, none a crash."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import partial

import pytest

from catalog.model import Catalog
from rules.check import check, judge
from rules.findings import headline_of
from rules.memo import Memo
from rules.promise import working_day_from
from rules.shop import Shop, shop_of
from rules.spec import Monogram, PartChoice, Purpose, Spec
from rules.themes import known_good


def over(shop: Shop, catalog: Catalog) -> Shop:
    return shop_of(catalog, shop.book)


def rules_of(answer: dict) -> set[str]:
    return {finding["rule"] for finding in answer["findings"] if finding["severity"] != "notice"}


def test_an_unknown_pattern_still_has_its_leathers_looked_up(shop: Shop, today: date) -> None:
    spec = Spec(pattern="twofolt", parts={"outside": PartChoice("SH-GARR"), "inside": PartChoice(None)})
    answer = check(shop, spec, today=today, fill_defaults=True)
    assert (answer["outcome"], answer["filled"], answer["price"], answer["promise"]) == ("refused", [], None, None)
    nearest = {
        tuple(each["at"]): each["params"].get("nearest") for each in answer["findings"] if each["rule"] == "CAT-01"
    }
    assert nearest == {("/pattern",): "twofold", ("/parts/outside",): "SH-GAR"}


def test_a_match_that_nothing_in_stock_meets_is_still_to_be_chosen(shop: Shop, today: date) -> None:
    """Nothing is promised in an edge or a thread that is not there."""
    no_paint = {code: edge for code, edge in shop.catalog.edges.items() if edge.finish not in ("paint", "stain")}
    stout = {code: replace(thread, diameter_um=3_000) for code, thread in shop.catalog.threads.items()}
    bare = over(shop, replace(shop.catalog, edges=no_paint, threads=stout))
    spec = replace(known_good(shop.catalog.patterns["upright"]), thread="match", edge="match")
    answer = check(bare, spec, today=today)
    assert answer["outcome"] == "refused"
    gaps = [finding["at"] for finding in answer["findings"] if finding["rule"] == "CAT-03"]
    assert gaps == [["/edge"], ["/thread"]]


@pytest.mark.parametrize(
    ("spec", "at", "change"),
    [
        (
            {"monogram": Monogram("AB", "blind", "FA-SER15", "Z-IN-LOW")},
            "/monogram/typeface",
            {"monogram": {"typeface": "FA-SER14"}},
        ),
        (
            {"monogram": Monogram("AB", "foil", "FA-SER14", "Z-IN-LOW", "FO-GOLD")},
            "/monogram/foil",
            {"monogram": {"foil": "FO-GLD"}},
        ),
        ({"purpose": Purpose("everyda")}, "/purpose/use", {"purpose": {"use": "everyday"}}),
        ({"thread": "TH-P05-TANN"}, "/thread", {"thread": "TH-P05-TAN"}),
        ({"hardware": {"clip": "HW-CLIP76"}}, "/hardware/clip", {"hardware": {"clip": None}}),
        ({"stitch": "whip"}, "/stitch", {"stitch": "hand"}),
    ],
)
def test_a_slip_has_a_remedy_that_mends_it(spec: dict, at: str, change: dict, shop: Shop, today: date) -> None:
    answer = check(shop, replace(known_good(shop.catalog.patterns["twofold"]), **spec), today=today)
    (finding,) = [each for each in answer["findings"] if each["at"] == [at] and each["rule"].startswith("CAT")]
    assert finding["remedies"][0]["change"] == change


def test_a_size_that_is_not_made_gets_the_usual_one(shop: Shop, today: date) -> None:
    spec = known_good(shop.catalog.patterns["wstrap"])
    answer = check(shop, replace(spec, sizes_um={**spec.sizes_um, "taper_mm": 5_000}), today=today)
    (finding,) = [each for each in answer["findings"] if each["rule"] == "CAT-05"]
    assert finding["remedies"][0]["change"] == {"sizes": {"taper_mm": 2}}


def test_hardware_of_another_type_is_not_offered(shop: Shop, today: date) -> None:
    spec = replace(known_good(shop.catalog.patterns["sleeve"]), hardware={"closure": "HW-RIV9-BR"})
    answer = check(shop, spec, today=today)
    assert "CAT-05" in rules_of(answer)


def test_a_monogram_without_zone_typeface_or_method_is_asked_for_them(shop: Shop, today: date) -> None:
    answer = check(shop, replace(known_good(shop.catalog.patterns["twofold"]), monogram=Monogram("AB")), today=today)
    assert {tuple(each["at"]) for each in answer["findings"] if each["rule"] == "CAT-03"} == {
        ("/monogram/method",), ("/monogram/typeface",)
    }  # fmt: skip
    assert "MON-08" in rules_of(answer)


def test_a_workshop_that_never_works_gives_the_day_itself(shop: Shop) -> None:
    idle = replace(shop.catalog.workshop, working_weekdays=())
    assert working_day_from(date(2026, 3, 7), idle) == date(2026, 3, 7)


def test_a_promise_never_falls_on_a_holiday_or_a_weekend(shop: Shop) -> None:
    """Good Friday 3 April 2026 and Easter Monday 6 April 2026 are public holidays in Germany (from memory)."""
    assert working_day_from(date(2026, 4, 3), shop.catalog.workshop) == date(2026, 4, 7)


def test_a_long_sentence_is_cut_at_a_word_for_the_headline(shop: Shop, today: date) -> None:
    spec = replace(known_good(shop.catalog.patterns["upright"]), edge="ED-BRUN")
    answer = check(shop, spec, today=today)
    assert len(answer["headline"]) <= 120
    assert headline_of((), "A very long name " * 10).endswith("...")
    assert len(headline_of((), "A very long name " * 10)) <= 120


def test_a_leather_without_any_lot_is_not_enough(shop: Shop, today: date) -> None:
    lots = {code: lot for code, lot in shop.catalog.lots.items() if lot.leather != "VS-COG"}
    answer = check(
        over(shop, replace(shop.catalog, lots=lots)), known_good(shop.catalog.patterns["upright"]), today=today
    )
    assert answer["outcome"] == "refused"
    assert "STO-01" in rules_of(answer)
    assert [entry["part"] for entry in answer["cut_from"]] == ["pockets"]


def test_results_are_forgotten_before_they_fill_the_memory() -> None:
    made: list[int] = []

    def square(of: int) -> int:
        made.append(of)
        return of * of

    memo: Memo[int] = Memo(2)
    assert [memo.get(of, partial(square, of)) for of in (3, 4, 3, 4, 5, 3)] == [9, 16, 9, 16, 25, 9]
    assert made == [3, 4, 5, 3], "full, it forgot both; what it keeps it does not work out again"


def test_a_part_in_capitals_is_no_part_and_its_remedy_names_it_as_written(shop: Shop, today: date) -> None:
    """Codes are compared without regard to case; names of parts are keys, and a patch must find them."""
    good = known_good(shop.catalog.patterns["upright"])
    answer = check(shop, replace(good, parts={**good.parts, "GUSSET": PartChoice("GO-BLK")}), today=today)
    (finding,) = [each for each in answer["findings"] if each["rule"] == "CAT-04"]
    assert finding["remedies"][0]["change"] == {"parts": {"GUSSET": None}}


def test_lots_for_a_part_that_the_pattern_lacks_are_dropped(shop: Shop, today: date) -> None:
    good = known_good(shop.catalog.patterns["upright"])
    answer = check(shop, replace(good, lots={"gusset": ("L128",)}), today=today)
    (finding,) = [each for each in answer["findings"] if each["severity"] == "refuse"]
    assert (finding["rule"], finding["at"]) == ("CAT-04", ["/lots/gusset"])
    assert finding["remedies"][0]["change"] == {"lots": {"gusset": None}}


def test_a_lot_of_another_leather_is_refused_without_naming_it_to_the_customer(shop: Shop, today: date) -> None:
    good = known_good(shop.catalog.patterns["upright"])
    answer = check(shop, replace(good, lots={"outside": ("L128",)}), today=today)
    (finding,) = [each for each in answer["findings"] if each["severity"] == "refuse"]
    assert finding["rule"] == "CAT-01"
    assert "L128" not in finding["message"]
    assert "L128" in finding["bench_message"]


def test_an_unknown_pattern_hides_no_other_unknown_code(shop: Shop, today: date) -> None:
    spec = Spec(pattern="twofld", thread="XX", edge="YY", hardware={"clip": "ZZ"}, lots={"outside": ("L124",)})
    at = {tuple(each["at"]) for each in check(shop, spec, today=today)["findings"] if each["severity"] == "refuse"}
    assert at == {("/pattern",), ("/thread",), ("/edge",), ("/hardware/clip",)}


def test_what_only_the_customer_knows_is_asked_for_with_what_is_possible(shop: Shop, today: date) -> None:
    findings = check(shop, Spec(pattern="belt"), today=today)["findings"]
    allowed = {each["at"][0]: each["params"].get("allowed") for each in findings if each["rule"] == "CAT-03"}
    assert allowed["/sizes/waist_to_hole_mm"] == ["480 to 1180 mm"]
    assert allowed["/purpose/use"] == ["everyday", "tool_belt"]


@pytest.mark.parametrize("use", ["flying", "liftin", "climbin"])
def test_what_is_refused_is_never_suggested(use: str, shop: Shop, today: date) -> None:
    good = known_good(shop.catalog.patterns["upright"])
    answer = check(shop, replace(good, purpose=Purpose(use, ("vegen",))), today=today)
    nearest = {each["params"].get("nearest") for each in answer["findings"] if each["rule"] == "CAT-01"}
    assert not nearest & {"lifting", "climbing", "vegan"}


def test_every_root_stands_before_its_effects(shop: Shop, today: date) -> None:
    good = known_good(shop.catalog.patterns["belt"])
    findings = check(shop, replace(good, parts={"outside": PartChoice("PG-SAN")}), today=today)["findings"]
    places = {each["id"]: place for place, each in enumerate(findings)}
    chained = [each for each in findings if each["caused_by"] is not None]
    assert len(chained) >= 3
    for each in chained:
        root = findings[places[each["caused_by"]]]
        assert root["severity"] != each["severity"] or places[root["id"]] < places[each["id"]]


def test_a_side_without_a_leather_is_kept(shop: Shop, today: date) -> None:
    good = known_good(shop.catalog.patterns["upright"])
    flesh = check(shop, replace(good, parts={**good.parts, "outside": PartChoice(None, "flesh")}), today=today)
    grain = check(shop, replace(good, parts={**good.parts, "outside": PartChoice(None)}), today=today)
    assert flesh["spec"]["parts"]["outside"] == {"side": "flesh"}
    assert flesh["spec_hash"] != grain["spec_hash"]


def test_a_dear_spec_is_bounded_in_its_remedies(shop: Shop, today: date) -> None:
    """All parts of one scarce bridle, eight times: a single verdict takes hundreds of steps."""
    good = known_good(shop.catalog.patterns["clipfold"])
    dear = replace(good, parts={part: PartChoice("BR-HAZ") for part in good.parts}, quantity=8)
    assert judge(shop, dear, today).work > 100
    assert check(shop, dear, today=today, alternatives=5)["outcome"] == "refused"


def test_the_margin_is_never_the_headline(shop: Shop, today: date) -> None:
    good = known_good(shop.catalog.patterns["fob"])
    letters = Monogram("AB 12", "ink", "FA-SAN18", "Z-FOB")
    fob = replace(good, parts={"outside": PartChoice("VS-NAT")}, edge="ED-BURN", monogram=letters)
    answer = check(shop, fob, today=today)
    assert rules_of(answer) == {"PRC-01"}
    assert answer["headline"] == "Key Fob can be made as asked."
