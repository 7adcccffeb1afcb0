"""Server processes of their own for tests."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

from support.desk import TODAY
from support.verifier import faults

from api.house import open_house
from api.settings import Settings

ROOT = Path(__file__).parents[2]
OWNER_KEY = "an-owner-key-for-these-tests"


def environ_for(url: str) -> dict[str, str]:
    """Return the environment of a process over a store, on the day of the tests."""
    return {
        **os.environ,
        "QUARTERFOOT_TODAY": "2026-03-02",
        "QUARTERFOOT_DATABASE_URL": url,
        "QUARTERFOOT_BOOTSTRAP_OWNER_KEY": OWNER_KEY,
        "QUARTERFOOT_CHOICES_AHEAD": "0",
    }


class Served:
    """A process that answers on a free port; it may be killed and started anew over the same store."""

    def __init__(self, url: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "api", "serve", "--port", "0"], cwd=ROOT, env=environ_for(url),
            stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        )  # fmt: skip
        assert self.process.stdout is not None
        greeting = self.process.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:\d+", greeting)
        assert found is not None, greeting
        self.address = found[0]

    def kill(self) -> None:
        self.process.kill()
        self._gone()

    def end(self) -> None:
        self.process.terminate()
        self._gone()

    def _gone(self) -> None:
        self.process.wait(20)
        assert self.process.stdout is not None
        self.process.stdout.close()


def assert_well(url: str) -> None:
    house = open_house(Settings(today=TODAY, database_url=url))
    try:
        with house.store.read() as connection:
            assert faults(connection, house.catalog, house.shelves.gap_um) == []
    finally:
        house.close()
