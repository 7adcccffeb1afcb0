"""Wish lists: what a row costs against reading it and writing the same answer, and how much memory a list takes.

Every measurement is a process of its own on one core. ``python -m measure.lists [--rows N] [--many N]`` measures with
other numbers of rows.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any, Final, cast

import xlsxwriter  # type: ignore[import-untyped] # it comes without types
from python_calamine import CalamineWorkbook

from api.house import open_house
from api.lists.asking import SheetSource
from api.lists.handling import Handling, Wanted
from api.schemas.wishlists import NOTHING_SUPPOSED, to_what_if
from api.settings import Settings
from api.settled import settle
from api.sheets.reading import open_sheet
from api.sheets.writing import writer
from api.visibility import Caller
from measure.load import RoundError
from measure.report import Figure, spread, table
from measure.wishes import write_list
from measure.workshop import TODAY

ROWS, MANY, WORKBOOK_ROWS = 200_000, 1_000_000, 50_000
_FEW: Final = 5_000
_ROUNDS: Final = 3
_MB: Final = 1024
#: What is asked for: times reading and writing, MB, and the growth of memory from few rows to many.
_BAR_TIMES, _BAR_MB, _BAR_GROWTH = 3, 512, 1.1


def lists(*, quick: bool) -> list[Figure]:
    """Measure lists of the rows asked for, or few of them where it is to be quick."""
    return list(measured(_FEW if quick else ROWS, 0 if quick else MANY, _FEW if quick else WORKBOOK_ROWS))


def measured(rows: int, many: int, workbook_rows: int) -> Iterator[Figure]:
    """Measure lists of ``rows`` and of ``many`` rows (0: none), and a workbook (0: none)."""
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        for kind in ("range", "spread"):
            yield from _csv(home, kind, rows)
        if many:
            yield from _growth(home, rows, many)
        if workbook_rows:
            yield from _workbook(home, workbook_rows)


def _csv(home: Path, kind: str, rows: int) -> Iterator[Figure]:
    given, answer = home / f"{kind}.csv", home / f"{kind}.answer.csv"
    write_list(kind, rows, given)
    ours, bare, peaks = [], [], []
    for _ in range(_ROUNDS):
        done = _child("ours", given, answer)
        ours.append(done["seconds"] / rows * 1e6)
        peaks.append(done["peak_mb"])
        bare.append(_child("bare", given, answer)["seconds"] / rows * 1e6)
    times = statistics.median(one / other for one, other in zip(ours, bare, strict=True))
    peak = max(peaks)
    yield Figure(f"{kind}: rows, no two alike", f"{rows}, {done['said']}")
    yield Figure(f"{kind}: read, judged, written, us a row", spread(ours))
    yield Figure(f"{kind}: read and written alone, us a row", spread(bare))
    yield Figure(f"{kind}: the one to the other", f"{times:.2f}", f"<= {_BAR_TIMES}", met=times <= _BAR_TIMES)
    yield Figure(f"{kind}: most memory, MB", f"{peak:.0f}", f"<= {_BAR_MB}", met=peak <= _BAR_MB)


def _growth(home: Path, rows: int, many: int) -> Iterator[Figure]:
    peaks = []
    for count in (rows, many):
        given = home / f"{count}.csv"
        write_list("range", count, given)
        done = _child("ours", given, home / "answer.csv")
        peaks.append(done["peak_mb"])
        each = done["seconds"] / count * 1e6
        given.unlink()
    growth = peaks[1] / peaks[0]
    yield Figure(f"range: us a row of {many}", f"{each:.1f}")
    yield Figure(f"range: most memory at {many} rows, MB", f"{peaks[1]:.0f}", f"<= {_BAR_MB}", met=peaks[1] <= _BAR_MB)
    yield Figure(f"range: to that at {rows}", f"{growth:.2f}", f"<= {_BAR_GROWTH}", met=growth <= _BAR_GROWTH)


def _workbook(home: Path, rows: int) -> Iterator[Figure]:
    text, given, answer = home / "rows.csv", home / "rows.xlsx", home / "answer.xlsx"
    write_list("range", rows, text)
    _as_workbook(text, given)
    ours, bare = [], []
    for _ in range(_ROUNDS):
        ours.append(_child("ours", given, answer)["seconds"] / rows * 1e6)
        bare.append(_child("libraries", given, answer)["seconds"] / rows * 1e6)
    times = statistics.median(one / other for one, other in zip(ours, bare, strict=True))
    yield Figure(f"workbook of {rows} rows: us a row", spread(ours))
    yield Figure("workbook: read and written by the libraries alone, us a row", spread(bare))
    yield Figure("workbook: the one to the other", f"{times:.2f}")


def _as_workbook(text: Path, workbook: Path) -> None:
    """Write a CSV as a workbook, without the columns in which nothing stands."""
    sheet = open_sheet(text)
    rows = [[str(cell) for cell in cells] for _, cells in sheet.rows()]
    used = [at for at in range(len(sheet.header)) if any(cells[at] for cells in rows)]
    with xlsxwriter.Workbook(workbook, {"constant_memory": True, "strings_to_urls": False}) as book:
        page = book.add_worksheet()
        for row, cells in enumerate([sheet.header, *rows]):
            for place, at in enumerate(used):
                if cells[at]:
                    page.write_string(row, place, cells[at])


def _child(what: str, given: Path, answer: Path) -> dict[str, Any]:
    command = [sys.executable, "-m", "measure.lists", "--child", what, str(given), str(answer)]
    done = subprocess.run(command, cwd=Path(__file__).parents[1], capture_output=True, text=True, check=False)
    if done.returncode:
        raise RoundError(f"a list could not be measured: {done.stderr[-300:]}")
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def _run(what: str, given: Path, answer: Path) -> dict[str, Any]:
    """Measure in this process: processor seconds, its children's with them, and the most memory."""
    os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})
    ways: dict[str, Callable[[Path, Path], tuple[float, str]]] = {"ours": _ours, "bare": _bare, "libraries": _libraries}
    seconds, said = ways[what](given, answer)
    # The peak of getrusage begins with what the parent had; this one begins with the program.
    status = Path("/proc/self/status").read_text(encoding="utf-8")
    return {"seconds": seconds, "said": said, "peak_mb": int(status.partition("VmHWM:")[2].split()[0]) / _MB}


@contextmanager
def _timed(found: list[float]) -> Iterator[None]:
    begun = _processor_seconds()
    yield
    found.append(_processor_seconds() - begun)


def _processor_seconds() -> float:
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + children.ru_utime + children.ru_stime


def _ours(given: Path, answer: Path) -> tuple[float, str]:
    """Answer a list as the command ``check-list`` does."""
    seconds: list[float] = []
    with tempfile.TemporaryDirectory() as folder:
        house = open_house(Settings(today=TODAY, database_url=f"sqlite:///{folder}/store.sqlite3"))
        settle()
        with _timed(seconds), answer.open("wb") as out:
            source = SheetSource(given, Caller.OWNER)
            wanted = Wanted("independent", "count", to_what_if(NOTHING_SUPPOSED), Caller.OWNER, None, 0)
            handling = Handling(house, house.shop, source, wanted)
            handling.write(out)
        house.close()
    counts = handling.tally.outcomes
    return seconds[0], ", ".join(f"{counts[name]} {name}" for name in ("buildable", "sign_off", "refused"))


def _bare(given: Path, answer: Path) -> tuple[float, str]:
    """Read a CSV and write it with the answer's cells, which are at hand, by the same reader and writer."""
    settle()
    width = len(open_sheet(given).header)
    header, ours = open_sheet(answer).header, [cells[width:] for _, cells in open_sheet(answer).rows()]
    seconds: list[float] = []
    with _timed(seconds), tempfile.TemporaryFile() as out:
        sheet = open_sheet(given)
        with writer(sheet.form, out, header) as written:
            rows = ([*cells, *own] for (_, cells), own in zip(sheet.rows(), ours, strict=True))
            written.texts(cast("Iterator[list[str]]", rows))  # in a CSV all cells are text
    return seconds[0], ""


def _libraries(given: Path, answer: Path) -> tuple[float, str]:
    """Read a workbook and write it with the answer's cells by the libraries that do it for us, and nothing else."""
    settle()
    width = len(CalamineWorkbook.from_path(given).get_sheet_by_index(0).to_python()[0])
    ours = [row[width:] for row in CalamineWorkbook.from_path(answer).get_sheet_by_index(0).to_python()]
    seconds: list[float] = []
    with _timed(seconds), tempfile.TemporaryFile() as out:
        rows = CalamineWorkbook.from_path(given).get_sheet_by_index(0).to_python()
        with xlsxwriter.Workbook(out, {"constant_memory": True, "strings_to_urls": False}) as book:
            page, day = book.add_worksheet(), book.add_format({"num_format": "yyyy-mm-dd"})
            for row, (cells, own) in enumerate(zip(rows, ours, strict=True)):
                for at, cell in enumerate([*cells, *own]):
                    if isinstance(cell, date):
                        page.write_datetime(row, at, cell, day)
                    elif isinstance(cell, int | float | Decimal):
                        page.write_number(row, at, cell)
                    elif cell:
                        page.write_string(row, at, cell)
    return seconds[0], ""


def main(arguments: Sequence[str]) -> None:
    """Measure one round in this process, or lists with the numbers of rows given."""
    parser = argparse.ArgumentParser(prog="measure.lists", description="Measure wish lists.")
    parser.add_argument("--child", nargs=3, metavar=("WHAT", "LIST", "ANSWER"), help=argparse.SUPPRESS)
    parser.add_argument("--rows", type=int, default=ROWS, help="rows of a list")
    parser.add_argument("--many", type=int, default=0, help="rows of the long list, for its memory; 0: none")
    parser.add_argument("--workbook", type=int, default=0, help="rows of a workbook; 0: none")
    chosen = parser.parse_args(arguments)
    if chosen.child:
        what, given, answer = chosen.child
        sys.stdout.write(json.dumps(_run(what, Path(given), Path(answer))))
        return
    for figure in measured(chosen.rows, chosen.many, chosen.workbook):
        sys.stdout.write(table("", [figure]).strip() + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main(sys.argv[1:])
