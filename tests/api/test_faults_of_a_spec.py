"""A body that breaks the schema: one pointer, code and sentence per fault."""

from __future__ import annotations

from typing import Any

import pytest
from starlette.testclient import TestClient

FAULTS: list[tuple[dict[str, Any], str, str]] = [
    ({}, "/pattern", "missing"),
    ({"pattern": None}, "/pattern", "wrong_type"),
    ({"pattern": ""}, "/pattern", "too_short"),
    ({"pattern": "x" * 41}, "/pattern", "too_long"),
    ({"pattern": 5}, "/pattern", "wrong_type"),
    ({"patern": "twofold", "pattern": "twofold"}, "/patern", "unknown_field"),
    ({"pattern": "a", "quantity": 0}, "/quantity", "too_small"),
    ({"pattern": "a", "quantity": 1001}, "/quantity", "too_large"),
    ({"pattern": "a", "quantity": 1.5}, "/quantity", "wrong_type"),
    ({"pattern": "a", "quantity": "1"}, "/quantity", "wrong_type"),
    ({"pattern": "a", "quantity": True}, "/quantity", "wrong_type"),
    ({"pattern": "a", "rush": "yes"}, "/rush", "wrong_type"),
    ({"pattern": "a", "rush": 1}, "/rush", "wrong_type"),
    ({"pattern": "a", "ready_by": "2026-02-30"}, "/ready_by", "wrong_date"),
    ({"pattern": "a", "ready_by": "2026-05-29T00:00:00"}, "/ready_by", "wrong_date"),
    ({"pattern": "a", "ready_by": 1_780_000_000}, "/ready_by", "wrong_date"),
    ({"pattern": "a", "monogram": {}}, "/monogram/text", "missing"),
    ({"pattern": "a", "monogram": {"text": "A", "method": "emboss"}}, "/monogram/method", "not_offered"),
    ({"pattern": "a", "parts": {"outside": {"side": "back"}}}, "/parts/outside/side", "not_offered"),
    ({"pattern": "a", "parts": {"a/b": {}}}, "/parts/a~1b", "wrong_text"),
    ({"pattern": "a", "parts": {"outside": "SH-GAR"}}, "/parts/outside", "wrong_type"),
    ({"pattern": "a", "parts": {str(n): {} for n in range(21)}}, "/parts", "too_many"),
    ({"pattern": "a", "modifications": ["x"] * 21}, "/modifications", "too_many"),
    ({"pattern": "a", "sizes": {"lug_mm": 0}}, "/sizes/lug_mm", "too_small"),
    ({"pattern": "a", "sizes": {"lug_mm": 10_000.001}}, "/sizes/lug_mm", "too_large"),
    ({"pattern": "a", "sizes": {"lug_mm": 20.0005}}, "/sizes/lug_mm", "too_fine"),
    ({"pattern": "a", "sizes": {"lug_mm": "20"}}, "/sizes/lug_mm", "wrong_type"),
    ({"pattern": "a", "sizes": {"lug_in": 1}}, "/sizes/lug_in", "unknown_field"),
    ({"pattern": "a", "purpose": {"dog_kg": 30.0001}}, "/purpose/dog_kg", "too_fine"),
    ({"pattern": "a", "carry": {"notes": [{"count": 1}]}}, "/carry/notes/0/item", "missing"),
    ({"pattern": "a", "carry": {"blade": {"width_mm": 1}}}, "/carry/blade/thickness_mm", "missing"),
    ({"pattern": "a", "note": "x" * 2001}, "/note", "too_long"),
]


@pytest.mark.parametrize(("body", "pointer", "code"), FAULTS, ids=[f"{pointer} {code}" for _, pointer, code in FAULTS])
def test_a_fault_is_pointed_at(client: TestClient, body: dict[str, Any], pointer: str, code: str) -> None:
    answer = client.post("/v1/checks", json=body)
    assert answer.status_code == 422
    assert answer.json()["type"] == "/problems/schema-violation"
    assert (pointer, code) in [(each["pointer"], each["code"]) for each in answer.json()["errors"]]


def test_all_faults_are_told_at_once(client: TestClient) -> None:
    body = {"quantity": 0, "rush": 1, "monogram": {"method": "x"}, "colour": "red"}
    pointers = {each["pointer"] for each in client.post("/v1/checks", json=body).json()["errors"]}
    assert pointers == {"/pattern", "/quantity", "/rush", "/monogram/text", "/monogram/method", "/colour"}


@pytest.mark.parametrize(
    "query",
    ["alternatives=6", "alternatives=-1", "alternatives=1.0", "alternatives=", "alternatives=٣", "explain=some",
     "explain=", "defaults=1", "defaults=yes", "default=true", "today=2026-03-02"],
)  # fmt: skip
def test_a_query_that_does_not_fit_is_a_fault(client: TestClient, query: str) -> None:
    answer = client.post(f"/v1/checks?{query}", json={"pattern": "twofold"})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == f"query/{query.partition('=')[0]}"


@pytest.mark.parametrize("path", ["/v1/patterns", "/v1/patterns/twofold", "/v1/leathers", "/v1/catalog", "/v1/rules"])
def test_a_query_parameter_that_nobody_reads_is_a_fault(client: TestClient, path: str) -> None:
    assert client.get(f"{path}?colour=red").status_code == 422


@pytest.mark.parametrize("place", ["us_ca", "USA", "US-CA ", "California", "\u00df\u00df"])
def test_a_destination_is_iso_3166_since_another_spelling_would_slip_past_the_law(
    client: TestClient, place: str
) -> None:
    answer = client.post("/v1/checks", json={"pattern": "twofold", "ship_to": place})
    assert answer.status_code == 422
    assert [error["pointer"] for error in answer.json()["errors"]] == ["/ship_to"]


@pytest.mark.parametrize("text", [" ", "   ", "\u3000"])
def test_a_monogram_has_at_least_one_letter(client: TestClient, text: str) -> None:
    answer = client.post("/v1/checks", json={"pattern": "twofold", "monogram": {"text": text}})
    assert answer.status_code == 422
    assert [error["pointer"] for error in answer.json()["errors"]] == ["/monogram/text"]
