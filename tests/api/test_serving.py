"""A served process: it says where it is, how to come by a key and what to paste, and ends in order."""

from __future__ import annotations

import json
import os
import re
import shlex
import signal
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from api.demo import DEMO_SPEC
from api.serving import _address, _listener

ROOT = Path(__file__).parents[2]
SECRET = re.compile(r"qf\.(server|staff|owner|sheet)\.\S+")


def served(folder: Path, *, until: str = "curl ", ending: signal.Signals = signal.SIGTERM, **more: str) -> list[str]:
    """Return what a process says until a line that begins so; that line is asked if it is one to paste."""
    command = [sys.executable, "-m", "api", "serve", "--port", "0"]
    store = f"sqlite:///{folder / 'served.sqlite3'}"
    environ = {**os.environ, "QUARTERFOOT_TODAY": "2026-03-02", "QUARTERFOOT_DATABASE_URL": store}
    environ |= {"QUARTERFOOT_CHOICES_AHEAD": "0", **more}
    said: list[str] = []
    with subprocess.Popen(
        command, cwd=ROOT, env=environ, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        for line in process.stdout:
            said.append(line.rstrip("\n"))
            if line.startswith(until):
                break
        if said and said[-1].startswith("curl "):
            assert_checks_the_demo_spec(said[-1], said[0])
        process.send_signal(ending)
        rest, complaints = process.communicate(timeout=20)
    assert (rest, complaints) == ("", "")
    assert process.returncode in (0, -ending)
    return said


def assert_checks_the_demo_spec(line: str, greeting: str) -> None:
    _, _, url, _, media, _, key, _, body = shlex.split(line)
    headers = dict(header.split(": ", 1) for header in (media, key))
    with urllib.request.urlopen(urllib.request.Request(url, body.encode(), headers), timeout=20) as response:
        answer = json.load(response)
    assert url.removesuffix("/v1/checks") in greeting
    assert json.loads(body) == DEMO_SPEC
    assert (answer["outcome"], answer["price"]["total"]) == ("buildable", "455.00")
    assert "cut_from" not in answer


def test_the_demo_shows_its_secrets_once_and_its_line_to_paste_at_every_start(tmp_path: Path) -> None:
    first = served(tmp_path, ending=signal.SIGINT, QUARTERFOOT_DEMO_KEYS="1")
    again = served(tmp_path, ending=signal.SIGTERM, QUARTERFOOT_DEMO_KEYS="1")
    assert SECRET.findall("\n".join(first)) == ["server", "staff", "owner", "sheet"]
    assert SECRET.findall("\n".join(again)) == []
    assert [line for line in first if line.startswith("Page key")] == [again[1]]


def test_a_store_without_a_key_is_told_how_to_get_one(tmp_path: Path) -> None:
    assert served(tmp_path, until="It has no key")[1:] == [
        "It has no key yet; make the first: python -m api keys make owner --name NAME"
    ]


def test_a_key_from_the_settings_is_never_shown(tmp_path: Path) -> None:
    key = "qf.owner.first.long-and-random-enough"
    said = served(tmp_path, QUARTERFOOT_BOOTSTRAP_OWNER_KEY=key, QUARTERFOOT_DEMO_KEYS="1")
    assert key not in "\n".join(said)
    plain = served(tmp_path, until="Quarterfoot", QUARTERFOOT_BOOTSTRAP_OWNER_KEY=key)
    assert len(plain) == 1


@pytest.mark.parametrize(("host", "shown"), [("127.0.0.1", "127.0.0.1"), ("0.0.0.0", "127.0.0.1")])
def test_the_address_shown_can_be_opened_here(host: str, shown: str) -> None:
    with _listener(host, 0) as listener:
        assert _address(listener) == f"http://{shown}:{listener.getsockname()[1]}"
