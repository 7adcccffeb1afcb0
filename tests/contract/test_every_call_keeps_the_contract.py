"""Schemathesis asks a served process everything that the document allows, and much that it does not.

All checks, all phases (examples, coverage, fuzzing, stateful), over real HTTP.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
OWNER_KEY = "qf.owner.contract.of-a-store-soon-gone"
FEW, MANY = 20, 400
COUNTED = re.compile(r"(\d+) generated, (\d+) passed")


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Return where a process of its own answers, on a free port."""
    folder = tmp_path_factory.mktemp("served")
    complaints, store = folder / "stderr", f"sqlite:///{folder / 'served.sqlite3'}"
    environ = {
        **os.environ,
        "QUARTERFOOT_TODAY": "2026-03-02",
        "QUARTERFOOT_DATABASE_URL": store,
        "QUARTERFOOT_BOOTSTRAP_OWNER_KEY": OWNER_KEY,
        "QUARTERFOOT_CHOICES_AHEAD": "0",
    }
    command = [sys.executable, "-m", "api", "serve", "--port", "0"]
    with (
        complaints.open("wb") as stream,
        subprocess.Popen(command, cwd=ROOT, env=environ, stdout=subprocess.PIPE, stderr=stream, text=True) as process,
    ):
        assert process.stdout is not None
        greeting = process.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:\d+", greeting)
        if found is None:
            process.kill()
            pytest.fail(f"no address in {greeting!r}; {complaints.read_text()}")
        yield found[0]
        process.terminate()
        assert process.wait(timeout=20) in (0, -signal.SIGTERM)
    # What is no HTTP at all is refused by the server itself, with this one line.
    assert set(complaints.read_text().splitlines()) <= {"WARNING:  Invalid HTTP request received."}


def keeps_the_contract(address: str, examples: int, folder: Path) -> None:
    command = [
        sys.executable, "-m", "schemathesis.cli", "--config-file", str(HERE / "schemathesis.toml"), "run",
        f"{address}/openapi.json", "--no-color", "--max-examples", str(examples),
    ]  # fmt: skip
    environ = {**os.environ, "QUARTERFOOT_CONTRACT_KEY": OWNER_KEY}  # schemathesis.toml sends it
    run = subprocess.run(command, capture_output=True, text=True, check=False, cwd=folder, env=environ)
    assert run.returncode == 0, run.stdout + run.stderr
    counted = COUNTED.search(run.stdout)
    assert counted is not None, run.stdout
    generated, passed = map(int, counted.groups())
    assert passed == generated > 1000


def test_every_call_keeps_the_contract(address: str, tmp_path: Path) -> None:
    keeps_the_contract(address, MANY if os.environ.get("QUARTERFOOT_LONG") == "1" else FEW, tmp_path)


@pytest.mark.long
def test_every_call_keeps_the_contract_over_many_more_examples(address: str, tmp_path: Path) -> None:
    keeps_the_contract(address, MANY, tmp_path)
