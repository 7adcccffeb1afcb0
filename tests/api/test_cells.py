"""Single values of a check, for a formula in a sheet: whatever comes of it, one line of text with status 200."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, select
from starlette.testclient import TestClient
from support.desk import WALLET, Desk, a_desk

from api.app import create_app
from api.lists.columns import COLUMNS
from api.lists.written import cells_of
from api.routes.cells import FIELDS
from api.settings import Settings
from api.store.tables import CHECK_LOG
from api.visibility import Caller

EXAMPLES = json.loads((Path(__file__).parents[1] / "data" / "example-specs.json").read_text(encoding="utf-8"))
ROW = cells_of(WALLET)
#: Many panels, each of which could be cut from any of several lots: more than is worked out while others wait.
DEAR = {**ROW, "outside": "BR-HAZ", "inside": "BR-HAZ", "pockets": "BR-HAZ", "quantity": 10}
NO_KEY = "error: send one key that is in force: a sheet key as key=KEY, any as Authorization: Bearer KEY"


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    with a_desk(f"sqlite:///{tmp_path_factory.mktemp('cells') / 'cells.sqlite3'}") as desk:
        yield desk


@pytest.fixture(scope="module")
def anyone(desk: Desk) -> Iterator[TestClient]:
    """Return a client without a key."""
    app = create_app(desk.house, Settings(sheet_limit="1000000/minute"))
    with TestClient(app, raise_server_exceptions=False) as client:
        yield client


@pytest.fixture
def sheet(desk: Desk) -> str:
    return desk.tokens["sheet"]


def bearer(desk: Desk, who: str) -> dict[str, str]:
    return {"authorization": f"Bearer {desk.tokens[who]}"}


def text_of(answer: Any) -> str:
    """Return the line of a cell's answer."""
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/plain; charset=utf-8"
    text: str = answer.text
    assert text
    assert text == " ".join(text.split())
    good = not text.startswith("error: ")
    assert answer.headers["cache-control"] == ("private, max-age=60" if good else "no-store")
    assert answer.headers["referrer-policy"] == "no-referrer"
    return text


def cell(client: TestClient, field: str, row: Any, **more: Any) -> str:
    return text_of(client.get(f"/v1/cells/{field}", params={**row, **more}))


@pytest.mark.parametrize("example", EXAMPLES, ids=[example["id"] for example in EXAMPLES])
def test_a_cell_says_what_a_check_of_the_same_spec_says(
    anyone: TestClient, desk: Desk, sheet: str, example: dict[str, Any]
) -> None:
    spec = {name: value for name, value in example["spec"].items() if name != "lots"}
    answer = anyone.post("/v1/checks", json=spec, headers=bearer(desk, "server")).json()
    price, promise = answer["price"] or {}, answer["promise"] or {}
    expected = {
        "outcome": answer["outcome"],
        "total": price.get("total") or "none",
        "why": answer["headline"],
        "ready_on": promise.get("ready_on") or "none",
    }
    assert {field: cell(anyone, field, cells_of(spec), key=sheet) for field in FIELDS} == expected


def test_where_there_is_no_price_and_no_date_the_line_is_none(anyone: TestClient, sheet: str) -> None:
    row = {"pattern": "no-such-pattern"}
    assert cell(anyone, "outcome", row, key=sheet) == "refused"
    assert cell(anyone, "total", row, key=sheet) == "none"
    assert cell(anyone, "ready_on", row, key=sheet) == "none"


def test_every_column_below_the_staffs_is_read(anyone: TestClient, sheet: str) -> None:
    row = {
        **ROW, "reference": "row 7", "outside_side": "grain", "stitch": "machine", "mono_text": "A.B.",
        "mono_method": "blind", "mono_typeface": "FA-SER14", "mono_zone": "Z-IN-LOW", "mono_artwork": "no",
        "modifications": "hidden_slot", "cards": "8", "notes": "USD:4", "use": "everyday", "quantity": "1",
        "ship_to": "US-CA", "rush": "no", "ready_by": "2026-05-29", "note": "no hurry",
    }  # fmt: skip
    plain = cell(anyone, "total", ROW, key=sheet)
    assert float(cell(anyone, "total", row, key=sheet)) > float(plain)
    for name, column in COLUMNS.items():
        if column.least is Caller.PAGE:
            assert "column" not in cell(anyone, "outcome", {**ROW, name: ""}, key=sheet)


def test_names_of_columns_go_without_case_and_empty_values_say_nothing(anyone: TestClient, sheet: str) -> None:
    row = {name.upper(): value for name, value in ROW.items()}
    assert cell(anyone, "total", row, lining="", mono_text="", KEY=sheet) == "455.00"


def test_letters_beyond_ascii_arrive_as_they_are(anyone: TestClient, sheet: str) -> None:
    row = {**ROW, "mono_text": "ÉÈ", "mono_method": "blind", "mono_typeface": "FA-SER14", "mono_zone": "Z-IN-LOW"}
    assert '"È"' in cell(anyone, "why", row, key=sheet)  # the first, in order, that the typeface lacks
    raw = f"/v1/cells/why?mono_text=%C3%89%C3%88&key={sheet}&" + "&".join(
        f"{k}={v}" for k, v in row.items() if k != "mono_text"
    )
    assert '"È"' in text_of(anyone.get(raw))


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ("pattern=twofold&colour=red", "there is no column 'colour'"),
        ("pattern=twofold&out_side=SH-GAR", "there is no column 'out_side'; did you mean 'outside'?"),
        ("pattern=twofold&threads=match", "there is no column 'threads'; did you mean 'thread'?"),
        ("pattern=twofold&Pattern=belt", "pattern: the column is there twice"),
        ("pattern=twofold&outside_lots=L104", "outside_lots: a cell names no lots"),
        ("outside=SH-GAR", "pattern: this field is needed"),
        ("", "pattern: this field is needed"),
        ("pattern=", "pattern: this field is needed"),
        ("pattern=twofold&quantity=1001", "quantity: at most 1000"),
        ("pattern=twofold&quantity=0", "quantity: at least 1"),
        ("pattern=twofold&ship_to=California", "ship_to: "),
        ("pattern=twofold&mono_text=A&mono_method=paint", "mono_method: one of 'blind', 'foil', 'ink' or 'laser'"),
        ("pattern=twofold&thread=" + "x" * 41, "thread: the text is too long: at most 40 characters"),
        ("pattern=twofold&thread=" + "x" * 201, "thread: more than 200 characters"),
        ("pattern=twofold&note=" + "x" * 2001, "note: more than 2000 characters"),
        ("pattern=two%00fold", "pattern: "),
        ("pattern=%FF", "the address is not UTF-8, percent-encoded"),
        ("pattern=%ED%A0%80", "the address is not UTF-8, percent-encoded"),
        ("pattern=twofold" + "&x=1" * 100, f"more than {len(COLUMNS)} columns in the address"),
        ("=1", "there is no column"),
        ("twofold", "there is no column 'twofold'"),
    ],
)
def test_a_fault_is_one_line_that_says_which_column_and_what_would_do(
    anyone: TestClient, desk: Desk, query: str, says: str
) -> None:
    text = text_of(anyone.get(f"/v1/cells/total?{query}", headers=bearer(desk, "page")))
    assert text.startswith(f"error: {says}")


@pytest.mark.parametrize(
    ("name", "value"),
    [("quantity", "two"), ("quantity", "1.5"), ("cards", "-1"), ("lug_mm", "wide"), ("dog_kg", "heavy"), ("rush", "?"),
     ("ready_by", "soon"), ("ready_by", "2026-02-30"), ("notes", "USD:x")],
)  # fmt: skip
def test_a_value_that_cannot_be_read_is_named_by_its_column(
    anyone: TestClient, sheet: str, name: str, value: str
) -> None:
    assert cell(anyone, "total", {**ROW, name: value}, key=sheet).startswith(f"error: {name}: ")


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"dog_kg": "30,5"}, "none"),
        ({"dog_kg": "30.5", "width_mm": "1 in"}, "none"),
        ({"dog_kg": "30.5", "width_mm": "25,400"}, "error: width_mm: The number may be 25400 or 25.4"),
        ({"dog_kg": "30,5", "width_mm": "25,400"}, "none"),
        ({"thread": "#N/A"}, "error: thread: The cell holds an error of the spreadsheet"),
    ],
)
def test_numbers_are_read_as_the_sheet_writes_them(
    anyone: TestClient, sheet: str, more: dict[str, str], says: str
) -> None:
    row = {"pattern": "no-such-pattern", **more}
    assert cell(anyone, "total", row, key=sheet).startswith(says)


@pytest.mark.parametrize(
    ("path", "says"),
    [
        ("/v1/cells/totl", "there is no such cell; did you mean 'total'?"),
        ("/v1/cells/x", "there is no such cell, only outcome, total, why, ready_on"),
        ("/v1/cells/Total", "there is no such cell; did you mean 'total'?"),
        ("/v1/cells/%3Cb%3E", "there is no such cell, only outcome, total, why, ready_on"),
        ("/v1/cells/", "there is nothing at this address"),
        ("/v1/cells", "there is nothing at this address"),
        ("/v1/cells/total/", "there is nothing at this address"),
        ("/v1/cells/total/more", "there is nothing at this address"),
    ],
)
def test_a_cell_that_there_is_not_is_a_line_too(anyone: TestClient, desk: Desk, path: str, says: str) -> None:
    assert text_of(anyone.get(path, params=ROW, headers=bearer(desk, "page"))) == f"error: {says}"
    assert text_of(anyone.get(path, params=ROW)) == NO_KEY


@pytest.mark.parametrize("who", ["page", "server", "staff", "owner", "sheet"])
def test_any_key_may_stand_in_the_header(anyone: TestClient, desk: Desk, who: str) -> None:
    assert text_of(anyone.get("/v1/cells/total", params=ROW, headers=bearer(desk, who))) == "455.00"


@pytest.mark.parametrize("who", ["page", "server", "staff", "owner"])
def test_no_key_but_a_sheets_may_stand_in_the_address(anyone: TestClient, desk: Desk, who: str) -> None:
    assert cell(anyone, "total", ROW, key=desk.tokens[who]) == NO_KEY


def test_keys_that_do_not_open_a_cell_are_not_told_apart(anyone: TestClient, desk: Desk, sheet: str) -> None:
    for key in ("", "x", f"{sheet}x", sheet.upper(), "qf.sheet.none.none", f"Bearer {sheet}"):
        assert cell(anyone, "total", ROW, key=key) == NO_KEY
    two = f"key={sheet}&key={sheet}"
    assert text_of(anyone.get(f"/v1/cells/total?pattern=twofold&{two}")) == NO_KEY
    both = anyone.get("/v1/cells/total", params={**ROW, "key": sheet}, headers=bearer(desk, "page"))
    assert text_of(both) == NO_KEY


def test_a_key_in_the_address_is_for_reading_cells_only(anyone: TestClient, sheet: str) -> None:
    for method, path in (("POST", "/v1/cells/total"), ("DELETE", "/v1/cells/total"), ("GET", "/v1/cellsx")):
        answer = anyone.request(method, path, params={"key": sheet})
        assert answer.status_code == 401
        assert answer.json()["type"] == "/problems/key-unknown"


def test_another_method_is_a_problem_as_elsewhere(anyone: TestClient, desk: Desk) -> None:
    answer = anyone.post("/v1/cells/total", headers=bearer(desk, "server"))
    assert (answer.status_code, answer.headers["allow"]) == (405, "GET, HEAD")


def test_a_key_is_neither_repeated_nor_logged(anyone: TestClient, sheet: str, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(0)
    secret = sheet.split(".")[3]
    for query in (f"key={sheet}", f"key={sheet}&pattern=x", f"keys={sheet}", sheet, f"={sheet}", f"key={sheet}x",
                  f"pattern=twofold&{secret}=1&key={sheet}", f"note=&k%65y={sheet}"):  # fmt: skip
        answer = anyone.get(f"/v1/cells/why?{query}")
        assert secret not in text_of(answer)
        assert secret not in str(answer.headers)
    assert secret not in "".join(record.getMessage() for record in caplog.records if record.name != "httpx2")


def test_what_is_behind_the_door_never_sees_the_key_in_an_address(desk: Desk, sheet: str) -> None:
    seen = []

    async def note(scope: Any, _receive: Any, send: Any) -> None:
        seen.append((scope["query_string"], scope["state"]["key"].class_name))
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b""})

    app = create_app(desk.house)
    app.mount("/v1/cells/seen", note)
    TestClient(app).get(f"/v1/cells/seen/it?pattern=x&key={sheet}&quantity=1")
    assert seen == [(b"pattern=x&quantity=1", "sheet")]


def test_an_answer_may_be_kept_for_a_while_by_whoever_sent_its_key(anyone: TestClient, desk: Desk) -> None:
    answer = anyone.get("/v1/cells/total", params=ROW, headers=bearer(desk, "server"))
    assert answer.headers["cache-control"] == "private, max-age=60"
    assert answer.headers["vary"] == "Authorization"


def test_head_is_answered_as_get_without_the_line(anyone: TestClient, sheet: str) -> None:
    for row in (ROW, {}):
        params = {**row, "key": sheet}
        got, head = (anyone.request(method, "/v1/cells/total", params=params) for method in ("GET", "HEAD"))
        assert (head.status_code, head.content) == (200, b"")
        assert head.headers["content-length"] == str(len(got.content))
        assert head.headers["content-type"] == got.headers["content-type"]


def test_a_page_reads_a_cell_of_its_own_origin_only(anyone: TestClient, desk: Desk) -> None:
    for origin, says in (("https://shop.example", "455.00"), ("https://other.example", "error: this key is for pages")):
        answer = anyone.get("/v1/cells/total", params=ROW, headers={**bearer(desk, "page"), "origin": origin})
        assert text_of(answer).startswith(says)
        assert (answer.headers.get("access-control-allow-origin") == origin) is (says == "455.00")


def test_a_sheet_key_may_ask_so_often_and_then_is_told_how_long_to_wait(desk: Desk, sheet: str) -> None:
    client = TestClient(create_app(desk.house, Settings(sheet_limit="2/hour")))
    for left in (1, 0):
        answer = client.get("/v1/cells/total", params={**ROW, "key": sheet})
        assert text_of(answer) == "455.00"
        assert answer.headers["ratelimit-policy"] == '"sheet";q=2;w=3600'
        assert answer.headers["ratelimit"].startswith(f'"sheet";r={left};t=')
    answer = client.get("/v1/cells/total", params={**ROW, "key": sheet})
    wait = answer.headers["retry-after"]
    assert 3590 < int(wait) <= 3600
    assert text_of(answer) == f"error: too many requests with this key; again in {wait} s"
    for who in ("server", "staff", "owner", "page"):
        assert text_of(client.get("/v1/cells/total", params=ROW, headers=bearer(desk, who))) == "455.00"


def test_an_answer_that_takes_too_long_is_given_up_and_is_there_later(desk: Desk, sheet: str) -> None:
    hasty = TestClient(create_app(desk.house, cell_seconds=0))
    assert cell(hasty, "outcome", DEAR, key=sheet) == "error: no answer in time; ask again in a while"
    assert cell(hasty, "outcome", ROW, key=sheet) == "buildable"  # known at once
    patient = TestClient(create_app(desk.house, cell_seconds=60))
    began = time.monotonic()
    assert cell(patient, "outcome", DEAR, key=sheet) == "refused"
    assert time.monotonic() - began < 60


def test_what_nobody_expected_is_a_line_that_tells_nothing(
    desk: Desk, sheet: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(*_: Any) -> None:
        raise RuntimeError("the secret of the house")

    client = TestClient(create_app(desk.house))
    monkeypatch.setitem(FIELDS, "total", broken)  # type: ignore[arg-type]
    headers = {"request-id": "broken-0001"}
    answer = client.get("/v1/cells/total", params={**ROW, "key": sheet}, headers=headers)
    assert text_of(answer) == "error: something went wrong here; name broken-0001 when you report it"
    assert answer.headers["request-id"] == "broken-0001"
    assert "the secret of the house" in caplog.text  # for whoever runs the service
    assert sheet not in caplog.text


def test_a_body_that_comes_along_is_not_read_beyond_its_limit(anyone: TestClient, sheet: str) -> None:
    params = {**ROW, "key": sheet}
    answer = anyone.request("GET", "/v1/cells/total", params=params, content=b"x" * 200_000)
    assert text_of(answer).startswith("error: at most 131072 bytes")


def test_a_cell_is_not_written_into_the_log_of_checks(desk: Desk, anyone: TestClient, sheet: str) -> None:
    def logged() -> int:
        desk.house.log.flush()
        with desk.house.store.read() as connection:
            return connection.execute(select(func.count()).select_from(CHECK_LOG)).scalar_one()

    before = logged()
    for field in FIELDS:
        cell(anyone, field, ROW, key=sheet)
    assert logged() == before
    anyone.post("/v1/checks", json=WALLET, headers=bearer(desk, "server"))
    assert logged() == before + 1


def test_a_sheet_keys_cell_tells_of_a_margin_as_little_as_a_page(anyone: TestClient, desk: Desk, sheet: str) -> None:
    row = {"pattern": "fob", "outside": "VS-NAT", "thread": "TH-P05-TAN", "edge": "ED-BURN", "ring": "HW-RING30-SS",
           "quantity": 12}  # fmt: skip
    told = {cell(anyone, "why", row, key=sheet)}
    told |= {text_of(anyone.get("/v1/cells/why", params=row, headers=bearer(desk, who))) for who in ("page", "owner")}
    assert len(told) == 1
    assert "margin" not in told.pop().casefold()


def test_a_served_process_writes_down_no_address(tmp_path: Path) -> None:
    complaints = tmp_path / "complaints"
    environ = {
        **os.environ,
        "QUARTERFOOT_TODAY": "2026-03-02",
        "QUARTERFOOT_DATABASE_URL": f"sqlite:///{tmp_path / 'served.sqlite3'}",
    }
    with (
        complaints.open("wb") as stream,
        subprocess.Popen(
            [sys.executable, "-m", "api", "serve", "--port", "0"], cwd=Path(__file__).parents[2], env=environ,
            stdout=subprocess.PIPE, stderr=stream, text=True,
        ) as process,
    ):  # fmt: skip
        assert process.stdout is not None
        found = re.search(r"http://127\.0\.0\.1:\d+", process.stdout.readline())
        assert found is not None
        for path in ("/v1/cells/total", "/v1/cells/none", "/v1/kinds"):
            with suppress(urllib.error.HTTPError):
                urllib.request.urlopen(f"{found[0]}{path}?key=qf.sheet.an.address", timeout=20).close()
        process.terminate()
        said = process.stdout.read()
    assert "qf.sheet" not in said + complaints.read_text(encoding="utf-8")
