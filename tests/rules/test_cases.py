"""Worked orders, one for each rule: the arithmetic is written beside the figures in the case files."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from catalog.strict_yaml import read
from rules.check import check
from rules.shop import Shop
from rules.spec import CutThen, LotThen, Repeated, Spec

FOLDER = Path(__file__).parents[1] / "cases"
FILES = sorted(FOLDER.glob("*.yaml"))


def plain(value: Any) -> Any:
    """Turn exact decimals and dates of the file into what JSON carries."""
    if isinstance(value, dict):
        return {key: plain(each) for key, each in value.items()}
    if isinstance(value, list):
        return [plain(each) for each in value]
    if isinstance(value, date):
        return value.isoformat()
    return value if value is None or isinstance(value, str | bool | int) else float(value)


def read_case(path: Path) -> dict[str, Any]:
    """Return one case file as plain data."""
    return dict(plain(read(path.read_text(encoding="utf-8"), path.name).value))


def repeated(case: dict[str, Any]) -> Repeated | None:
    """Return the order that a case repeats: part by part its leather, side and lots with their distance to standard."""
    if "repeats" not in case:
        return None
    drifts = {
        part: CutThen(
            then["leather"],
            then.get("side", "grain"),
            tuple(LotThen(code, round(1_000 * de00)) for code, de00 in then["lots"].items()),
        )
        for part, then in case["repeats"].items()
    }
    return Repeated(case["spec"]["repeat_of"], drifts)


def test_every_rule_of_the_trade_at_the_check_stage_has_a_worked_case(shop: Shop) -> None:
    told = {read_case(path)["rule"] for path in FILES}
    trade = {rule.id for rule in shop.book.rules.values() if rule.stage == "check" and rule.family != "house"}
    assert trade - told == set()


@pytest.mark.parametrize("path", FILES, ids=[path.stem for path in FILES])
def test_a_worked_case_comes_out_as_worked_by_hand(
    path: Path, shop: Shop, spec_of: Callable[[dict[str, Any]], Spec], today: date
) -> None:
    case = read_case(path)
    spec = replace(spec_of(case["spec"]), repeats=repeated(case))
    answer = check(shop, spec, today=today)
    fired = {finding["rule"] for finding in answer["findings"] if finding["severity"] != "notice"}
    assert sorted(fired) == sorted(case["rules"])
    assert answer["outcome"] == case["outcome"]
    assert (answer["price"] or {}).get("total") == case["total"]
    own = [each for each in answer["findings"] if each["rule"] == case["rule"] and each["severity"] == case["severity"]]
    wanted = case["finding"]
    assert wanted in [{name: each[name] for name in wanted} for each in own]
    assert len(case["worked"].strip()) > 80, "the arithmetic stands beside the figures"
