"""What was agreed while a row of the law was taken as it is, is asked anew once the row is past its review."""

from __future__ import annotations

from support.desk import Desk

ROO = {
    "pattern": "passcover",
    "parts": {"outside": {"leather": "KA-BLK"}, "inside": {"leather": "GO-BLK"}, "pockets": {"leather": "GO-BLK"}},
    "thread": "TH-P05-BLK",
    "edge": "ED-BURN",
    "ship_to": "DE",
}


def asked_of(desk: Desk, quote: str) -> list[str]:
    signs = desk.get("/v1/sign-offs?state=asked").json()["items"]
    return [sign["rule"] for sign in signs if sign["quote"] == quote]


def test_an_agreement_until_a_date_ends_with_the_review_of_the_row_that_it_rests_on(desk: Desk) -> None:
    first = desk.quote(ROO).json()["id"]
    assert asked_of(desk, first) == ["LAW-02"]
    desk.agree(first, decision="given", scope="until", until="2027-01-01")
    assert desk.entry(f"/v1/quotes/{first}", "withdraw", reason="another time").status_code == 201
    desk.wait(days=100)  # 2026-06-10: the row is to be looked at by 2026-08-31
    second = desk.quote(ROO).json()["id"]
    assert (asked_of(desk, second), desk.state(second)) == ([], "held")
    desk.entry(f"/v1/quotes/{second}", "withdraw", reason="another time")
    desk.wait(days=100)  # 2026-09-18
    third = desk.quote(ROO).json()["id"]
    assert asked_of(desk, third) == ["LAW-02"]
    assert desk.state(third) == "awaiting_sign_off"
