"""Who may come in: no route without a key, none with too small a one, and nothing told to who has none."""

from __future__ import annotations

import json
import re
import threading
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from fastapi import APIRouter
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from api.app import create_app
from api.demo import DEMO_SPEC
from api.deps import least
from api.door import is_open
from api.errors import PROBLEM_TYPES
from api.examples import example_app
from api.house import House, open_house
from api.keys import CLASSES, make_key, revoke_key
from api.settings import Settings
from api.store.engine import Revisions, Store
from api.visibility import Caller

SHOP, OTHER = "https://shop.example", "https://other.example"
FREE = ["/health/live", "/health/ready", "/openapi.json", "/docs", "/docs/start.js", "/problems", "/problems/not-found"]
#: What a cell that names no column says to who has no key, and to who has one.
NO_KEY_IN_CELL = "error: send one key that is in force: a sheet key as key=KEY, any as Authorization: Bearer KEY"
LET_INTO_CELL = "error: pattern: this field is needed"


def _operations() -> list[tuple[str, str, dict[str, Any]]]:
    with example_app() as app:
        paths = app.openapi()["paths"]
    return [(method.upper(), path, each) for path, item in paths.items() for method, each in item.items()]


OPERATIONS = _operations()
NAMES = [operation["operationId"] for _, _, operation in OPERATIONS]
EVERY_OPERATION = pytest.mark.parametrize(("method", "path", "operation"), OPERATIONS, ids=NAMES)


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    file = tmp_path_factory.mktemp("doors") / "doors.sqlite3"
    house = open_house(Settings(today=date(2026, 3, 2), database_url=f"sqlite:///{file}"))
    yield house
    house.close()


@pytest.fixture(scope="module")
def keys(house: House) -> dict[str, str]:
    """Return a key of each class, and a page key whose pages stand at SHOP."""
    with house.store.write() as write:
        found = {name: make_key(write, name, name=name, at=house.now(), by="test") for name in CLASSES}
        found["shop"] = make_key(write, "page", name="shop", at=house.now(), by="test", origins=[SHOP])
    return found


@pytest.fixture(scope="module")
def anyone(house: House) -> Iterator[TestClient]:
    """Return a client without a key."""
    with TestClient(create_app(house, Settings(page_limit="1000000/minute")), raise_server_exceptions=False) as client:
        yield client


def bearer(key: str) -> dict[str, str]:
    return {"authorization": f"Bearer {key}"}


def asked(client: TestClient, method: str, path: str, headers: dict[str, str]) -> Any:
    filled = path.replace("{slug}", "not-found").replace("{id}", "STK-01")
    filled = filled.replace("{code}", "SH-GAR" if "leathers" in path else "twofold")
    filled = filled.replace("{quote}", "Q1").replace("{order}", "O1").replace("{field}", "total")
    return client.request(method, filled, headers=headers, json=DEMO_SPEC if method == "POST" else None)


def assert_is(answer: Any, slug: str) -> None:
    assert answer.status_code == PROBLEM_TYPES[slug].status
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["type"] == f"/problems/{slug}"


def assert_says(answer: Any, text: str) -> None:
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/plain; charset=utf-8"
    assert answer.text == text


def is_free(operation: dict[str, Any]) -> bool:
    return operation["security"] == []


def is_cell(operation: dict[str, Any]) -> bool:
    return operation["operationId"] == "readCell"


@EVERY_OPERATION
def test_no_operation_is_answered_without_a_key_unless_it_is_open(
    anyone: TestClient, method: str, path: str, operation: dict[str, Any]
) -> None:
    answer = asked(anyone, method, path, {})
    if is_free(operation):
        assert answer.status_code == 200
    elif is_cell(operation):
        assert_says(answer, NO_KEY_IN_CELL)
    else:
        assert_is(answer, "key-unknown")
        assert answer.headers["www-authenticate"] == "Bearer"


@EVERY_OPERATION
def test_a_sheet_key_opens_cells_and_nothing_else(
    anyone: TestClient, keys: dict[str, str], method: str, path: str, operation: dict[str, Any]
) -> None:
    answer = asked(anyone, method, path, bearer(keys["sheet"]))
    if is_free(operation):
        assert answer.status_code == 200
    elif is_cell(operation):
        assert_says(answer, LET_INTO_CELL)
    else:
        assert_is(answer, "key-not-enough")


@EVERY_OPERATION
@pytest.mark.parametrize("name", [name for name in CLASSES if name != "sheet"])
def test_a_key_opens_what_its_class_is_declared_for_and_nothing_else(
    anyone: TestClient, keys: dict[str, str], method: str, path: str, operation: dict[str, Any], name: str
) -> None:
    answer = asked(anyone, method, path, bearer(keys[name]))
    if is_cell(operation):
        assert_says(answer, LET_INTO_CELL)
        return
    roles = [role for requirement in operation["security"] for role in requirement["key"]]
    if all(CLASSES[name] >= CLASSES[role] for role in roles):
        assert answer.status_code not in (401, 403)
    else:
        assert_is(answer, "key-not-enough")


@EVERY_OPERATION
def test_every_operation_declares_its_key_and_what_the_door_answers(
    method: str, path: str, operation: dict[str, Any]
) -> None:
    assert is_free(operation) is is_open(path)
    if is_free(operation):
        assert not {"401", "403", "429"} & set(operation["responses"])
        return
    if is_cell(operation):
        assert operation["security"] == [{"key": ["page"]}, {"sheetKey": []}]
        assert set(operation["responses"]) == {"200"}
        return
    (requirement,) = operation["security"]
    assert list(requirement) == ["key"]
    assert len(requirement["key"]) == 1
    assert {"401", "403", "429"} <= set(operation["responses"])
    assert "WWW-Authenticate" in operation["responses"]["401"]["headers"]
    assert "Retry-After" in operation["responses"]["429"]["headers"]


def test_a_service_with_an_operation_that_says_nothing_of_keys_does_not_start(house: House) -> None:
    app = create_app(house)
    app.get("/v1/forgotten", operation_id="readForgotten")(lambda: None)
    app.openapi_schema = None  # create_app asks for the document once all operations are there
    with pytest.raises(RuntimeError, match="readForgotten"):
        app.openapi()


@pytest.mark.parametrize("path", FREE)
def test_what_is_open_is_open_to_any_key_and_none(anyone: TestClient, path: str) -> None:
    assert anyone.get(path).status_code == 200
    assert anyone.get(path, headers=bearer("qf.page.none.none")).status_code == 200


@pytest.mark.parametrize(
    "path",
    ["/", "/nowhere", "/v1", "/v1/", "/health", "/health/", "/health/live/", "/health/livex", "/docsx", "/Docs",
     "/problemsx", "/openapi.json/", "/openapi.yaml", "/redoc", "/metrics", "//docs", "/v1/%2e%2e/docs",
     "/favicon.ico"],
)  # fmt: skip
@pytest.mark.parametrize("method", ["GET", "HEAD", "POST", "DELETE", "OPTIONS", "TRACE"])
def test_a_path_that_nobody_opened_is_shut(anyone: TestClient, method: str, path: str) -> None:
    answer = anyone.request(method, f"http://testserver{path}")
    assert answer.status_code == 401
    assert method == "HEAD" or answer.json()["type"] == "/problems/key-unknown"


def test_a_web_socket_is_shut(anyone: TestClient) -> None:
    for path in ("/v1/checks", "/docs"):
        with pytest.raises(WebSocketDisconnect), anyone.websocket_connect(path):
            pass


def test_keys_that_do_not_open_are_not_told_apart(anyone: TestClient, house: House, keys: dict[str, str]) -> None:
    with house.store.write() as write:
        ended = make_key(write, "owner", name="ended", at=house.now(), by="test", expires_at=house.now())
        revoked = make_key(write, "owner", name="revoked", at=house.now(), by="test")
        revoke_key(write, revoked.split(".")[2], at=house.now())
    owner = keys["owner"]
    tried = [None, "", "Bearer", "Bearer ", f"Basic {owner}", owner, f"Bearer {owner}x", f"Bearer {owner[:-1]}",
             f"Bearer {owner.upper()}", f"Bearer {ended}", f"Bearer {revoked}", "Bearer qf.owner.x.y"]  # fmt: skip
    told = set()
    for value in tried:
        answer = anyone.get("/v1/kinds", headers={} if value is None else {"authorization": value})
        assert_is(answer, "key-unknown")
        told.add(json.dumps({**answer.json(), "instance": None}))
    assert len(told) == 1


def test_the_name_of_the_scheme_is_read_without_regard_to_case(anyone: TestClient, keys: dict[str, str]) -> None:
    for scheme in ("Bearer", "bearer", "BEARER"):
        assert anyone.get("/v1/kinds", headers={"authorization": f"{scheme} {keys['page']}"}).status_code == 200


def test_two_keys_at_once_are_none(anyone: TestClient, keys: dict[str, str]) -> None:
    both = [("authorization", f"Bearer {keys['owner']}"), ("authorization", f"Bearer {keys['page']}")]
    assert_is(anyone.get("/v1/kinds", headers=both), "key-unknown")


@EVERY_OPERATION
@pytest.mark.parametrize("name", CLASSES)
def test_a_key_in_the_address_opens_nothing_but_a_sheet_key_cells(
    anyone: TestClient, keys: dict[str, str], method: str, path: str, operation: dict[str, Any], name: str
) -> None:
    answer = asked(anyone, method, f"{path}?key={keys[name]}", {})
    if is_cell(operation):
        assert_says(answer, LET_INTO_CELL if name == "sheet" else NO_KEY_IN_CELL)
    elif is_free(operation):
        assert answer.status_code in (200, 422)  # a parameter that is not known, nothing of keys
    else:
        assert_is(answer, "key-unknown")


def test_a_key_works_from_its_making_to_its_end_without_a_new_start(anyone: TestClient, house: House) -> None:
    with house.store.write() as write:
        key = make_key(write, "server", name="short", at=house.now(), by="test")
    assert anyone.get("/v1/kinds", headers=bearer(key)).status_code == 200
    with house.store.write() as write:
        revoke_key(write, key.split(".")[2], at=house.now())
    assert_is(anyone.get("/v1/kinds", headers=bearer(key)), "key-unknown")


def test_no_refusal_repeats_a_key_and_nothing_logs_one(
    anyone: TestClient, keys: dict[str, str], caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(0)
    for key in (keys["sheet"], keys["owner"] + "x", keys["owner"]):
        for path in ("/v1/kinds", "/nowhere", "/v1/patterns/none"):
            answer = anyone.get(path, headers=bearer(key))
            secret = key.split(".")[3]
            assert secret not in answer.text
            assert secret not in str(answer.headers)
    assert "qf." not in caplog.text


def test_a_class_below_the_one_declared_is_refused_by_the_route(house: House, keys: dict[str, str]) -> None:
    app = create_app(house)
    router = APIRouter(dependencies=[least(Caller.STAFF)])
    router.get("/v1/staff-only")(lambda: None)
    app.include_router(router)
    client = TestClient(app)
    for name, caller in CLASSES.items():
        status = client.get("/v1/staff-only", headers=bearer(keys[name])).status_code
        assert status == (200 if caller >= Caller.STAFF else 403)


@pytest.mark.parametrize(
    ("method", "path"), [("POST", "/v1/checks"), ("POST", "/v1/checks?explain=all"), ("GET", "/v1/leathers?said=x")]
)
def test_one_request_looks_at_the_store_once(
    anyone: TestClient, house: House, keys: dict[str, str], monkeypatch: pytest.MonkeyPatch, method: str, path: str
) -> None:
    looks = []
    revisions = Store.revisions

    def looked(store: Store) -> Revisions:
        if threading.current_thread().name != "keeper":  # which looks once a second, on its own
            looks.append(1)
        return revisions(store)

    monkeypatch.setattr(Store, "revisions", looked)
    body = DEMO_SPEC if method == "POST" else None
    assert anyone.request(method, path, headers=bearer(keys["owner"]), json=body).status_code == 200
    assert looks == [1]


def test_each_class_sees_its_own_part_of_a_check(anyone: TestClient, keys: dict[str, str]) -> None:
    for name, sees in (("page", False), ("server", False), ("staff", True), ("owner", True)):
        answers = [
            anyone.post(f"/v1/checks{query}", json=DEMO_SPEC, headers=bearer(keys[name])).json()
            for query in ("", "?alternatives=0")  # by the lane, and by the framework
        ]
        assert answers[0] == answers[1]
        assert ("cut_from" in answers[0]) is sees


PREFLIGHT = {"origin": SHOP, "access-control-request-method": "POST"}


def test_a_browser_may_ask_for_a_page_of_a_known_origin(anyone: TestClient, keys: dict[str, str]) -> None:
    answer = anyone.options("/v1/checks", headers=PREFLIGHT)
    assert (answer.status_code, answer.content) == (204, b"")
    assert answer.headers["access-control-allow-origin"] == SHOP
    assert "POST" in answer.headers["access-control-allow-methods"]
    assert "authorization" in answer.headers["access-control-allow-headers"]
    assert answer.headers["vary"] == "origin"


@pytest.mark.parametrize(
    "headers", [{**PREFLIGHT, "origin": OTHER}, {**PREFLIGHT, "origin": "null"}, {"origin": SHOP}, {}]
)
def test_no_other_preflight_is_answered(anyone: TestClient, headers: dict[str, str]) -> None:
    answer = anyone.options("/v1/checks", headers=headers)
    assert_is(answer, "key-unknown")
    assert "access-control-allow-origin" not in answer.headers


def test_a_page_of_the_keys_origin_may_read_the_answer(anyone: TestClient, keys: dict[str, str]) -> None:
    for headers, status in (({}, 200), ({"if-none-match": "*"}, 304)):
        answer = anyone.get("/v1/kinds", headers={**bearer(keys["shop"]), "origin": SHOP, **headers})
        assert answer.status_code == status
        assert answer.headers["access-control-allow-origin"] == SHOP
        assert answer.headers["cross-origin-resource-policy"] == "cross-origin"
        assert "origin" in answer.headers["vary"]
        assert "RateLimit" in answer.headers["access-control-expose-headers"]
        assert "access-control-allow-credentials" not in answer.headers


def test_a_page_reads_its_problems_too(anyone: TestClient, keys: dict[str, str]) -> None:
    answer = anyone.post("/v1/checks", json={}, headers={**bearer(keys["shop"]), "origin": SHOP})
    assert_is(answer, "schema-violation")
    assert answer.headers["access-control-allow-origin"] == SHOP


def test_a_page_of_another_origin_is_refused(anyone: TestClient, keys: dict[str, str]) -> None:
    for origin in (OTHER, "null", SHOP + ".evil.example", SHOP.replace("https", "http")):
        answer = anyone.get("/v1/kinds", headers={**bearer(keys["shop"]), "origin": origin})
        assert_is(answer, "origin-not-allowed")
        assert "access-control-allow-origin" not in answer.headers


def test_without_an_origin_a_page_key_is_answered_and_nothing_is_shared(
    anyone: TestClient, keys: dict[str, str]
) -> None:
    answer = anyone.get("/v1/kinds", headers=bearer(keys["shop"]))
    assert answer.status_code == 200
    assert "access-control-allow-origin" not in answer.headers
    assert answer.headers["cross-origin-resource-policy"] == "same-origin"


def test_only_page_keys_are_shared_with_other_origins(anyone: TestClient, keys: dict[str, str]) -> None:
    for name in ("server", "staff", "owner"):
        answer = anyone.get("/v1/kinds", headers={**bearer(keys[name]), "origin": SHOP})
        assert answer.status_code == 200
        assert not [header for header in answer.headers if header.startswith("access-control")]
        assert answer.headers["cross-origin-resource-policy"] == "same-origin"


def test_a_page_key_may_ask_so_often_and_then_waits(house: House, keys: dict[str, str]) -> None:
    client = TestClient(create_app(house, Settings(page_limit="3/hour")))
    for left in (2, 1, 0):
        answer = client.post("/v1/checks", json=DEMO_SPEC, headers=bearer(keys["page"]))
        assert answer.status_code == 200
        assert answer.headers["ratelimit-policy"] == '"page";q=3;w=3600'
        assert re.fullmatch(rf'"page";r={left};t=3(600|5\d\d)', answer.headers["ratelimit"])
    answer = client.get("/v1/kinds", headers={**bearer(keys["page"]), "origin": SHOP})
    assert_is(answer, "too-many-requests")
    assert answer.headers["retry-after"] == answer.headers["ratelimit"].rpartition("t=")[2]
    assert answer.headers["access-control-allow-origin"] == SHOP
    assert client.get("/v1/kinds", headers=bearer(keys["shop"])).status_code == 200
    for name in ("server", "staff", "owner"):
        assert "ratelimit" not in client.get("/v1/kinds", headers=bearer(keys[name])).headers


def test_preflights_and_pages_elsewhere_do_not_count(house: House, keys: dict[str, str]) -> None:
    client = TestClient(create_app(house, Settings(page_limit="1/hour")))
    for _ in range(3):
        assert client.options("/v1/checks", headers=PREFLIGHT).status_code == 204
        assert_is(client.get("/v1/kinds", headers={**bearer(keys["shop"]), "origin": OTHER}), "origin-not-allowed")
    assert client.get("/v1/kinds", headers=bearer(keys["shop"])).status_code == 200


def test_a_key_from_the_settings_opens_a_new_store(tmp_path: Path) -> None:
    key = "long-and-random-enough"
    house = open_house(Settings(database_url=f"sqlite:///{tmp_path / 'new.sqlite3'}", bootstrap_owner_key=key))
    assert TestClient(create_app(house)).get("/v1/kinds", headers=bearer(key)).status_code == 200
    house.close()
