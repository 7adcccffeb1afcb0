"""A house's own rules: what each hostile file takes in seconds and memory before it is refused.

``python -m measure.house FOLDER`` reads one folder in a process of its own, within limits that end it where it goes far
beyond the bars, so that a file that costs too much is a figure and no harm.
"""

from __future__ import annotations

import importlib
import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from api.house import BOOK, texts_in
from catalog.strict_yaml import Faults
from measure.load import RoundError
from measure.report import Figure
from measure.workshop import demo
from rules.book import load_book
from rules.house import HouseTexts
from rules.nouns import codes_of

_TESTS: Final = Path(__file__).parents[2] / "tests"
_MOST_SECONDS: Final = 2
_MOST_MB: Final = 200
_MB: Final = 1 << 20


def house(*, quick: bool) -> list[Figure]:
    """Go through the hostile files, every eighth if ``quick``, and name the worst."""
    sys.path.append(str(_TESTS))
    hostile = importlib.import_module("support.hostile_house").ALL
    with tempfile.TemporaryDirectory() as folder:
        return list(_worst(Path(folder), hostile[:: 8 if quick else 1]))


def _worst(folder: Path, hostile: list[Any]) -> Iterator[Figure]:
    measured = []
    for place, each in enumerate(hostile):
        own = folder / str(place)
        own.mkdir()
        for name, content in each.files.items():
            (own / name).write_bytes(content if isinstance(content, bytes) else content.encode())
        seconds, more, said = _measured(own)
        if each.says not in said:
            raise RoundError(f"{each.name} came out as {said[:200]}")
        measured.append((seconds, more, each.name))
    slowest, largest = max(measured), max(measured, key=lambda each: each[1])
    yield Figure(f"hostile files, all refused: {len(measured)}, the slowest", f"{slowest[0]:.2f} s ({slowest[2]})",
                 f"<= {_MOST_SECONDS} s", met=slowest[0] <= _MOST_SECONDS)  # fmt: skip
    yield Figure("the most memory beyond what was held before", f"{largest[1]:.0f} MB ({largest[2]})",
                 f"<= {_MOST_MB} MB", met=largest[1] <= _MOST_MB)  # fmt: skip


def _measured(folder: Path) -> tuple[float, float, str]:
    """Read a folder in another process: seconds, MB beyond what it held before, and what came of it."""
    command = [sys.executable, "-m", "measure.house", str(folder)]
    done = subprocess.run(command, cwd=Path(__file__).parents[1], capture_output=True, text=True, check=False)
    if done.returncode:
        raise RoundError(f"a file of a house ended its reader: {done.stderr[-300:]}")
    seconds, more, said = json.loads(done.stdout)
    return seconds, more, said


def _held(what: str) -> float:
    status = Path("/proc/self/status").read_text(encoding="utf-8")
    return int(status.partition(f"{what}:")[2].split()[0]) * 1024 / _MB


def _one(folder: Path) -> list[Any]:
    catalog = demo().catalog
    trade, codes = texts_in(BOOK), codes_of(catalog)
    Path("/proc/self/clear_refs").write_text("5", encoding="utf-8")  # the peak begins anew at what is held now
    before = _held("VmRSS")
    space = int(_held("VmSize") * _MB) + 4 * _MOST_MB * _MB
    resource.setrlimit(resource.RLIMIT_AS, (space, space))
    resource.setrlimit(resource.RLIMIT_CPU, (60, 60))
    begun = time.perf_counter()
    try:
        load_book(trade, catalog.thresholds, HouseTexts(texts_in(folder), codes))
        said = "no fault"
    except Faults as bad:
        said = str(bad)
    return [time.perf_counter() - begun, max(0.0, _held("VmHWM") - before), said[:100_000]]


if __name__ == "__main__":
    sys.stdout.write(json.dumps(_one(Path(sys.argv[1]))))
