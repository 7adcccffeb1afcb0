"""A server that is killed at any point: what was acknowledged is there, and nothing is half done."""

from __future__ import annotations

import random
import threading
import time
from typing import Any

import httpx
import pytest
from support.desk import PAID, WALLET
from support.served import OWNER_KEY, Served, assert_well

FEW, MANY, BUYERS = 3, 50, 6
HEADERS = {"authorization": f"Bearer {OWNER_KEY}"}
SMALL: dict[str, Any] = {
    "pattern": "fob",
    "parts": {"outside": {"leather": "VS-NAT"}},
    "thread": "TH-P05-TAN",
    "edge": "ED-BURN",
    "hardware": {"ring": "HW-RING30-SS"},
}


class Buyer(threading.Thread):
    """Quotes, orders, withdraws, until the server is gone; remembers what was acknowledged."""

    def __init__(self, address: str, name: str, chance: random.Random) -> None:
        super().__init__()
        self.address, self.label, self.chance = address, name, chance
        self.acknowledged: dict[str, tuple[str, bytes]] = {}
        self.asked: list[tuple[str, Any, dict[str, str]]] = []

    def run(self) -> None:
        with httpx.Client(base_url=self.address, headers=HEADERS, timeout=30) as client:
            for number in range(10_000):
                try:
                    self._once(client, number)
                except httpx.HTTPError:
                    return

    def _once(self, client: httpx.Client, number: int) -> None:
        quote = self._post(
            client, "/v1/quotes", {"items": [{"spec": self.chance.choice([SMALL, WALLET])}]}, f"q{number}"
        )
        if quote is None:
            return
        if self.chance.random() < 0.6:
            entry = {"kind": "withdraw"}
            path = f"/v1/quotes/{quote['id']}/entries"
            self._post(client, path, entry, f"w{number}", {"if-match": '"v1"'})
        else:
            self._post(client, "/v1/orders", {"quote": quote["id"], "payment": PAID}, f"o{number}")

    def _post(self, client: httpx.Client, path: str, body: Any, key: str, more: dict[str, str] | None = None) -> Any:
        headers = {"idempotency-key": f"{self.label}-{key}", **(more or {})}
        self.asked.append((path, body, headers))
        answer = client.post(path, json=body, headers=headers)
        if answer.status_code != 201:
            assert answer.status_code == 409, answer.text
            return None
        self.acknowledged[f"{self.label}-{key}"] = answer.json()["id"], answer.content
        return answer.json()


def kill_again_and_again(url: str, times: int, seed: int) -> int:
    """Kill a server under load so often; return how many calls were acknowledged."""
    chance, acknowledged = random.Random(seed), 0
    for turn in range(times):
        server = Served(url)
        buyers = [Buyer(server.address, f"t{turn}-{place}", random.Random(chance.random())) for place in range(BUYERS)]
        for buyer in buyers:
            buyer.start()
        time.sleep(chance.uniform(0.05, 1.2))
        server.kill()
        for buyer in buyers:
            buyer.join()
        assert_well(url)
        acknowledged += check_what_was_acknowledged(url, buyers)
    return acknowledged


def check_what_was_acknowledged(url: str, buyers: list[Buyer]) -> int:
    server = Served(url)
    try:
        with httpx.Client(base_url=server.address, headers=HEADERS, timeout=30) as client:
            for buyer in buyers:
                for path, body, headers in buyer.asked:
                    known = buyer.acknowledged.get(headers["idempotency-key"])
                    # What was acknowledged is answered the same; what was not is done now, or was done and is told.
                    again = client.post(path, json=body, headers=headers)
                    if known is not None:
                        assert (again.status_code, again.content) == (201, known[1])
                    else:
                        assert again.status_code in {201, 409, 412}, again.text
    finally:
        server.end()
    assert_well(url)
    return sum(len(buyer.acknowledged) for buyer in buyers)


def test_a_killed_server_loses_nothing_that_it_acknowledged(store_url: str) -> None:
    assert kill_again_and_again(store_url, FEW, 5) > 0


@pytest.mark.long
def test_fifty_killed_servers_lose_nothing_that_they_acknowledged(store_url: str) -> None:
    assert kill_again_and_again(store_url, MANY, 6) > 0
