"""The 95 example specs of the trade, judged on 2026-03-02.

Source of the expected outcomes: the trade's own reference computation, kept as data.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from rules.check import check
from rules.shop import Shop
from rules.spec import Spec

EXAMPLES = json.loads((Path(__file__).parents[1] / "data" / "example-specs.json").read_text(encoding="utf-8"))


def test_there_are_95_example_specs() -> None:
    assert len(EXAMPLES) == 95


@pytest.mark.parametrize("example", EXAMPLES, ids=[example["id"] for example in EXAMPLES])
def test_an_example_spec_has_its_outcome_rules_total_and_figures(
    example: dict[str, Any], shop: Shop, spec_of: Callable[[dict[str, Any]], Spec], today: date
) -> None:
    answer = check(shop, spec_of(example["spec"]), today=today)
    expect = example["expect"]
    fired = {finding["rule"] for finding in answer["findings"] if finding["severity"] != "notice"}
    assert sorted(fired) == sorted(expect["rules"])
    assert answer["outcome"] == expect["outcome"]
    assert (answer["price"] or {}).get("total") == expect.get("total")
    figures = {**answer["figures"], "weeks": (answer["promise"] or {}).get("weeks")}
    for name, value in expect.get("figures", {}).items():
        # The reference states minutes to two decimals.
        shown = round(figures[name], 2) if name == "minutes" else figures[name]
        assert shown == value, name
