"""House rules of rare shapes are read as the check judges them: over a leather, a species or a panel, and more.

The check says of each thread what comes of it; it knows nothing of guidance.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import yaml

import rules
from catalog.model import Catalog
from rules.check import judge
from rules.guide import guide
from rules.shop import Shop, open_shop
from rules.spec import PartChoice, Spec

STATE = {"buildable": "open", "sign_off": "sign_off", "refused": "closed"}
LEFT_OUT = ("/monogram", "/modifications")
TWOFOLD = Spec(
    pattern="twofold",
    parts={
        "outside": PartChoice("VS-COG", "grain"),
        "inside": PartChoice("GO-BLK", "grain"),
        "pockets": PartChoice("GO-BLK", "grain"),
    },
    thread="TH-P05-TAN",
    stitch="hand",
    edge="ED-BURN",
)
BLACK = {"piece.thread": "TH-P05-BLK"}
RULES: dict[str, dict[str, Any]] = {
    "leather and thread": {"each": "leather", "when": BLACK, "forbid": {"leather.last_lot": False}},
    "leather and how many": {
        "each": "leather", "when": {"piece.leathers": {"includes": "GO-BLK"}} | BLACK,
        "forbid": {"leather.last_lot": False},
    },
    "share and side": {
        "each": "share", "when": {"piece.flesh_parts": {"includes": "inside"}}, "forbid": {"share.several_lots": False},
    },
    "species and thread": {"each": "species", "when": BLACK, "limit": "piece.leather_count", "max": 1},
    "panel and how many": {"each": "panel", "when": BLACK, "limit": "piece.leather_count", "max": 1},
}  # fmt: skip


def shop_with(catalog: Catalog, rule: dict[str, Any]) -> Shop:
    """Return the demo workshop with one rule of its own, which refuses."""
    tests = rule["when"] | rule.get("forbid", {})
    fails = {name: [test["includes"]] if isinstance(test, dict) else test for name, test in tests.items()}
    if "limit" in rule:
        fails[rule["limit"]] = {"max": 2, "min": "1 dm2"}["max" if "max" in rule else "min"]
    whole = {
        "id": "H-ODD", "says": "A rule of a rare shape.", "why": "It is the practice of this house.",
        "tell": "This does not go together here.", "source": "the owner, 2026-03-02", "severity": "refuse",
        "at": ["parts"], "examples": [{"fails": fails}, {"skips": {next(iter(rule["when"])): "unknown"}}],
    }  # fmt: skip
    house = {"house-rules.yaml": yaml.safe_dump({"rules": [whole | rule]})}
    book = Path(rules.__file__).parent / "book"
    texts = {path.name: path.read_text(encoding="utf-8") for path in sorted(book.glob("*.yaml"))}
    return open_shop(replace(catalog, house=house), texts)


@pytest.mark.parametrize("name", RULES)
def test_each_option_is_what_a_check_of_it_says(oddlestone: Catalog, today: date, name: str) -> None:
    shop, compared, closed = shop_with(oddlestone, RULES[name]), 0, 0
    for side in ("grain", "flesh"):
        spec = replace(TWOFOLD, parts={**TWOFOLD.parts, "inside": PartChoice("GO-BLK", side)})
        slots = {slot.pointer: slot for slot in guide(shop, spec, today, left_out=LEFT_OUT).slots}
        asked = [(replace(spec, thread=each.value), each) for each in slots["/thread"].options]
        asked += [
            (replace(spec, parts={**spec.parts, "inside": PartChoice(**each.value)}), each)
            for each in slots["/parts/inside"].options
        ]
        for other, option in asked:
            verdict = judge(shop, other, today)
            assert option.state == STATE[verdict.outcome], (other, option)
            compared += 1
            closed += any(finding.rule == "H-ODD" for finding in verdict.findings)
    assert compared > 50
    assert closed, "the rule never speaks"


def test_what_a_rule_over_a_leather_says_of_one_order_is_not_kept_for_another(oddlestone: Catalog, today: date) -> None:
    rule = {"each": "leather", "when": {"piece.rush": True}, "limit": "leather.left_after", "min": "400 dm2"}
    shop = shop_with(oddlestone, rule)
    for rush in (False, True, False):
        spec = replace(TWOFOLD, rush=rush)
        told = guide(shop, spec, today, left_out=LEFT_OUT).state
        assert told == STATE[judge(shop, spec, today).outcome] == ("closed" if rush else "open")


def test_a_supply_that_is_used_up_is_not_taken_for_what_was_there_before(shop: Shop, today: date) -> None:
    """Stocks of one revision stand beside each other: what is left of a basket, what if."""
    for left_um in (0, 10**9, 0, 10**9):
        threads = {code: replace(each, left_um=left_um) for code, each in shop.catalog.threads.items()}
        own = shop.restocked(replace(shop.catalog, threads=threads), 7, 0)
        told = guide(own, TWOFOLD, today, left_out=LEFT_OUT).state
        assert told == STATE[judge(own, TWOFOLD, today).outcome]
