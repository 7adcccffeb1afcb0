"""Many buyers, one last piece: two processes over one store, and a retry that has no second effect."""

from __future__ import annotations

import threading
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import httpx
import pytest
from support.desk import PAID, STRAP, WALLET, Desk
from support.served import OWNER_KEY, Served, assert_well

CLIENTS, FEW, MANY = 32, 6, 100


def race(url: str, rounds: int) -> None:
    servers = [Served(url), Served(url)]
    buyers = [
        httpx.Client(base_url=servers[place % 2].address, headers={"authorization": f"Bearer {OWNER_KEY}"}, timeout=60)
        for place in range(CLIENTS)
    ]
    start = threading.Barrier(CLIENTS)
    body = {"items": [{"spec": STRAP}]}

    def buy(place: int, number: int) -> httpx.Response:
        start.wait()
        return buyers[place].post("/v1/quotes", json=body, headers={"idempotency-key": f"r{number}-{place}"})

    try:
        with ThreadPoolExecutor(CLIENTS) as pool:
            for number in range(rounds):
                answers = list(pool.map(buy, range(CLIENTS), [number] * CLIENTS))
                assert Counter(answer.status_code for answer in answers) == {201: 1, 409: CLIENTS - 1}
                for answer in answers:
                    if answer.status_code == 409:
                        assert answer.json()["type"] in {"/problems/not-buildable", "/problems/stock-changed"}
                        assert answer.json()["check"]["outcome"] == "refused"
                won = next(answer for answer in answers if answer.status_code == 201)
                assert_well(url)
                headers = {"idempotency-key": f"w{number}", "if-match": won.headers["etag"]}
                entry = {"kind": "withdraw", "reason": "the next round"}
                given = buyers[0].post(f"/v1/quotes/{won.json()['id']}/entries", json=entry, headers=headers)
                assert given.status_code == 201
    finally:
        for buyer in buyers:
            buyer.close()
        for server in servers:
            server.end()


def test_of_thirty_two_buyers_one_gets_the_last_piece(store_url: str) -> None:
    race(store_url, FEW)


@pytest.mark.long
def test_of_thirty_two_buyers_one_gets_the_last_piece_a_hundred_times(store_url: str) -> None:
    race(store_url, MANY)


def test_the_same_key_twenty_times_at_once_has_one_effect_and_one_answer(store_url: str) -> None:
    servers = [Served(store_url), Served(store_url)]
    headers = {"authorization": f"Bearer {OWNER_KEY}", "idempotency-key": "once-and-for-all"}

    def ask(place: int) -> httpx.Response:
        url = f"{servers[place % 2].address}/v1/quotes"
        return httpx.post(url, json={"items": [{"spec": WALLET}]}, headers=headers, timeout=60)

    try:
        with ThreadPoolExecutor(20) as pool:
            answers = list(pool.map(ask, range(20)))
        assert {answer.status_code for answer in answers} == {201}
        assert len({answer.content for answer in answers}) == 1
        listed = httpx.get(f"{servers[0].address}/v1/quotes", headers=headers).json()
        assert [quote["id"] for quote in listed["items"]] == [answers[0].json()["id"]]
        other = httpx.post(f"{servers[1].address}/v1/quotes", json={"items": [{"spec": STRAP}]}, headers=headers)
        assert (other.status_code, other.json()["type"]) == (422, "/problems/key-reused")
    finally:
        for server in servers:
            server.end()


def test_a_retry_of_every_call_that_stores_has_one_effect(desk: Desk) -> None:
    def twice(path: str, body: Any, version: str | None = None) -> Any:
        first, second = (desk.post(path, body, key=f"twice-{path}", version=version) for _ in range(2))
        assert first.status_code == 201
        assert (first.status_code, first.content, first.headers.get("etag")) == (
            second.status_code, second.content, second.headers.get("etag"),
        )  # fmt: skip
        return first

    quote = twice("/v1/quotes", {"items": [{"spec": WALLET}]})
    place = f"/v1/quotes/{quote.json()['id']}"
    twice(f"{place}/entries", {"kind": "renew"}, quote.headers["etag"])
    order = twice("/v1/orders", {"quote": quote.json()["id"], "payment": PAID}).json()["id"]
    twice(f"/v1/orders/{order}/entries", {"kind": "cut", "item": 1, "part": "outside", "lot": "L104"})
    twice("/v1/lots/L104/entries", {"kind": "count", "area_dm2": 14.2})
    twice("/v1/supplies/TH-P05-GAR/entries", {"kind": "use", "amount": 1})
    assert len(desk.get("/v1/orders").json()["items"]) == 1
    assert [entry["kind"] for entry in desk.lot("L104")["entries"]] == ["receive", "cut", "count"]
    refused = [desk.post("/v1/quotes", {"items": [{"spec": STRAP}] * 2}, key="refused") for _ in range(2)]
    assert refused[0].status_code == 409
    assert refused[0].content == refused[1].content


def test_a_key_belongs_to_one_client_and_one_call(desk: Desk) -> None:
    body = {"items": [{"spec": WALLET}]}
    one, two = (desk.post("/v1/quotes", body, who, key="mine") for who in ("server", "server two"))
    assert one.json()["id"] != two.json()["id"]


@pytest.mark.parametrize("key", ["", "has space", "x" * 200, '"half'])
def test_a_key_that_is_none_is_told(desk: Desk, key: str) -> None:
    answer = desk._client.post(
        "/v1/quotes",
        json={"items": [{"spec": WALLET}]},
        headers={"authorization": f"Bearer {desk.tokens['owner']}", "idempotency-key": key},
    )
    assert (answer.status_code, answer.json()["type"]) == (400, "/problems/key-missing")
