"""Findings of the law file carry the dated row behind them, and say so once it is past its review."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from catalog.model import Catalog
from rules.bulk import briefs_of
from rules.check import check, judge
from rules.shop import Shop, open_shop
from rules.spec import PartChoice, Purpose, Spec
from rules.themes import known_good

#: The last day on which the rows LR-01, LR-02 and LR-06 of the demo are taken as they are.
LAST = date(2026, 8, 31)
LATE = LAST + timedelta(days=1)
NOTE = "Law note past its review date (2026-08-31): "


@pytest.fixture(scope="module")
def kangaroo(shop: Shop) -> Spec:
    """A passport cover of kangaroo for California, whose rows disagree in their days."""
    good = known_good(shop.catalog.patterns["passcover"])
    return replace(good, parts={**good.parts, "outside": PartChoice("KA-BLK")}, ship_to="US-CA")


def findings(shop: Shop, spec: Spec, today: date) -> dict[str, Any]:
    return {each["rule"]: each for each in check(shop, spec, today=today)["findings"]}


def test_a_finding_carries_the_row_whose_law_it_is_and_its_days(shop: Shop, kangaroo: Spec, today: date) -> None:
    params = findings(shop, kangaroo, today)["LAW-01"]["params"]
    told = {name: params[name] for name in ("law_row", "jurisdiction", "checked_on", "review_by", "past_review")}
    assert told == {
        "law_row": "LR-01", "jurisdiction": "California, United States", "checked_on": "2026-02-16",
        "review_by": "2026-08-31", "past_review": False,
    }  # fmt: skip


def test_a_finding_that_rests_on_no_row_carries_none(shop: Shop, today: date) -> None:
    odd = replace(known_good(shop.catalog.patterns["twofold"]), thread="TH-NONE")
    params = findings(shop, odd, today)["CAT-01"]["params"]
    assert "law_row" not in params
    assert "past_review" not in params


def test_on_the_day_of_review_all_is_as_ever_and_on_the_next_the_finding_says_so(shop: Shop, kangaroo: Spec) -> None:
    before, after = findings(shop, kangaroo, LAST)["LAW-01"], findings(shop, kangaroo, LATE)["LAW-01"]
    assert before["message"] == findings(shop, kangaroo, date(2026, 3, 2))["LAW-01"]["message"]
    assert "review" not in before["message"] + before["bench_message"]
    assert after["message"] == f"{NOTE}{before['message']} Please ask the local authority or a licensed adviser."
    assert "LR-01, review by 2026-08-31" in after["bench_message"]
    assert before["bench_message"] in after["bench_message"]
    for words in ("Local law decides", "licensed adviser"):
        assert words in after["bench_message"]
    assert (before["params"]["past_review"], after["params"]["past_review"]) == (False, True)
    assert (before["severity"], before["at"]) == (after["severity"], after["at"]), "the verdict stays"


def test_only_findings_whose_own_row_is_past_its_review_say_so(shop: Shop, kangaroo: Spec) -> None:
    told = findings(shop, kangaroo, LATE)
    late = {rule for rule, each in told.items() if each["message"].startswith("Law note past its review date")}
    assert late == {"LAW-01", "LAW-08"}, "LAW-13 is looked at again in 2027"
    assert told["LAW-13"]["params"]["past_review"] is False


def test_every_law_finding_of_the_demo_says_so_once_its_row_is_late(shop: Shop) -> None:
    far = date(2027, 3, 1)
    good = known_good(shop.catalog.patterns["wstrap"])
    strap = replace(
        good,
        parts={**good.parts, "lining": PartChoice("PG-SAN")},
        purpose=Purpose(claims=("vegan",), child_under_3=True),
    )
    sheath = known_good(shop.catalog.patterns["sheath"])
    told = findings(shop, strap, far) | findings(shop, sheath, far)
    law = {rule for rule in told if rule.startswith("LAW-")}
    assert law >= {"LAW-03", "LAW-06", "LAW-07", "LAW-08", "LAW-12", "LAW-13"}
    for rule in law:
        assert told[rule]["message"].startswith("Law note past its review date ("), rule
        assert told[rule]["bench_message"].startswith("Past its review date (LR-"), rule


def test_the_headline_says_so_within_its_120_characters(shop: Shop, kangaroo: Spec) -> None:
    before, after = (check(shop, kangaroo, today=day)["headline"] for day in (LAST, LATE))
    assert before.startswith("Law in US-CA may forbid goods of kangaroo leather.")
    assert after.startswith(f"{NOTE}Law in US-CA may forbid goods of kangaroo")
    assert len(after) <= 120


def test_a_list_says_what_a_check_says(shop: Shop, kangaroo: Spec) -> None:
    specs = [replace(kangaroo, ship_to=to) for to in ("US-CA", "US", "DE", "XA", None)] * 3
    for day in (LAST, LATE):
        alone = [check(shop, spec, today=day)["headline"] for spec in specs]
        assert [brief.headline for brief in briefs_of(shop, specs, day)] == alone


def test_rows_of_other_places_are_told_apart_although_the_rule_reads_no_place(
    oddlestone: Catalog, book_files: dict[str, str], today: date
) -> None:
    """What is kept of one destination must not be told of another: LAW-07 itself reads the pattern alone."""
    row = replace(oddlestone.law_rows["LR-05"], code="LR-90", destination="DE", review_by=date(2026, 2, 20))
    shop = open_shop(replace(oddlestone, law_rows={**oddlestone.law_rows, "LR-90": row}), book_files)
    sheath = known_good(oddlestone.patterns["sheath"])
    told = {
        to: findings(shop, replace(sheath, ship_to=to), today)["LAW-07"]["params"]["law_row"]
        for to in ("XA", "DE", "US", "DE-BY")
    }
    assert told == {"XA": "LR-05", "DE": "LR-90", "US": "LR-05", "DE-BY": "LR-90"}, "the one due first stands for both"
    assert judge(shop, replace(sheath, ship_to="DE"), today).outcome == "buildable"


def test_the_right_of_withdrawal_names_its_days_too(shop: Shop, today: date) -> None:
    told = check(shop, known_good(shop.catalog.patterns["twofold"]), today=today)["withdrawal"]
    assert told == {
        "ground": "options_only", "law_row": "LR-06", "checked_on": "2026-02-16", "review_by": "2026-08-31",
    }  # fmt: skip
