"""What if: a list judged under changes that are not, or not yet, so. Nothing of it is kept."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from support.desk import WALLET, Desk

GRAY = {**WALLET, "parts": {**WALLET["parts"], "outside": {"leather": "SM-GRY"}}}
SHELL = {
    "leather": "SH-GAR",
    "left_dm2": 20,
    "thickness_mm": {"min": 1.2, "max": 1.4},
    "rectangles_mm": [[400, 300]],
}


@pytest.fixture
def suppose(desk: Desk) -> Callable[..., Any]:
    def asked(specs: list[Any], overrides: Any, *, mode: str = "independent", who: str = "owner") -> Any:
        return desk.post(f"/v1/wishlists?mode={mode}", {"specs": specs, "overrides": overrides}, who)

    return asked


def rules_of(row: Any) -> set[str]:
    return {each["rule"] for each in row["check"]["findings"] if each["severity"] == "refuse"}


def test_with_nothing_supposed_all_is_as_in_a_check(suppose: Callable[..., Any], desk: Desk) -> None:
    row = suppose([WALLET], {}).json()["rows"][0]
    check = desk.post("/v1/checks", WALLET).json()
    assert row["check"] == check


def test_a_lot_that_would_be_gone_is_not_cut_from(suppose: Callable[..., Any]) -> None:
    row = suppose([WALLET], {"lots": {"l104": None}}).json()["rows"][0]
    assert {cut["lot"] for cut in row["check"]["cut_from"] if cut["part"] == "outside"} == {"L105"}
    gone = suppose([WALLET], {"lots": {"L104": None, "L105": None}}).json()["rows"][0]
    assert gone["check"]["outcome"] == "refused"


def test_a_lot_that_would_be_smaller_holds_less(suppose: Callable[..., Any]) -> None:
    # 7.5 dm2 of the lot are promised: a wallet takes 3.579.
    enough = suppose([WALLET], {"lots": {"L104": {"left_dm2": 11.08}, "L105": None}}).json()["rows"][0]
    short = suppose([WALLET], {"lots": {"L104": {"left_dm2": 11.07}, "L105": None}}).json()["rows"][0]
    assert (enough["check"]["outcome"], short["check"]["outcome"]) == ("sign_off", "refused")
    assert rules_of(short) == {"STO-01"}


def test_a_lot_received_can_be_cut_from(suppose: Callable[..., Any]) -> None:
    six = suppose([WALLET] * 6, {"lots": {"L900": SHELL}}, mode="together").json()
    assert [row["check"]["outcome"] for row in six["rows"]].count("refused") == 0
    lots = {cut["lot"] for row in six["rows"] for cut in row["check"]["cut_from"] if cut["part"] == "outside"}
    assert "L900" in lots


def test_a_leather_that_would_be_retired_is_not_sold(suppose: Callable[..., Any]) -> None:
    assert rules_of(suppose([GRAY], {"leathers": {"sm-gry": {"status": "retired"}}}).json()["rows"][0]) >= {"CAT-02"}


def test_a_price_list_eight_percent_up_goes_up_to_the_next_price_point(suppose: Callable[..., Any]) -> None:
    # 435.00 + 9.00 + 10.00 = 454.00 by the list; x 1.08 = 490.32, up to the next 5. The price points stay.
    row = suppose([WALLET], {"price_percent": 8}).json()["rows"][0]
    assert row["check"]["price"]["total"] == "495.00"
    assert row["check"]["price"]["lines"][0]["amount"] == "469.80"


def test_another_day_is_the_day_of_every_row(suppose: Callable[..., Any]) -> None:
    answer = suppose([WALLET, GRAY], {"today": "2026-04-01"}).json()
    assert answer["as_of"] == "2026-04-01"
    assert {row["check"]["as_of"] for row in answer["rows"]} == {"2026-04-01"}
    assert answer["rows"][0]["check"]["promise"]["ready_on"] > "2026-04-01"


def test_nothing_of_it_is_kept(suppose: Callable[..., Any], desk: Desk) -> None:
    before = desk.post("/v1/checks", WALLET).content
    suppose([WALLET], {"lots": {"L104": None, "L900": SHELL}, "price_percent": 8, "today": "2027-01-01"})
    assert desk.post("/v1/checks", WALLET).content == before
    assert desk.get("/v1/lots/L900").status_code == 404


@pytest.mark.parametrize(
    ("overrides", "pointer"),
    [
        ({"lots": {"L999": None}}, "/overrides/lots/L999"),
        ({"lots": {"L999": {"left_dm2": 4}}}, "/overrides/lots/L999"),
        ({"lots": {"L104": {"leather": "GO-BLK"}}}, "/overrides/lots/L104/leather"),
        ({"lots": {"L900": {**SHELL, "leather": "NONE"}}}, "/overrides/lots/L900/leather"),
        ({"lots": {"L104": {"thickness_mm": {"min": 2, "max": 1}}}}, "/overrides/lots/L104/thickness_mm"),
        ({"lots": {"a/b~c": None}}, "/overrides/lots/a~1b~0c"),
        ({"lots": {"N1": SHELL, "n1": SHELL}}, "/overrides/lots/n1"),
        (
            {"leathers": {"SH-GAR": {"status": "retired"}, "sh-gar": {"status": "active"}}},
            "/overrides/leathers/sh-gar",
        ),
        ({"leathers": {"NONE": {"status": "retired"}}}, "/overrides/leathers/NONE"),
    ],
)
def test_what_cannot_be_supposed_is_refused_with_its_place(
    suppose: Callable[..., Any], overrides: Any, pointer: str
) -> None:
    answer = suppose([WALLET], overrides)
    assert answer.status_code == 409
    assert answer.json()["type"] == "/problems/contradiction"
    assert answer.json()["errors"][0]["pointer"] == pointer


@pytest.mark.parametrize(
    ("overrides", "pointer"),
    [
        ({"price": 8}, "/overrides/price"),
        ({"price_percent": "8"}, "/overrides/price_percent"),
        ({"price_percent": -91}, "/overrides/price_percent"),
        ({"today": "1.4.2026"}, "/overrides/today"),
        ({"today": "9999-12-31"}, "/overrides/today"),
        ({"leathers": {"SM-GRY": {"status": "lost"}}}, "/overrides/leathers/SM-GRY/status"),
    ],
)
def test_overrides_that_break_the_schema_are_422_with_a_pointer(
    suppose: Callable[..., Any], overrides: Any, pointer: str
) -> None:
    answer = suppose([WALLET], overrides)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == pointer


def test_a_storefront_may_not_think_of_lots(suppose: Callable[..., Any]) -> None:
    assert suppose([WALLET], {"lots": {"L104": None}}, who="server").status_code == 403
    assert suppose([WALLET], {"price_percent": 8}, who="server").status_code == 200


def test_overrides_come_with_a_sheet_as_a_field_of_the_form(send: Callable[..., Any]) -> None:
    answer = send([WALLET], "csv", overrides={"price_percent": 8})
    assert answer.status_code == 200
    assert "495.00" in answer.text
    assert send([WALLET], "csv", overrides={"price": 8}).json()["errors"][0]["pointer"] == "/overrides/price"


def test_on_a_day_after_its_review_a_row_of_the_law_says_so(suppose: Callable[..., Any]) -> None:
    roo = {**WALLET, "parts": {**WALLET["parts"], "outside": {"leather": "KA-BLK"}}, "ship_to": "US-CA"}
    for who in ("server", "owner"):
        told = {}
        for day in ("2026-08-31", "2026-09-01"):
            (row,) = suppose([roo], {"today": day}, who=who).json()["rows"]
            told[day] = row["check"], next(each for each in row["check"]["findings"] if each["rule"] == "LAW-01")
        (fresh, before), (late, after) = told.values()
        assert (before["params"]["past_review"], after["params"]["past_review"]) == (False, True)
        assert (after["params"]["law_row"], after["params"]["review_by"]) == ("LR-01", "2026-08-31")
        assert "review" not in before["message"]
        assert "(2026-08-31)" in after["message"]
        assert late["headline"].startswith("Law note past its review date (2026-08-31): ")
        assert (fresh["outcome"], len(late["headline"]) <= 120) == (late["outcome"], True)
        assert ("bench_message" in after) is (who == "owner")
