"""Long lists: kept, judged beside other work, read row by row, dropped; whoever is at one may die."""

from __future__ import annotations

import json
import os
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import httpx
import psutil
import pytest
from support.desk import TODAY, WALLET, Desk, a_desk
from support.lists import KINDS, file_of, verdicts_in
from support.served import OWNER_KEY, Served

from api.lists.folders import sweep
from api.lists.keeping import KEPT, LOST, MOST_BEGUN, LostError, claim, drop_expired
from api.lists.work import CHUNK, work
from api.store.shelf import stamp

PATH = "/v1/wishlists"
MANY = [{**WALLET, "reference": f"r{place}", "quantity": 1 + place % 3} for place in range(250)]


@pytest.fixture
def desk(store_url: str) -> Iterator[Desk]:
    with a_desk(store_url) as found:
        yield found


@pytest.fixture
def send(desk: Desk) -> Callable[..., Any]:
    def sent(bodies: list[Any], kind: str = "json", query: str = "", who: str = "server") -> Any:
        headers = {"authorization": f"Bearer {desk.tokens[who]}"}
        return file_of(kind, bodies).sent(desk._client, f"{PATH}{query}", headers)

    return sent


def dropped(desk: Desk, path: str, who: str = "server") -> int:
    headers = {"authorization": f"Bearer {desk.tokens[who]}"}
    status: int = desk._client.delete(path, headers=headers).status_code
    return status


@pytest.mark.parametrize("kind", KINDS)
def test_a_long_list_is_judged_later_and_comes_back_as_it_would_have_at_once(
    desk: Desk, send: Callable[..., Any], kind: str
) -> None:
    answer = send(MANY, kind)
    assert answer.status_code == 202
    where = answer.headers["location"]
    assert (answer.json()["state"], answer.json()["rows"], answer.json()["done"]) == ("waiting", 250, 0)
    assert verdicts_in(kind, desk.get(f"{where}/rows", "server").content) == []
    assert work(desk.house) == 1
    shown = desk.get(where, "server").json()
    assert (shown["state"], shown["done"]) == ("done", 250)
    assert shown["as_of"] == TODAY.isoformat()
    desk.app.state.list_rows_at_once = 1000
    at_once = send(MANY, kind)
    assert at_once.status_code == 200
    later = desk.get(f"{where}/rows", "server")
    assert later.headers["content-type"] == at_once.headers["content-type"]
    assert verdicts_in(kind, later.content) == verdicts_in(kind, at_once.content)
    if kind in ("csv", "json", "ndjson"):
        assert later.content == at_once.content
    assert len(verdicts_in(kind, later.content)) == 250


def test_rows_so_far_are_read_while_somebody_is_at_it(desk: Desk, send: Callable[..., Any]) -> None:
    where = send(MANY).headers["location"]
    own = claim(desk.house.store, "one", desk.house.clock.now())
    assert own is not None
    own.begin({"as_of": "2026-03-02", "revisions": {}})
    own.put(0, [b'{"row":1,"check":null,"error":null}'], {"rows": 1}, desk.house.now())
    shown = desk.get(where, "server")
    assert (shown.json()["state"], shown.json()["done"], shown.json()["summary"]) == ("running", 1, {"rows": 1})
    assert shown.headers["retry-after"] == "1"
    answer = desk.get(f"{where}/rows", "server").json()
    assert answer["rows"] == [{"row": 1, "check": None, "error": None}]
    assert answer["complete"] is False


def test_a_list_whose_worker_is_gone_is_judged_from_the_start_by_the_next(desk: Desk, send: Callable[..., Any]) -> None:
    where = send(MANY).headers["location"]
    own = claim(desk.house.store, "one", desk.house.clock.now())
    assert own is not None
    own.begin({"as_of": "2026-03-02", "revisions": {}})
    own.put(0, [b"{}"] * 5, {}, desk.house.now())
    assert claim(desk.house.store, "two", desk.house.clock.now()) is None  # it may still be at it
    desk.wait(seconds=LOST.total_seconds() + 1)
    assert work(desk.house) == 1
    assert desk.get(where, "server").json()["done"] == 250
    assert len(desk.get(f"{where}/rows", "server").json()["rows"]) == 250
    with pytest.raises(LostError):
        own.put(5, [b"{}"], {}, desk.house.now())


def test_a_list_that_ends_every_worker_is_given_up(desk: Desk, send: Callable[..., Any]) -> None:
    where = send(MANY).headers["location"]
    for turn in range(MOST_BEGUN):
        assert claim(desk.house.store, f"worker {turn}", desk.house.clock.now()) is not None
        desk.wait(seconds=LOST.total_seconds() + 1)
    assert work(desk.house) == 0
    shown = desk.get(where, "server").json()
    assert shown["state"] == "failed"
    assert "send it again" in shown["said"]
    assert send(MANY[:2] * 120).status_code == 202  # others are not kept waiting by it
    assert work(desk.house) == 1


def test_a_worker_that_is_told_to_stop_gives_its_list_back(desk: Desk, send: Callable[..., Any]) -> None:
    where = send(MANY).headers["location"]
    for turn in range(MOST_BEGUN + 1):
        own = claim(desk.house.store, f"worker {turn}", desk.house.clock.now())
        assert own is not None
        own.give_back()
    assert desk.get(where, "server").json()["state"] == "waiting"
    assert work(desk.house) == 1


def test_a_list_that_cannot_be_judged_any_more_says_why(desk: Desk, send: Callable[..., Any]) -> None:
    supposed = {"specs": MANY, "overrides": {"lots": {"L104": {"left_dm2": 9}}}}
    where = desk.post(PATH, supposed, "owner").headers["location"]
    body = {"kind": "scrap", "reason": "sold"}
    assert desk.post("/v1/lots/L104/entries", body, "staff").status_code == 201
    assert work(desk.house) == 1
    shown = desk.get(where).json()
    assert (shown["state"], shown["done"]) == ("failed", 0)
    assert "no lot in stock has this code" in shown["said"]


def test_deleting_a_list_stops_whoever_is_at_it(desk: Desk, send: Callable[..., Any]) -> None:
    where = send(MANY).headers["location"]
    own = claim(desk.house.store, "one", desk.house.clock.now())
    assert own is not None
    assert dropped(desk, where) == 204
    with pytest.raises(LostError):
        own.begin({})
    assert desk.get(where, "server").status_code == 404
    assert desk.get(f"{where}/rows", "server").status_code == 404
    assert dropped(desk, where) == 404
    with desk.house.store.read() as connection:
        for table in ("wish_list", "wish_list_part", "wish_list_answers"):
            assert connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar() == 0


def test_a_list_is_gone_when_its_time_is_over(desk: Desk, send: Callable[..., Any]) -> None:
    where = send(MANY).headers["location"]
    expires = desk.get(where, "server").json()["expires_at"]
    before, after = (stamp(desk.house.clock.now() + KEPT + timedelta(minutes=off)) for off in (-1, 1))
    assert before < expires < after
    with desk.house.store.write() as write:
        drop_expired(write.connection, before)
    assert desk.get(where, "server").status_code == 200
    desk.wait(days=KEPT.days, minutes=1)
    assert desk.get(where, "server").status_code == 404  # though nobody has come by yet to delete it
    assert desk.get(f"{where}/rows", "server").status_code == 404
    assert work(desk.house) == 0
    with desk.house.store.write() as write:
        drop_expired(write.connection, after)
        assert write.connection.exec_driver_sql("SELECT count(*) FROM wish_list").scalar() == 0


def test_others_see_nothing_of_a_list(desk: Desk, send: Callable[..., Any]) -> None:
    where = send(MANY).headers["location"]
    assert desk.get(where, "server two").status_code == 404
    assert dropped(desk, where, "server two") == 404
    assert desk.get(where, "staff").status_code == 200
    owners = send(MANY, who="owner").headers["location"]
    assert desk.get(owners, "staff").status_code == 404  # it may tell what only the owner sees
    assert desk.get(owners, "owner").status_code == 200


def test_one_client_may_not_fill_the_queue(desk: Desk, send: Callable[..., Any]) -> None:
    desk.app.state.list_rows_at_once = 1
    statuses = [send(MANY[:2]).status_code for _ in range(21)]
    assert statuses == [202] * 20 + [429]
    assert send(MANY[:2], who="server two").status_code == 202


def test_who_was_served_longest_ago_is_served_next(desk: Desk, send: Callable[..., Any]) -> None:
    desk.app.state.list_rows_at_once = 1
    first = [send(MANY[:2]).json()["id"] for _ in range(3)]
    second = [send(MANY[:2], who="server two").json()["id"] for _ in range(2)]
    served = []
    while (own := claim(desk.house.store, "one", desk.house.clock.now())) is not None:
        served.append(own.row.id)
        own.finish({}, [])
        desk.wait(seconds=1)
    assert served == [first[0], second[0], first[1], second[1], first[2]]


def test_rows_and_summary_are_of_one_moment(desk: Desk, send: Callable[..., Any]) -> None:
    where = send(MANY, "ndjson").headers["location"]
    own = claim(desk.house.store, "one", desk.house.clock.now())
    assert own is not None
    own.begin({"as_of": "2026-03-02", "revisions": {}})
    over = threading.Event()

    def go_on() -> None:
        for place in range(120):
            own.put(place, [b'{"row":1,"check":null,"error":null}'], {"rows": place + 1}, desk.house.now())
        over.set()

    worker = threading.Thread(target=go_on)
    worker.start()
    seen = set()
    while not over.is_set():
        *rows, end = desk.get(f"{where}/rows", "server").text.splitlines()
        summary = json.loads(end)["summary"]
        assert len(rows) == (0 if summary is None else summary["rows"])
        seen.add(len(rows))
    worker.join()
    assert len(seen) > 3


def test_folders_of_processes_that_are_gone_are_swept_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    gone = subprocess.Popen(["true"])
    gone.wait()
    mine, young, old, other = (
        tmp_path / f"quarterfoot-list-{name}" for name in (f"{os.getpid()}-a", f"{gone.pid}-b", f"{gone.pid}-c", "x")
    )
    for folder in (mine, young, old, other):
        folder.mkdir()
        (folder / "list").write_text("a name")
    for folder in (mine, old, other):
        os.utime(folder, (0, 0))
    assert sweep() == 1
    assert sorted(folder.name for folder in tmp_path.iterdir()) == sorted(each.name for each in (mine, young, other))


def test_all_rows_are_judged_by_one_state_of_the_stock(desk: Desk, send: Callable[..., Any]) -> None:
    where = send([WALLET] * (2 * CHUNK)).headers["location"]
    before = desk.house.shop.stock_revision

    def sell() -> None:
        while desk.get(where, "server").json()["done"] == 0:
            time.sleep(0.01)
        body = {"kind": "scrap", "reason": "sold"}
        assert desk.post("/v1/lots/L104/entries", body, "staff").status_code == 201

    seller = threading.Thread(target=sell)
    seller.start()
    work(desk.house)
    seller.join()
    rows = desk.get(f"{where}/rows", "server").json()["rows"]
    assert {(row["check"]["outcome"], row["check"]["revisions"]["stock"]) for row in rows} == {("buildable", before)}
    assert desk.house.shop.stock_revision == before + 1


class Service:
    """A server with a long list sent to it, asked over HTTP."""

    def __init__(self, url: str) -> None:
        self.server = Served(url)
        self.client = httpx.Client(
            base_url=self.server.address, headers={"authorization": f"Bearer {OWNER_KEY}"}, timeout=30
        )

    def send(self, bodies: list[Any]) -> str:
        answer = self.client.post(PATH, json=bodies)
        assert answer.status_code == 202, answer.text
        return str(answer.headers["location"])

    def until(self, where: str, reached: Callable[[dict[str, Any]], bool], seconds: float) -> dict[str, Any]:
        """Ask for a list until something is so."""
        ends = time.monotonic() + seconds
        while time.monotonic() < ends:
            shown: dict[str, Any] = self.client.get(where).json()
            if reached(shown):
                return shown
            time.sleep(0.05)
        pytest.fail(f"not so within {seconds} s: {shown}")

    def worker(self) -> psutil.Process:
        """Return the process that is at the list."""
        (found,) = psutil.Process(self.server.process.pid).children()
        return found

    def end(self) -> None:
        self.client.close()
        self.server.end()


def is_done(shown: dict[str, Any]) -> bool:
    return bool(shown["state"] == "done")


def is_under_way(shown: dict[str, Any]) -> bool:
    return bool(shown["state"] == "running" and shown["done"] > 0)


LONG = [{**WALLET, "quantity": 1 + place % 900} for place in range(3 * CHUNK)]


def test_the_service_starts_a_worker_and_a_list_outlives_its_end(store_url: str) -> None:
    service = Service(store_url)
    where = service.send(LONG)
    service.until(where, is_under_way, 60)
    service.end()
    service = Service(store_url)
    try:
        assert service.until(where, is_done, 120)["done"] == len(LONG)
        rows = service.client.get(f"{where}/rows").json()["rows"]
        assert [row["row"] for row in rows] == list(range(1, len(LONG) + 1))
    finally:
        service.end()


@pytest.mark.long
def test_a_list_outlives_a_worker_that_is_killed(store_url: str) -> None:
    service = Service(store_url)
    try:
        where = service.send(LONG)
        service.until(where, is_under_way, 60)
        service.worker().kill()
        assert service.until(where, is_done, LOST.total_seconds() + 120)["done"] == len(LONG)
        assert len(service.client.get(f"{where}/rows").json()["rows"]) == len(LONG)
    finally:
        service.end()
