"""Quotes, orders and sign-offs show each class of key its own part, and another client nothing at all."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest
from support.desk import LONG, PAID, STRAP, WALLET, Desk

from api.visibility import RECORD, Caller

CLASSES = {"server": Caller.SERVER, "staff": Caller.STAFF, "owner": Caller.OWNER}
#: What nobody but the workshop may find in any answer to a key of a web shop.
SECRETS = (
    "cut_from",
    "bench_message",
    "minutes",
    "rectangles",
    "took_um2",
    "to_cut",
    '"lots"',
    '"lot"',
    "cost",
    "margin",
    "PRC-01",
)


def paths(value: Any, at: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Yield the path of every field, list places left out."""
    if isinstance(value, dict):
        for name, inner in value.items():
            yield (*at, name)
            yield from paths(inner, (*at, name))
    elif isinstance(value, list):
        for inner in value:
            yield from paths(inner, at)


def least(path: tuple[str, ...]) -> Caller:
    """Return the least class that the table of records gives a field; fields of verdicts have a table of their own."""
    table: Any = RECORD
    found = Caller.OWNER
    for name in path:
        row = table.get(name, table.get("*")) if isinstance(table, dict) else table
        if row is None:
            return Caller.OWNER
        if isinstance(row, Caller):
            return row
        table, found = row, Caller.SERVER
    return found


@pytest.fixture
def record(small: Desk) -> tuple[Desk, str, str]:
    """Return an order of a shop with a quote, cuts, a sign-off and customer text."""
    spec = {**LONG, "reference": "web-1", "note": "for Ada"}
    quote = small.quote(spec, who="server").json()["id"]
    small.agree(quote, note="thin but fine")
    order = small.order(quote, who="server").json()["id"]
    lot = small.get(f"/v1/orders/{order}").json()["items"][0]["check"]["cut_from"][0]["lot"]
    assert small.entry(f"/v1/orders/{order}", "cut", item=1, part="outside", lot=lot).status_code == 201
    return small, quote, order


@pytest.mark.parametrize("who", CLASSES)
@pytest.mark.parametrize("noun", ["quotes", "orders"])
def test_a_record_shows_a_class_its_fields_and_no_others(record: tuple[Desk, str, str], noun: str, who: str) -> None:
    desk, quote, order = record
    place = f"/v1/{noun}/{quote if noun == 'quotes' else order}"
    whole, seen = (set(paths(desk.get(place, key).json())) for key in ("owner", who))
    ours = {path for path in whole if "check" not in path[:-1]}
    assert {path for path in seen if "check" not in path[:-1]} == {
        path for path in ours if all(CLASSES[who] >= least(path[: end + 1]) for end in range(len(path)))
    }


@pytest.mark.parametrize("noun", ["quotes", "orders"])
def test_a_shop_finds_nothing_of_the_bench_in_its_records(record: tuple[Desk, str, str], noun: str) -> None:
    desk, quote, order = record
    text = desk.get(f"/v1/{noun}/{quote if noun == 'quotes' else order}", "server").text
    assert [secret for secret in SECRETS if secret in text] == []
    assert "L106" not in text


def test_another_shop_finds_nothing(record: tuple[Desk, str, str]) -> None:
    desk, quote, order = record
    for path in (f"/v1/quotes/{quote}", f"/v1/orders/{order}"):
        assert desk.get(path, "server").status_code == 200
        assert desk.get(path, "server two").status_code == 404
        entry = desk.post(f"{path}/entries", {"kind": "forget"}, "server two")
        assert entry.status_code == 404
    assert desk.post("/v1/orders", {"quote": quote, "payment": PAID}, "server two").status_code == 404
    for noun in ("quotes", "orders"):
        assert desk.get(f"/v1/{noun}", "server two").json()["items"] == []
        assert len(desk.get(f"/v1/{noun}", "server").json()["items"]) == 1


@pytest.mark.parametrize("path", ["/v1/lots", "/v1/lots/L104", "/v1/supplies", "/v1/sign-offs", "/v1/refusals"])
def test_the_stock_and_the_inbox_are_the_workshops(small: Desk, path: str) -> None:
    assert [small.get(path, who).status_code for who in ("page", "server", "staff", "owner")] == [403, 403, 200, 200]


def test_a_shop_may_not_name_lots_hold_for_weeks_or_work_at_the_bench(small: Desk) -> None:
    assert small.quote(STRAP, who="server").status_code == 403
    assert small.post("/v1/checks", STRAP, "page").status_code == 403
    assert small.quote(WALLET, who="server", hold="quote").status_code == 403
    quote = small.quote(WALLET, who="server").json()["id"]
    order = small.order(quote, "server").json()["id"]
    cut = {"kind": "cut", "item": 1, "part": "outside", "lot": "L104"}
    assert small.post(f"/v1/orders/{order}/entries", cut, "server").status_code == 403
    assert small.post("/v1/quotes", {"items": [{"spec": WALLET}]}, "page").status_code == 403


def test_a_refused_basket_tells_a_shop_no_more_than_a_check(small: Desk) -> None:
    many = {**LONG, "quantity": 3}
    members = [small.quote(many, who=who).json()["check"] for who in ("server", "owner")]
    assert "cut_from" not in members[0]
    assert "cut_from" in members[1]
    short = next(finding for finding in members[0]["findings"] if finding["rule"] == "STO-01")
    assert (short["measured"], short["limit"]) == (None, None)


def test_what_was_forgotten_is_found_nowhere_in_the_store(small: Desk) -> None:
    spec = {
        **WALLET,
        "reference": "REF-SECRET",
        "note": "NOTE-SECRET",
        "monogram": {"text": "ZQX", "method": "blind", "typeface": "FA-SER14", "zone": "Z-IN-LOW"},
    }
    assert small.post("/v1/checks", spec).status_code == 200
    quote = small.quote(spec, who="server").json()
    small.agree(quote["id"])
    order = small.post(
        "/v1/orders", {"quote": quote["id"], "payment": {**PAID, "reference": "PAY-SECRET"}}, "server"
    ).json()["id"]
    path = f"/v1/orders/{order}"
    assert small.post(f"{path}/entries", {"kind": "forget"}, "server").json()["type"] == "/problems/wrong-state"
    small.entry(path, "cancel", reason="NOTE-SECRET")
    assert small.post(f"{path}/entries", {"kind": "forget"}, "server").status_code == 201
    small.house.log.flush()
    with small.house.store.read() as connection:
        tables = ("item", "quote", "order_record", "entry", "answered", "check_log", "sign_off")
        kept = json.dumps(
            [[list(map(str, row)) for row in connection.exec_driver_sql(f"SELECT * FROM {name}")] for name in tables]
        )
    for secret in ("REF-SECRET", "NOTE-SECRET", "PAY-SECRET", "ZQX"):
        assert secret not in kept
    built = small.get(path).json()
    assert built["as_built"][0]["pattern"] == "twofold"
    assert built["items"][0]["spec"]["monogram"]["letters"] == 3
    with small.house.store.read() as connection:
        assert "FA-SER14" in str(connection.exec_driver_sql("SELECT spec FROM check_log").all())


def test_refusals_count_what_was_lost(small: Desk) -> None:
    many = {**LONG, "quantity": 3}
    for spec in (many, many, {**many, "quantity": 4}, WALLET):
        small.post("/v1/checks", spec)
    small.house.log.flush()
    found = {(each["rule"], each["month"]): each for each in small.get("/v1/refusals").json()["items"]}
    lost = found["STO-01", "2026-03"]
    totals = [small.post("/v1/checks", spec).json()["price"]["total"] for spec in (many, {**many, "quantity": 4})]
    assert (lost["checks"], lost["specs"], lost["pattern"]) == (3, 2, "longfold")
    assert float(lost["value"]) == sum(map(float, totals))
    assert small.get("/v1/refusals?since=2026-04-01").json()["items"] == []


def test_the_catalog_shows_the_stock_as_it_is_now(small: Desk) -> None:
    def left() -> float:
        shown = {each["code"]: each for each in small.get("/v1/threads").json()["items"]}
        found: float = shown["TH-P05-GAR"]["left_m"]
        return found

    assert left() == 90
    small.quote(WALLET)
    assert left() < 90
    assert "left_m" not in small.get("/v1/threads", "server").text
