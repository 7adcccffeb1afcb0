"""Faults that an attack on the desk once found; each came out otherwise then."""

from __future__ import annotations

from support.desk import PAID, WALLET, Desk
from support.verifier import faults


def assert_well(desk: Desk) -> None:
    with desk.house.store.read() as connection:
        assert faults(connection, desk.house.catalog, desk.house.shelves.gap_um) == []


def lot_of(desk: Desk, order: str, part: str) -> str:
    found: str = next(each["lot"] for each in desk.get(order).json()["items"][0]["to_cut"] if each["part"] == part)
    return found


def test_a_lot_that_holds_something_may_be_thrown_away(small: Desk) -> None:
    quote = small.quote(WALLET).json()["id"]
    answer = small.entry("/v1/lots/L104", "scrap", reason="fire")
    assert answer.status_code == 201
    assert answer.json()["short"] == ([quote] if small.state(quote) == "short" else [])
    assert_well(small)


def test_the_older_hold_takes_the_place_of_the_newer(small: Desk) -> None:
    lots = []
    for code in ("Y-ONE", "Y-TWO"):
        body = {
            "code": code, "leather": "SH-GAR", "form": "shell", "area_dm2": 12,
            "thickness_mm": {"min": 1.2, "max": 1.4}, "rectangles_mm": [[240, 110]],
        }  # fmt: skip
        assert small.post("/v1/lots", body).status_code == 201
        lots.append(code)
    for code in ("L104", "L105"):
        small.entry(f"/v1/lots/{code}", "scrap", reason="out of the way")
    older, newer = (small.quote(WALLET).json() for _ in range(2))
    held = {
        cut["lot"]
        for quote in (older, newer)
        for cut in quote["items"][0]["check"]["cut_from"]
        if cut["part"] == "outside"
    }
    assert held == set(lots)
    of_older = next(c["lot"] for c in older["items"][0]["check"]["cut_from"] if c["part"] == "outside")
    answer = small.entry(f"/v1/lots/{of_older}", "count", area_dm2=0, rectangles_mm=[])
    assert answer.json()["short"] == [newer["id"]]
    assert [small.state(quote["id"]) for quote in (older, newer)] == ["held", "short"]
    assert_well(small)


def test_a_pin_after_a_cut_keeps_what_is_cut_out_of_what_is_held(small: Desk) -> None:
    order = f"/v1/orders/{small.order(small.quote(WALLET).json()['id']).json()['id']}"
    assert small.entry(order, "cut", item=1, part="outside", lot="L104").status_code == 201
    before = lot_of(small, order, "inside")
    other = next(lot["id"] for lot in small.get("/v1/lots?leather=GO-BLK").json()["items"] if lot["id"] != before)
    pinned = small.entry(order, "pin", item=1, part="inside", lot=other, reason="a better match")
    assert pinned.status_code in {201, 409}, pinned.text
    assert "outside" not in {each["part"] for each in small.get(order).json()["items"][0]["to_cut"]}
    assert_well(small)


def test_what_is_shipped_short_leaves_no_other_hold_on_nothing(small: Desk) -> None:
    order = f"/v1/orders/{small.order(small.quote(WALLET).json()['id']).json()['id']}"
    small.entry("/v1/supplies/TH-P05-GAR", "count", amount=1)
    assert small.get(order).json()["hold"]["state"] == "short"
    small.entry("/v1/supplies/TH-P05-GAR", "count", amount=4)
    newer = small.quote(WALLET)
    for part, lot in sorted({(each["part"], each["lot"]) for each in small.get(order).json()["items"][0]["to_cut"]}):
        assert small.entry(order, "cut", item=1, part=part, lot=lot).status_code == 201
    assert small.entry(order, "ship").status_code == 201
    assert_well(small)
    if newer.status_code == 201:
        assert small.state(newer.json()["id"]) in {"short", "held", "awaiting_sign_off"}


def test_a_live_quote_is_not_forgotten_and_an_order_is_asked_instead(small: Desk) -> None:
    quote = small.quote(WALLET).json()["id"]
    path = f"/v1/quotes/{quote}/entries"
    assert small.post(path, {"kind": "forget"}).json()["type"] == "/problems/wrong-state"
    assert small.order(quote).status_code == 201
    assert small.post(path, {"kind": "forget"}).json()["type"] == "/problems/wrong-state"
    again = small.order(quote)
    assert (again.status_code, again.json()["type"]) == (409, "/problems/wrong-state")


def test_a_quote_that_was_forgotten_cannot_be_ordered(small: Desk) -> None:
    spec = {**WALLET, "monogram": {"text": "AB", "method": "blind", "typeface": "FA-SER14", "zone": "Z-IN-LOW"}}
    quote = small.quote(spec).json()["id"]
    small.entry(f"/v1/quotes/{quote}", "withdraw")
    assert small.post(f"/v1/quotes/{quote}/entries", {"kind": "forget"}).status_code == 201
    assert small.order(quote).json()["type"] == "/problems/hold-lapsed"


def test_a_cut_leaves_no_more_than_there_was(small: Desk) -> None:
    order = f"/v1/orders/{small.order(small.quote(WALLET).json()['id']).json()['id']}"
    fields = {"item": 1, "part": "outside", "lot": "L104"}
    for left in ({"rectangles_left_mm": [[3000, 3000]]}, {"area_left_dm2": 5000}):
        answer = small.entry(order, "cut", **fields, **left)
        assert (answer.status_code, answer.json()["type"]) == (409, "/problems/contradiction")
    small.entry(order, "cut", **fields)
    spoilt = small.entry(order, "recut", item=1, part="outside", lot="L113", reason="a scratch")
    assert spoilt.json()["type"] == "/problems/contradiction"


def test_a_weak_tag_and_an_old_one_match_nothing(small: Desk) -> None:
    quote = small.quote(WALLET).json()["id"]
    for version in ('W/"v1"', '"v0"', '"v1x"', "v1", '"v2", W/"v1"'):
        answer = small.post(f"/v1/quotes/{quote}/entries", {"kind": "withdraw"}, version=version)
        assert (answer.status_code, answer.json()["type"]) == (412, "/problems/changed-meanwhile")
    answer = small.post(f"/v1/quotes/{quote}/entries", {"kind": "withdraw"}, version='"v9", "v1"')
    assert answer.status_code == 201


def test_a_supply_that_comes_in_is_there_again(small: Desk) -> None:
    assert small.post("/v1/supplies/ED-PNT-GRY/entries", {"kind": "receive", "amount": 100}).json()["state"] == "active"
    edges = {edge["code"]: edge for edge in small.get("/v1/edges").json()["items"]}
    assert edges["ED-PNT-GRY"]["status"] == "active"


def test_a_refusal_after_the_order_comes_too_late(small: Desk) -> None:
    from support.desk import LONG

    quote = small.quote(LONG, hold="quote").json()["id"]
    small.agree(quote)
    sign = small.get(f"/v1/quotes/{quote}").json()["items"][0]["sign_offs"][0]
    assert small.post("/v1/orders", {"quote": quote, "payment": PAID}).status_code == 201
    body = {"quote": quote, "item": 1, "finding": sign["finding"], "decision": "refused"}
    assert small.post("/v1/sign-offs", body).json()["type"] == "/problems/wrong-state"
