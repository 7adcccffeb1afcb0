"""Bodies that are broken on purpose: a documented problem, small, and never a 500."""

from __future__ import annotations

import gzip
import json
from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient

GOOD = json.dumps({"pattern": "twofold"}).encode()
JSON = {"content-type": "application/json"}

HOSTILE = {
    "not a number": (b'{"pattern": "a", "quantity": NaN}', JSON, 400),
    "infinite": (b'{"pattern": "a", "sizes": {"lug_mm": -Infinity}}', JSON, 400),
    "infinite by exponent": (b'{"pattern": "a", "sizes": {"lug_mm": 1e999}}', JSON, 422),
    "lone surrogate": (b'{"pattern": "\\ud800"}', JSON, 422),
    "lone surrogate as a key": (b'{"pattern": "a", "parts": {"\\udfff": {}}}', JSON, 422),
    "lone surrogate as a field": (b'{"pattern": "a", "\\ud800": 1}', JSON, 422),
    "lone surrogate in a note": (b'{"pattern": "a", "note": "x\\ud800y"}', JSON, 422),
    "NUL": (b'{"pattern": "a\\u0000"}', JSON, 422),
    "raw NUL": (b'{"pattern": "a\x00"}', JSON, 400),
    "escape sequence": (b'{"pattern": "\\u001b[2J"}', JSON, 422),
    "5,000 digits": (b'{"pattern": "a", "quantity": ' + b"9" * 5000 + b"}", JSON, 400),
    "4,000 digits": (b'{"pattern": "a", "quantity": ' + b"9" * 4000 + b"}", JSON, 422),
    "4,000 digits of mm": (b'{"pattern": "a", "sizes": {"lug_mm": ' + b"9" * 4000 + b"}}", JSON, 422),
    "100,000 deep": (b"[" * 100_000, JSON, 400),
    "900 deep": (b'{"a":' * 900 + b"1" + b"}" * 900, JSON, 422),
    "bad UTF-8": (b'{"pattern": "\xff\xfe"}', JSON, 400),
    "UTF-16": (GOOD.decode().encode("utf-16"), JSON, 400),
    "UTF-32": (GOOD.decode().encode("utf-32"), JSON, 400),
    "duplicate keys": (b'{"pattern": "a", "pattern": "b"}', JSON, 400),
    "duplicate keys inside": (b'{"pattern": "a", "parts": {"outside": {}, "outside": {}}}', JSON, 400),
    "nothing": (b"", JSON, 400),
    "white space": (b"   ", JSON, 400),
    "null": (b"null", JSON, 422),
    "a list": (b"[]", JSON, 422),
    "a text": (b'"twofold"', JSON, 422),
    "a number": (b"1", JSON, 422),
    "two values": (GOOD + GOOD, JSON, 400),
    "cut short": (GOOD[:-1], JSON, 400),
    "a comment": (b'{"pattern": "a" /* b */}', JSON, 400),
    "gzip, declared": (gzip.compress(GOOD), {**JSON, "content-encoding": "gzip"}, 415),
    "gzip, not declared": (gzip.compress(GOOD), JSON, 400),
    "text": (GOOD, {"content-type": "text/plain"}, 415),
    "a form": (b"pattern=twofold", {"content-type": "application/x-www-form-urlencoded"}, 415),
    "no media type": (GOOD, {}, 415),
    "another JSON": (GOOD, {"content-type": "application/merge-patch+json"}, 415),
    "Latin-1": (GOOD, {"content-type": "application/json; charset=iso-8859-1"}, 415),
    "huge": (b'"' + b"a" * 1_000_000 + b'"', JSON, 413),
    "one byte over": (b" " * (128 * 1024 + 1 - len(GOOD)) + GOOD, JSON, 413),
}


@pytest.mark.parametrize("path", ["/v1/checks", "/v1/choices"])
@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_body_gets_a_small_documented_problem(client: TestClient, name: str, path: str) -> None:
    body, headers, status = HOSTILE[name]
    answer = client.post(path, content=body, headers=headers)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    assert len(answer.content) < 4096
    problem = answer.json()
    assert problem["status"] == status
    assert problem["instance"] == f"/requests/{answer.headers['request-id']}"
    assert client.get(problem["type"]).json()["title"] == problem["title"]
    documented = client.get("/openapi.json").json()["paths"][path]["post"]["responses"]
    assert "application/problem+json" in documented[str(status)]["content"]


def test_a_body_that_only_turns_out_to_be_too_large_is_refused_too(client: TestClient) -> None:
    def pieces() -> Iterator[bytes]:
        for _ in range(200):
            yield b" " * 1000

    answer = client.post("/v1/checks", content=pieces(), headers=JSON)
    assert answer.status_code == 413
    assert answer.json()["type"] == "/problems/body-too-large"


def test_a_body_of_exactly_the_limit_is_read(client: TestClient) -> None:
    body = b" " * (128 * 1024 - len(GOOD)) + GOOD
    assert client.post("/v1/checks", content=body, headers=JSON).status_code == 200


@pytest.mark.parametrize(
    "media", ["application/json", "Application/JSON; charset=UTF-8", 'application/json;charset="utf-8"']
)
def test_json_in_utf_8_is_taken_however_the_header_is_written(client: TestClient, media: str) -> None:
    assert client.post("/v1/checks", content=GOOD, headers={"content-type": media}).status_code == 200


def test_a_byte_order_mark_is_ignored(client: TestClient) -> None:
    assert client.post("/v1/checks", content=b"\xef\xbb\xbf" + GOOD, headers=JSON).status_code == 200


def test_what_was_sent_is_not_repeated(client: TestClient) -> None:
    secret = "4111111111111111"
    for body in ({"pattern": secret * 9}, {"pattern": "a", "quantity": secret}, {"pattern": "a", "note": [secret]}):
        assert secret not in client.post("/v1/checks", json=body).text


def test_thousands_of_faults_are_counted_and_fifty_are_listed(client: TestClient) -> None:
    answer = client.post("/v1/checks", json={f"field_{place}": 1 for place in range(5000)})
    problem = answer.json()
    assert answer.status_code == 422
    assert len(problem["errors"]) == 50
    assert problem["detail"].startswith("5001 fields")


def test_a_name_of_a_field_that_was_sent_is_cut_short(client: TestClient) -> None:
    answer = client.post("/v1/checks", json={"pattern": "a", "x" * 100_000: 1})
    assert len(answer.content) < 1000
