"""Two processes over one store: another edition is in force in both from the next request on, or in neither."""

from __future__ import annotations

import random
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import httpx
import pytest
from support.desk import WALLET
from support.served import OWNER_KEY, ROOT, Served, environ_for

FEW, MANY = 2, 30
HEADERS = {"authorization": f"Bearer {OWNER_KEY}"}
Files = dict[str, str]


def dearer(files: Files) -> Files:
    assert files["price-list.yaml"].count("E: 435") == 1
    return {"price-list.yaml": files["price-list.yaml"].replace("E: 435", "E: 455")}


@contextmanager
def servers(url: str, count: int = 2) -> Iterator[list[Served]]:
    found = [Served(url) for _ in range(count)]
    try:
        yield found
    finally:
        for server in found:
            server.end()


def ask(server: Served, path: str, body: Any, **headers: str) -> httpx.Response:
    return httpx.post(f"{server.address}{path}", json=body, headers={**HEADERS, **headers}, timeout=60)


def put(server: Served, body: Any, key: str) -> httpx.Response:
    shown = ask(server, "/v1/edition-drafts", body)
    assert shown.status_code == 200, shown.text
    return ask(server, "/v1/editions", body, **{"idempotency-key": key, "if-match": shown.headers["etag"]})


def told(answer: httpx.Response) -> tuple[int, str]:
    """Return what tells the editions apart, and hold that an answer is wholly of one."""
    body = answer.json()
    edition, total = body["revisions"]["edition"], body["price"]["total"]
    assert total == {0: "475.00", 1: "455.00"}[edition % 2], (edition, total)
    return edition, total


def test_what_one_process_puts_in_force_the_other_answers_by_at_its_next_request(
    store_url: str, oddlestone_files: Files
) -> None:
    with servers(store_url) as (one, two):
        for server in (one, two):
            assert told(ask(server, "/v1/checks", WALLET)) == (1, "455.00")
        made = put(one, {"files": dearer(oddlestone_files)}, "first")
        assert (made.status_code, made.json()["number"]) == (201, 2)
        for server in (two, one):
            assert told(ask(server, "/v1/checks", WALLET)) == (2, "475.00")
            listed = httpx.get(f"{server.address}/v1/price-list", headers=HEADERS)
            assert '"E":"455.00"' in listed.text
        assert put(two, {"edition": 1}, "back").json()["number"] == 3
        for server in (one, two):
            assert told(ask(server, "/v1/checks", WALLET)) == (3, "455.00")
        # A retry that reaches the other process has no second effect.
        again = ask(two, "/v1/editions", {"files": dearer(oddlestone_files)}, **{"idempotency-key": "first"})
        assert (again.status_code, again.content) == (201, made.content)


def test_every_answer_under_load_is_wholly_of_one_edition_and_none_fails(
    store_url: str, oddlestone_files: Files
) -> None:
    over = threading.Event()
    seen: list[list[tuple[float, int]]] = [[] for _ in range(6)]
    faults: list[str] = []

    def hammer(server: Served, mine: list[tuple[float, int]], body: Any) -> None:
        with httpx.Client(base_url=server.address, headers=HEADERS, timeout=60) as client:
            while not over.is_set():
                begun = time.monotonic()
                answer = client.post("/v1/checks", json=body)
                try:
                    assert answer.status_code == 200, answer.text
                    mine.append((begun, told(answer)[0]))
                except AssertionError as bad:
                    faults.append(str(bad))
                    return

    bodies = [WALLET, {**WALLET, "reference": "a"}, {**WALLET, "note": "b"}]
    changes = [{"files": dearer(oddlestone_files)}, {"edition": 1}, {"edition": 2}, {"edition": 1}]
    with servers(store_url) as both:
        threads = [
            threading.Thread(target=hammer, args=(both[place % 2], seen[place], bodies[place // 2]))
            for place in range(6)
        ]
        for thread in threads:
            thread.start()
        in_force: list[tuple[float, int]] = []
        try:
            for turn, body in enumerate(changes):
                time.sleep(0.3)
                made = put(both[turn % 2], body, f"turn-{turn}")
                assert made.status_code == 201, made.text
                in_force.append((time.monotonic(), made.json()["number"]))
            time.sleep(0.3)
        finally:
            over.set()
            for thread in threads:
                thread.join()
    assert faults == []
    assert [number for _, number in in_force] == [2, 3, 4, 5]
    for mine in seen:
        assert len(mine) > 4
        # Whoever asks after it was acknowledged is answered by it, in either process.
        for begun, edition in mine:
            assert edition >= max((number for at, number in in_force if at < begun), default=1)
        assert [edition for _, edition in mine] == sorted(edition for _, edition in mine)
    assert Counter(edition for mine in seen for _, edition in mine).keys() >= {1, 5}


def kill_while_it_puts_in_force(url: str, files: Files, times: int) -> Counter[str]:
    """Kill a process that often while it puts files in force; return how often the new ones were in force after it."""
    chance, found = random.Random(7), Counter[str]()
    with servers(url, 1) as [stays]:
        for turn in range(times):
            before = told(ask(stays, "/v1/checks", WALLET))[0]
            falls = Served(url)
            body = {"files": dearer(files)} if before % 2 else {"edition": 1}
            shown = ask(falls, "/v1/edition-drafts", body).headers["etag"]
            answers: list[httpx.Response] = []

            def put_in_force(at: Served, body: Any, shown: str, key: str, answers: list[httpx.Response]) -> None:
                with suppress(httpx.HTTPError):
                    answers.append(ask(at, "/v1/editions", body, **{"idempotency-key": key, "if-match": shown}))

            own = (falls, body, shown, f"k{turn}", answers)
            thread = threading.Thread(target=put_in_force, args=own)
            thread.start()
            time.sleep(chance.uniform(0.0, 0.25))
            falls.kill()
            thread.join()
            after = told(ask(stays, "/v1/checks", WALLET))[0]
            assert after in ({before + 1} if answers else {before, before + 1})
            found["new" if after > before else "old"] += 1
            again = ask(stays, "/v1/editions", body, **{"idempotency-key": f"k{turn}", "if-match": shown})
            assert again.status_code == 201, again.text
            assert again.json()["number"] == before + 1
        with servers(url, 1) as [fresh]:
            assert told(ask(fresh, "/v1/checks", WALLET)) == told(ask(stays, "/v1/checks", WALLET))
    return found


def test_a_process_killed_while_it_puts_files_in_force_leaves_one_edition_in_all(
    store_url: str, oddlestone_files: Files
) -> None:
    assert kill_while_it_puts_in_force(store_url, oddlestone_files, FEW).total() == FEW


@pytest.mark.long
def test_thirty_killed_processes_leave_one_edition_each_time(store_url: str, oddlestone_files: Files) -> None:
    found = kill_while_it_puts_in_force(store_url, oddlestone_files, MANY)
    assert set(found) == {"old", "new"}  # else nothing was killed in between


def command(url: str, *arguments: str, folder: Path | None = None) -> subprocess.CompletedProcess[str]:
    environ = environ_for(url) | ({} if folder is None else {"QUARTERFOOT_CATALOG": str(folder)})
    return subprocess.run(
        [sys.executable, "-m", "api", *arguments], cwd=ROOT, env=environ, capture_output=True, text=True, check=False
    )


def test_the_command_reloads_a_folder_while_servers_run(
    store_url: str, oddlestone_files: Files, tmp_path: Path
) -> None:
    for name, text in {**oddlestone_files, **dearer(oddlestone_files)}.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    with servers(store_url, 1) as [server]:
        shown = command(store_url, "reload", str(tmp_path))
        assert (shown.returncode, told(ask(server, "/v1/checks", WALLET))[0]) == (1, 1)
        token = shown.stdout.partition("--token ")[2].split()[0]
        wrong = command(store_url, "reload", str(tmp_path), "--token", "1-0")
        assert (wrong.returncode, told(ask(server, "/v1/checks", WALLET))[0]) == (1, 1)
        done = command(store_url, "reload", str(tmp_path), "--token", token, "--note", "spring")
        assert done.returncode == 0, done.stdout + done.stderr
        assert told(ask(server, "/v1/checks", WALLET)) == (2, "475.00")
        (tmp_path / "labor.yaml").write_text("- [", encoding="utf-8")
        bad = command(store_url, "reload", str(tmp_path), "--yes")
        assert (bad.returncode, told(ask(server, "/v1/checks", WALLET))) == (2, (2, "475.00"))
        assert "labor.yaml:1:" in bad.stderr
