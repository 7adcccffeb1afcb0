"""A house's own rules: what each hostile file takes in seconds and memory before it is refused.

Each is read in a process of its own, within limits that end it where it goes far beyond the bars, so that a file that
costs too much is a figure and no harm.
"""

from __future__ import annotations

import importlib
import resource
import sys
import tempfile
import time
from collections.abc import Iterator
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Final

from api.editions import texts_in
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
    folders = [folder / str(place) for place in range(len(hostile))]
    for each, own in zip(hostile, folders, strict=True):
        own.mkdir()
        for name, content in each.files.items():
            (own / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    demo()  # read here, so that each process has it at hand
    with get_context("fork").Pool(1, maxtasksperchild=1) as pool:  # a new process for each
        measured = pool.map(_read, folders, chunksize=1)
        pool.close()
        pool.join()
    for each, (_, _, said) in zip(hostile, measured, strict=True):
        if each.says not in said:
            raise RoundError(f"{each.name} came out as {said[:200]}")
    seconds, slow = max((seconds, each.name) for each, (seconds, _, _) in zip(hostile, measured, strict=True))
    more, large = max((more, each.name) for each, (_, more, _) in zip(hostile, measured, strict=True))
    bars = f"<= {_MOST_SECONDS} s", f"<= {_MOST_MB} MB"
    yield Figure(f"the slowest of {len(hostile)}", f"{seconds:.2f} s ({slow})", bars[0], met=seconds <= _MOST_SECONDS)
    yield Figure("the most memory beyond what was held", f"{more:.0f} MB ({large})", bars[1], met=more <= _MOST_MB)


def _held(what: str) -> float:
    status = Path("/proc/self/status").read_text(encoding="utf-8")
    return int(status.partition(f"{what}:")[2].split()[0]) * 1024 / _MB


def _read(folder: Path) -> tuple[float, float, str]:
    """Read a folder: seconds, MB at the peak beyond what was held before, and what came of it."""
    catalog = demo().catalog
    codes = codes_of(catalog)
    Path("/proc/self/clear_refs").write_text("5", encoding="utf-8")  # the peak begins anew at what is held now
    before = _held("VmRSS")
    space = int(_held("VmSize") * _MB) + 4 * _MOST_MB * _MB
    resource.setrlimit(resource.RLIMIT_AS, (space, space))
    resource.setrlimit(resource.RLIMIT_CPU, (60, 60))
    begun = time.perf_counter()
    try:
        load_book({}, catalog.thresholds, HouseTexts(texts_in(folder), codes))
        said = "no fault"
    except Faults as bad:
        said = str(bad)
    return time.perf_counter() - begun, max(0.0, _held("VmHWM") - before), said
