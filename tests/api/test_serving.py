"""A served process: it says where it is and what to paste, and ends in order."""

from __future__ import annotations

import itertools
import json
import os
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


@pytest.mark.parametrize("ending", [signal.SIGINT, signal.SIGTERM])
def test_the_line_to_paste_checks_the_demo_spec(ending: signal.Signals, tmp_path: Path) -> None:
    command = [sys.executable, "-m", "api", "serve", "--port", "0"]
    store = f"sqlite:///{tmp_path / 'served.sqlite3'}"
    environ = {
        **os.environ,
        "QUARTERFOOT_TODAY": "2026-03-02",
        "QUARTERFOOT_DATABASE_URL": store,
        "QUARTERFOOT_DEMO_KEYS": "1",
    }
    with subprocess.Popen(
        command, cwd=ROOT, env=environ, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        address, *keys, line = itertools.islice(process.stdout, 9)
        _, _, url, _, key, _, media, _, body = shlex.split(line)
        headers = dict(header.split(": ") for header in (key, media))
        request = urllib.request.Request(url, body.encode(), headers)
        with urllib.request.urlopen(request, timeout=20) as response:
            answer = json.load(response)
        process.send_signal(ending)
        _, complaints = process.communicate(timeout=20)
    assert url.removesuffix("/v1/checks") in address
    assert [line.split()[0] for line in keys[1:-1]] == ["page", "server", "staff", "owner", "sheet"]
    assert json.loads(body) == DEMO_SPEC
    assert (answer["outcome"], answer["price"]["total"]) == ("buildable", "455.00")
    assert complaints == ""
    assert process.returncode in (0, -ending)


@pytest.mark.parametrize(("host", "shown"), [("127.0.0.1", "127.0.0.1"), ("0.0.0.0", "127.0.0.1")])
def test_the_address_shown_can_be_opened_here(host: str, shown: str) -> None:
    with _listener(host, 0) as listener:
        assert _address(listener) == f"http://{shown}:{listener.getsockname()[1]}"
