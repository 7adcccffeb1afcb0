"""A second, tiny workshop under the same rules: nothing is wired to the demo."""

from __future__ import annotations

from datetime import date

import pytest

from catalog.model import Catalog
from rules.check import check
from rules.shop import Shop, open_shop
from rules.spec import Spec
from rules.themes import known_good


@pytest.fixture(scope="module")
def tiny(tiny_catalog: Catalog, book_files: dict[str, str]) -> Shop:
    return open_shop(tiny_catalog, book_files)


def test_every_pattern_of_the_tiny_workshop_is_buildable_by_its_defaults(tiny: Shop, today: date) -> None:
    for pattern in tiny.catalog.patterns.values():
        answer = check(tiny, known_good(pattern), today=today)
        assert answer["outcome"] == "buildable", answer["headline"]


def test_money_has_the_digits_of_its_own_currency(tiny: Shop, today: date) -> None:
    """Yen have no minor unit (ISO 4217)."""
    (pattern, *_) = tiny.catalog.patterns.values()
    price = check(tiny, known_good(pattern), today=today)["price"]
    assert price["currency"] == "JPY"
    assert price["total"].isdigit()
    assert sum(int(line["amount"]) for line in price["lines"]) == int(price["each"])


def test_a_code_of_the_demo_is_unknown_there(tiny: Shop, today: date) -> None:
    answer = check(tiny, Spec(pattern="twofold"), today=today)
    assert (answer["outcome"], answer["price"]) == ("refused", None)
    assert [finding["rule"] for finding in answer["findings"] if finding["severity"] == "refuse"] == ["CAT-01"]
