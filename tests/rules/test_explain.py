"""Every rule's word with its figures, what is still open, and the monogram read back."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Any

from api.visibility import Caller, view
from rules.check import check, judge
from rules.sample import sample_specs
from rules.shop import Shop
from rules.spec import Monogram, PartChoice, Spec
from rules.themes import known_good

KIND = {"refuse": "fail", "sign_off": "review", "advise": "informational", "notice": "informational"}
WORST = ("fail", "review", "informational")


def explained(shop: Shop, spec: Spec, today: date) -> dict[str, dict[str, Any]]:
    answer = check(shop, spec, today=today, explain=True)
    return {each["rule"]: each for each in answer["explained"]}


def test_each_finding_is_its_rules_word_and_every_rule_has_one(shop: Shop, today: date) -> None:
    for spec in sample_specs(shop.catalog, random.Random("explain"), today, 120):
        answer = check(shop, spec, today=today, explain=True)
        told = {each["rule"]: each["kind"] for each in answer["explained"]}
        assert list(told) == sorted(rule.id for rule in shop.book.rules.values() if "check" in rule.stages)
        worst: dict[str, str] = {}
        for finding in answer["findings"]:
            kind = KIND[finding["severity"]]
            worst[finding["rule"]] = min(worst.get(finding["rule"], kind), kind, key=WORST.index)
        assert {rule: kind for rule, kind in told.items() if kind in WORST} == worst


def test_what_is_still_to_be_chosen_is_open_and_nothing_is_on_a_complete_piece(shop: Shop, today: date) -> None:
    empty = explained(shop, Spec("twofold"), today)
    assert {empty[rule]["kind"] for rule in ("STK-01", "FLD-01", "STO-01", "STI-01", "EDG-01", "PRC-02")} == {"open"}
    assert empty["HDW-01"]["kind"] == "notApplicable", "the pattern has no place for hardware"
    assert {explained(shop, Spec("no such"), today)[rule]["kind"] for rule in ("STK-01", "PRC-02")} == {"open"}
    for pattern in shop.catalog.patterns.values():
        kinds = {each["kind"] for each in explained(shop, known_good(pattern), today).values()}
        assert "open" not in kinds, pattern.code
    half = replace(known_good(shop.catalog.patterns["twofold"]), thread=None)
    told = explained(shop, half, today)
    assert (told["STI-01"]["kind"], told["STK-01"]["kind"]) == ("open", "pass")


def test_a_rule_that_will_not_apply_whatever_is_chosen_is_not_open(shop: Shop, today: date) -> None:
    told = explained(shop, Spec("twofold"), today)
    assert told["PRC-03"]["kind"] == "notApplicable", "no rush is asked for, though the minutes are not known yet"
    assert told["PRC-04"]["kind"] == "notApplicable", "no day is asked for"
    rush = explained(shop, Spec("twofold", rush=True, ready_by=today), today)
    assert (rush["PRC-03"]["kind"], rush["PRC-04"]["kind"]) == ("open", "review")


def test_a_monogram_half_described_leaves_open_what_its_typeface_and_zone_decide(shop: Shop, today: date) -> None:
    spec = replace(known_good(shop.catalog.patterns["twofold"]), monogram=Monogram("ANNA", "blind"))
    told = explained(shop, spec, today)
    kinds = {rule: told[rule]["kind"] for rule in ("MON-01", "MON-02", "MON-03", "MON-12", "CAT-03", "STK-01")}
    open_ones = dict.fromkeys(("MON-01", "MON-02", "MON-03", "MON-12"), "open")
    assert kinds == {**open_ones, "CAT-03": "fail", "STK-01": "pass"}


def _with_gaps(spec: Spec, draw: random.Random) -> Spec:
    """Leave out some of what a spec must say."""

    def kept() -> bool:
        return draw.random() < 0.7

    return replace(
        spec,
        parts={part: own for part, own in spec.parts.items() if kept()},
        thread=spec.thread if kept() else None,
        edge=spec.edge if kept() else None,
        hardware={slot: own for slot, own in spec.hardware.items() if kept()},
        sizes_um={size: own for size, own in spec.sizes_um.items() if kept()},
    )


def test_what_passes_or_does_not_apply_with_gaps_finds_nothing_once_they_are_filled(shop: Shop, today: date) -> None:
    """A part of another pattern and a rivet are no gaps, and other lots may be best for the whole piece."""
    draw = random.Random("gaps")
    settled, open_ones = 0, 0
    for spec in sample_specs(shop.catalog, random.Random("filled"), today, 800):
        pattern = shop.catalog.patterns[spec.pattern]
        gaps = _with_gaps(spec, draw)
        own = all(part in pattern.parts for part in spec.parts) and all(
            slot in gaps.hardware or (slot in pattern.fixings and pattern.fixings[slot].required)
            for slot in spec.hardware
        )
        before, after = judge(shop, gaps, today).case, judge(shop, spec, today).case
        if not own or any(before.lots[part] != after.lots.get(part) for part in before.lots if before.lots[part]):
            continue
        told, full = explained(shop, gaps, today), explained(shop, spec, today)
        for rule, word in told.items():
            if word["kind"] in {"pass", "notApplicable"}:
                assert full[rule]["kind"] not in WORST, (rule, gaps)
                settled += 1
            open_ones += word["kind"] == "open"
    assert min(settled, open_ones) > 5_000


def test_without_a_pattern_what_hangs_on_it_is_open_and_what_is_asked_for_is_judged(shop: Shop, today: date) -> None:
    for spec in sample_specs(shop.catalog, random.Random("no pattern"), today, 100):
        told = explained(shop, replace(spec, pattern="no such"), today)
        assert {told[rule]["kind"] for rule in ("STK-01", "FLD-01", "PRC-02", "HDW-01")} == {"open"}
        assert told["MON-01"]["kind"] == ("notApplicable" if spec.monogram is None else "open")
        assert told["CAT-01"]["kind"] == "fail"


def test_figures_are_those_of_the_instance_nearest_to_its_limit(shop: Shop, today: date) -> None:
    told = explained(shop, known_good(shop.catalog.patterns["twofold"]), today)
    seam = told["STK-01"]
    stacks = check(shop, known_good(shop.catalog.patterns["twofold"]), today=today)["figures"]["stack_mm"]
    limits = {code: each.limit_um / 1000 for code, each in shop.catalog.patterns["twofold"].seams.items()}
    nearest = min(limits, key=lambda code: (limits[code] - stacks[code]) / limits[code])
    assert seam["subject"] == {"seam": nearest}
    assert (seam["measured"], seam["limit"], seam["unit"]) == (stacks[nearest], limits[nearest], "mm")
    assert seam["room"] == round(limits[nearest] - stacks[nearest], 3)


def test_a_body_and_its_echo_are_explained_alike(
    shop: Shop, today: date, spec_of: Callable[[dict[str, Any]], Spec]
) -> None:
    for spec in sample_specs(shop.catalog, random.Random("echo"), today, 60):
        once = check(shop, spec, today=today, explain=True)
        again = check(shop, spec_of(once["spec"]), today=today, explain=True)
        assert once["explained"] == again["explained"]


def test_a_monogram_is_read_back_sign_by_sign(shop: Shop, today: date) -> None:
    pattern = shop.catalog.patterns["twofold"]
    face = next(iter(shop.catalog.typefaces.values()))
    spec = replace(known_good(pattern), monogram=Monogram("AA é", "blind", face.code, next(iter(pattern.zones))))
    signs = check(shop, spec, today=today, explain=True)["read_back"]
    assert [each["sign"] for each in signs] == ["A", "A", " ", "é"]
    assert [each["name"] for each in signs][:1] == ["latin capital letter a"]  # Unicode character database
    assert [each["asked"] for each in signs] == [1, 2, 1, 1]
    assert [each["in_type"] for each in signs] == [True, True, None, False]
    plain = check(shop, known_good(pattern), today=today, explain=True)
    assert plain["read_back"] is None
    assert "read_back" not in check(shop, spec, today=today)


def test_figures_of_the_stock_are_the_staffs(shop: Shop, today: date) -> None:
    pattern = shop.catalog.patterns["twofold"]
    face = next(iter(shop.catalog.typefaces))
    spec = replace(
        known_good(pattern),
        parts={part: PartChoice("GO-BLK") for part in pattern.parts},
        monogram=Monogram("A", "blind", face, next(iter(pattern.zones))),
    )
    answer = check(shop, spec, today=today, explain=True)
    page, staff = view(answer, Caller.PAGE), view(answer, Caller.STAFF)
    stock = {each["rule"]: each for each in page["explained"]}["STO-01"]
    assert (stock["measured"], stock["limit"], stock["room"]) == (None, None, None)
    assert {each["rule"]: each for each in staff["explained"]}["STO-01"]["limit"] is not None
    assert {each["rule"]: each for each in page["explained"]}["STK-01"]["measured"] is not None
    assert not any("good" in each or "worn" in each for each in page["read_back"])
    assert all("good" in each for each in staff["read_back"])
    assert not any("lot" in each.get("subject", {}) for each in page["explained"])
    assert "PRC-01" not in {each["rule"] for each in staff["explained"]}
