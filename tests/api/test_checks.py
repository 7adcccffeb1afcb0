"""A check over HTTP is what the rules say, as the document describes it, and the same each time."""

from __future__ import annotations

import asyncio
import json
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient


def test_nothing_that_the_rules_say_is_lost_or_added_on_the_way(
    client: TestClient, spec: dict[str, Any], answer: dict[str, Any]
) -> None:
    received = client.post("/v1/checks?explain=all", json=spec)
    assert received.status_code == 200
    assert json.dumps(received.json()) == json.dumps(answer)  # the order of the fields too


def test_the_same_spec_has_the_same_bytes_twice(client: TestClient, spec: dict[str, Any]) -> None:
    path = "/v1/checks?alternatives=2&explain=all&defaults=true"
    first = client.post(path, json=spec)
    assert first.status_code == 200
    assert client.post(path, json=spec).content == first.content


def test_the_order_of_the_fields_of_a_spec_changes_nothing(client: TestClient, spec: dict[str, Any]) -> None:
    turned = json.loads(json.dumps(spec), object_pairs_hook=lambda pairs: dict(reversed(pairs)))
    one, other = client.post("/v1/checks", json=spec).json(), client.post("/v1/checks", json=turned).json()
    assert one["spec_hash"] == other["spec_hash"]
    assert one["findings"] == other["findings"]


def test_an_unknown_code_is_answered_and_all_else_is_judged(client: TestClient, worked: dict[str, Any]) -> None:
    spec = {**worked["buildable"], "thread": "TH-P05-BLU", "edge": "ED-PNT-GRN", "purpose": {"use": "juggling"}}
    answer = client.post("/v1/checks", json=spec)
    assert answer.status_code == 200
    assert answer.json()["outcome"] == "refused"


def test_the_demo_spec_is_buildable_at_its_price(client: TestClient, worked: dict[str, Any]) -> None:
    answer = client.post("/v1/checks", json=worked["buildable"]).json()
    assert (answer["outcome"], answer["price"]["total"], answer["as_of"]) == ("buildable", "455.00", "2026-03-02")


def test_gaps_are_filled_when_asked_and_named(client: TestClient) -> None:
    answer = client.post("/v1/checks?defaults=true", json={"pattern": "twofold"}).json()
    assert "/parts/outside" in answer["filled"]
    assert answer["price"]["total"] == "270.00"
    assert client.post("/v1/checks", json={"pattern": "twofold"}).json()["filled"] == []


def test_explain_tells_every_rules_word(client: TestClient, worked: dict[str, Any]) -> None:
    answer = client.post("/v1/checks?explain=all", json=worked["buildable"]).json()
    told = [each["rule"] for each in answer["explained"]]
    assert told == sorted(rule["id"] for rule in client.get("/v1/rules?stage=check").json()["items"])
    assert "explained" not in client.post("/v1/checks", json=worked["buildable"]).json()


@pytest.mark.parametrize("count", range(6))
def test_no_more_alternatives_come_than_were_asked_for(client: TestClient, worked: dict[str, Any], count: int) -> None:
    answer = client.post(f"/v1/checks?alternatives={count}", json=worked["refused"])
    assert answer.status_code == 200
    assert len(answer.json()["alternatives"]) <= count


def test_verdicts_are_not_kept_by_caches(client: TestClient, worked: dict[str, Any]) -> None:
    assert client.post("/v1/checks", json=worked["buildable"]).headers["cache-control"] == "no-store"


def test_a_plain_check_and_one_that_goes_the_frameworks_way_are_answered_alike(
    client: TestClient, spec: dict[str, Any]
) -> None:
    plain = client.post("/v1/checks", json=spec)
    other = client.post("/v1/checks?alternatives=0", json=spec)
    own = {"request-id"}
    assert plain.content == other.content
    assert {k: v for k, v in plain.headers.items() if k not in own} == {
        k: v for k, v in other.headers.items() if k not in own
    }


@pytest.mark.parametrize("body", [b"", b"{", b"[]", b'{"pattern": 5}', b'{"pattern": "belt", "colour": "red"}'])
def test_a_faulty_body_is_worded_alike_whichever_way_it_came(client: TestClient, body: bytes) -> None:
    headers = {"content-type": "application/json", "request-id": "the-same-id"}
    plain = client.post("/v1/checks", content=body, headers=headers)
    other = client.post("/v1/checks?alternatives=0", content=body, headers=headers)
    assert plain.status_code in (400, 422)
    assert (plain.status_code, plain.json()) == (other.status_code, other.json())


def test_two_media_types_are_not_taken_for_one(client: TestClient) -> None:
    media = [("content-type", "application/json"), ("content-type", "text/plain")]
    answer = client.post("/v1/checks", content=b'{"pattern": "belt"}', headers=media)
    assert (
        answer.status_code
        == client.post("/v1/checks?alternatives=0", content=b'{"pattern": "belt"}', headers=media).status_code
    )


def test_a_caller_who_leaves_in_the_middle_of_a_body_is_no_failure(
    app: FastAPI, client: TestClient, caplog: pytest.LogCaptureFixture
) -> None:
    messages = [{"type": "http.request", "body": b'{"pat', "more_body": True}, {"type": "http.disconnect"}]
    key = (b"authorization", client.headers["authorization"].encode())
    scope = {
        "type": "http", "method": "POST", "path": "/v1/checks", "raw_path": b"/v1/checks", "query_string": b"",
        "root_path": "", "scheme": "http", "http_version": "1.1", "server": ("127.0.0.1", 80), "client": None,
        "headers": [key, (b"content-type", b"application/json"), (b"content-length", b"500")],
    }  # fmt: skip
    sent: list[Any] = []

    async def receive() -> Any:
        return messages.pop(0)

    async def send(message: Any) -> None:
        sent.append(message)

    asyncio.run(app(scope, receive, send))
    assert (sent, caplog.records) == ([], [])
