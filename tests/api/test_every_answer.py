"""What holds for whatever is asked: ids, headers, methods, and nothing let out of a fault."""

from __future__ import annotations

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from api.edge import Envelope
from api.errors import PROBLEM_TYPES


@pytest.mark.parametrize("path", ["/v1/kinds", "/health/live", "/nowhere", "/docs", "/v1/patterns/none"])
def test_every_answer_carries_an_id_and_the_headers_that_browsers_heed(client: TestClient, path: str) -> None:
    headers = client.get(path).headers
    assert len(headers["request-id"]) == 24
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    assert "default-src 'none'" in headers["content-security-policy"]
    assert "cache-control" in headers


@pytest.mark.parametrize(
    ("sent", "kept"),
    [("web-20391_A", True), ("short", False), ("x" * 65, False), ("with space", False), ("semi;colon", False)],
)
def test_a_callers_own_id_is_kept_where_it_is_plain(client: TestClient, sent: str, kept: bool) -> None:
    answer = client.get("/nowhere", headers={"request-id": sent})
    assert (answer.headers["request-id"] == sent) is kept
    assert answer.json()["instance"] == f"/requests/{answer.headers['request-id']}"


@pytest.mark.parametrize(
    ("method", "path", "allowed"),
    [
        ("GET", "/v1/checks", "POST"),
        ("PUT", "/v1/checks", "POST"),
        ("POST", "/v1/patterns", "GET, HEAD"),
        ("DELETE", "/v1/patterns/twofold", "GET, HEAD"),
        ("OPTIONS", "/v1/catalog", "GET, HEAD"),
        ("PATCH", "/docs", "GET, HEAD"),
    ],
)
def test_a_wrong_method_is_told_which_ones_are_right(client: TestClient, method: str, path: str, allowed: str) -> None:
    answer = client.request(method, path)
    assert answer.status_code == 405
    assert answer.headers["allow"] == allowed


def test_a_fault_inside_is_a_problem_without_a_trace(caplog: pytest.LogCaptureFixture) -> None:
    app = FastAPI()

    @app.get("/broken")
    async def broken() -> None:
        raise RuntimeError("the secret of the house")

    app.add_middleware(Envelope)
    answer = TestClient(app).get("/broken", headers={"request-id": "broken-0001"})
    assert answer.status_code == 500
    assert answer.json()["type"] == "/problems/internal-error"
    assert answer.json()["instance"] == "/requests/broken-0001"
    assert "secret" not in answer.text
    assert "broken-0001" in caplog.text


def test_every_kind_of_problem_is_explained_at_its_own_address(client: TestClient) -> None:
    listed = client.get("/problems").json()["items"]
    assert [each["type"] for each in listed] == [f"/problems/{slug}" for slug in PROBLEM_TYPES]
    for kind in listed:
        assert client.get(kind["type"]).json() == kind
    assert client.get("/problems/none-such").status_code == 404


def test_the_process_tells_that_it_lives_and_is_ready(client: TestClient) -> None:
    assert client.get("/health/live").json() == {"status": "live"}
    assert client.get("/health/ready").json() == {"status": "ready"}
