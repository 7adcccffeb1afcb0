"""Two holders of keys of one class: neither reaches what is the other's. Two faults, seeded on purpose, are caught."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

import pytest

from api.house import open_house
from api.keys import make_key
from api.settings import Settings

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
SERVE = "from api.__main__ import main; raise SystemExit(main(['serve', '--port', '0']))"
#: Whose record it is plays no part any more.
NO_OWNER = "import api.routes.quotes as q, api.routes.orders as o; q.owner_of = o.owner_of = lambda key: None; "
#: Any text opens the door, as the first key there is.
NO_LOCK = "from api.keys import Keyring; Keyring.find = lambda ring, text, now: next(iter(ring._keys.values())); "
CONFIG = """
continue-on-failure = true
generation.deterministic = true

[auth.wfc]
path = "holders.json"
peers = ["one", "two"]

[[operations]]
include-method = "POST"
include-path-regex = "^/v1/(quotes|orders)"
checks.positive_data_acceptance.expected-statuses = [
    "2xx", "401", "403", "404", "409", "412", "422", "428", "429", "5xx",
]
"""


@contextmanager
def served(folder: Path, fault: str) -> Iterator[str]:
    """Serve with a fault; give the address. Two shops hold a key each."""
    url = f"sqlite:///{folder / 'two.sqlite3'}"
    house = open_house(Settings(today=date(2026, 3, 2), database_url=url))
    with house.store.write() as write:
        texts = {name: make_key(write, "server", name=name, at=house.now(), by="test") for name in ("one", "two")}
    house.close()
    holders = [
        {"name": name, "fixedHeaders": [{"name": "Authorization", "value": f"Bearer {text}"}]}
        for name, text in texts.items()
    ]
    (folder / "holders.json").write_text(json.dumps({"auth": holders}))
    (folder / "schemathesis.toml").write_text(CONFIG)
    environ = {**os.environ, "QUARTERFOOT_TODAY": "2026-03-02", "QUARTERFOOT_DATABASE_URL": url}
    with subprocess.Popen(
        [sys.executable, "-c", fault + SERVE], cwd=ROOT, env=environ, stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL, text=True,
    ) as process:  # fmt: skip
        assert process.stdout is not None
        found = re.search(r"http://127\.0\.0\.1:\d+", process.stdout.readline())
        assert found is not None
        yield found[0]
        process.kill()


def run(folder: Path, address: str, examples: int) -> subprocess.CompletedProcess[str]:
    command = [
        sys.executable, "-m", "schemathesis.cli", "--config-file", "schemathesis.toml", "run",
        f"{address}/openapi.json", "--no-color", "--max-examples", str(examples),
        "--include-path-regex", "^/v1/(quotes|orders)",
    ]  # fmt: skip
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=folder)


def test_two_shops_reach_nothing_of_each_other(tmp_path: Path) -> None:
    with served(tmp_path, "") as address:
        done = run(tmp_path, address, 4)
    assert done.returncode == 0, done.stdout[-6000:] + done.stderr


@pytest.mark.long
@pytest.mark.parametrize(
    ("fault", "code"), [(NO_OWNER, "ST402"), (NO_LOCK, "ST401")], ids=["whose it is", "which key it is"]
)
def test_a_fault_seeded_on_purpose_is_caught(tmp_path: Path, fault: str, code: str) -> None:
    with served(tmp_path, fault) as address:
        done = run(tmp_path, address, 10)
    assert done.returncode == 1
    assert code in done.stdout, done.stdout[-6000:]
