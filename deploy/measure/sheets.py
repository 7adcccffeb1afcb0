"""Sheets: what reading costs, and what each hostile one takes in seconds and memory before it is refused.

``python -m measure.sheets FILE`` reads one in a process of its own, so that its peak is its own.
"""

from __future__ import annotations

import csv
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

from api.sheets.model import SheetError
from api.sheets.reading import open_sheet
from measure.load import RoundError
from measure.report import Figure

_TESTS: Final = Path(__file__).parents[2] / "tests"
_MOST_SECONDS: Final = 5
_MOST_MB: Final = 300
_ROW: Final = "R{};twofold;BR-HAZ;TH-07;A.B.;12,5\r\n"


def sheets(*, quick: bool) -> list[Figure]:
    """Measure reading, then go through the hostile sheets, without those that take long to make if ``quick``."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sheet"
        return [*_reading(path, 50_000 if quick else 1_000_000), *_hostile(path, quick=quick)]


def _reading(path: Path, rows: int) -> Iterator[Figure]:
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write("reference;pattern;outside;thread;mono_text;lug_mm\r\n")
        file.writelines(_ROW.format(row) for row in range(rows))
    begun = time.perf_counter()
    with path.open(encoding="utf-8", newline="") as file:
        assert sum(1 for _ in csv.reader(file, delimiter=";", strict=True)) == rows + 1
    bare = time.perf_counter() - begun
    seconds, own, _, said = _measured(path)
    if said != f"{rows} rows":
        raise RoundError(f"a plain sheet came out as {said}")
    yield Figure(f"CSV, {rows} rows of 6 cells", f"{seconds:.2f} s, {own:.0f} MB")
    yield Figure("the same to the standard library's reader alone", f"{seconds / bare:.2f}")


def _hostile(path: Path, *, quick: bool) -> Iterator[Figure]:
    sys.path.append(str(_TESTS))
    for each in importlib.import_module("support.hostile_sheets").ALL:
        if quick and each.slow:
            continue
        each.make(path)
        seconds, own, child, said = _measured(path)
        if each.says not in said if each.says else not said.endswith(" rows"):
            raise RoundError(f"{each.name} came out as {said}")
        yield Figure(
            each.name,
            f"{seconds:.2f} s, {own:.0f} + {child:.0f} MB",
            f"<= {_MOST_SECONDS} s, {_MOST_MB} MB",
            met=seconds <= _MOST_SECONDS and own + child <= _MOST_MB,
        )


def _measured(path: Path) -> tuple[float, float, float, str]:
    """Read a sheet in another process: seconds, its peak and that of its child in MB, and what came of it."""
    command = [sys.executable, "-m", "measure.sheets", str(path)]
    done = subprocess.run(command, cwd=Path(__file__).parents[1], capture_output=True, text=True, check=False)
    if done.returncode:
        raise RoundError(f"a sheet ended its reader: {done.stderr[-300:]}")
    seconds, own, child, said = json.loads(done.stdout)
    return seconds, own, child, said


def _one(path: Path) -> list[Any]:
    begun = time.perf_counter()
    try:
        said = f"{sum(1 for _ in open_sheet(path).rows())} rows"
    except SheetError as bad:
        said = bad.reason
    seconds = time.perf_counter() - begun
    # The system hands a parent's peak on to its child, whose figure is therefore never below that of the process. The
    # process's own is read where it begins anew with the program.
    status = Path("/proc/self/status").read_text(encoding="utf-8")
    own = int(status.partition("VmHWM:")[2].split()[0]) / 1024
    return [seconds, own, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024, said]


if __name__ == "__main__":
    sys.stdout.write(json.dumps(_one(Path(sys.argv[1]))))
