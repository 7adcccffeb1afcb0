"""The process that reads a workbook, apart from the service and with little memory and time.

A reader of a format this rich is where a hostile file would do its harm. Here the harm is a process that ends. The
workbook comes in as standard input; rows go out on standard output as lines of JSON, ``[[number, cells], ...]``, below
one line of what is said once. A refusal is one line of JSON on standard error and exit code 3; 4 is out of memory, 5
out of room for the rows.
"""

from __future__ import annotations

import contextlib
import io
import itertools
import json
import math
import sys
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any, Final, TextIO

from api.sheets.model import Limits, SheetError, shown, too_long, too_many, too_wide
from api.sheets.outline import Listed, Outline, outline_of, sheets_of
from api.sheets.parcel import DAMAGED, Parcel

if TYPE_CHECKING:
    from python_calamine import CalamineSheet

REFUSED: Final = 3
NO_MEMORY: Final = 4
NO_ROOM: Final = 5
DAY: Final = "day"
MOMENT: Final = "moment"
_MOST_SHEETS_NAMED: Final = 3
_CELLS_A_LINE: Final = 256


def main() -> int:
    """Read the workbook; the limits are the last argument, as JSON. Return the exit code."""
    limits = Limits(**json.loads(sys.argv[-1]))
    confine(limits)
    try:
        with open(1, "w", encoding="utf-8", newline="\n", closefd=False) as out:
            read(sys.stdin.buffer.read(limits.file_bytes + 1), limits, out)
    except MemoryError:
        return NO_MEMORY
    except OSError:  # what it writes grew past its limit, or the disk is full
        return NO_ROOM
    except SheetError as bad:
        json.dump([bad.reason, bad.row, bad.column], sys.stderr)
        return REFUSED
    return 0


def confine(limits: Limits) -> None:
    """Take memory, time and disk away from this process, but for what an honest workbook needs."""
    _lower("RLIMIT_AS", limits.memory_bytes)
    _lower("RLIMIT_FSIZE", limits.expanded_bytes)
    _lower("RLIMIT_CORE", 0)  # nobody's cells are left on a disk
    _lower("RLIMIT_CPU", limits.seconds, spare=1)  # told to end by a signal of its own, before it is ended


def _lower(name: str, most: int, spare: int = 0) -> None:
    """Lower one limit; a system that has none of the kind keeps only the checks that are made beforehand."""
    with contextlib.suppress(ImportError, AttributeError, OSError, ValueError):
        import resource

        kind = getattr(resource, name)
        hard = resource.getrlimit(kind)[1]
        most_of_all = most + spare if hard == resource.RLIM_INFINITY else min(hard, most + spare)
        resource.setrlimit(kind, (min(most, most_of_all), most_of_all))


def read(data: bytes, limits: Limits, out: TextIO) -> None:
    """Read the first visible sheet.

    Raises:
        SheetError: the workbook cannot be read, or not within the limits.
    """
    if len(data) > limits.file_bytes:
        raise SheetError(
            f"The workbook is larger than {limits.file_bytes >> 20} MB: send fewer rows at a time, or save it as"
            ' "CSV UTF-8".'
        )
    parcel = Parcel(data, limits)
    sheets = sheets_of(parcel)
    chosen = next((each for each in sheets if each.visible and each.cells), None)
    if chosen is None or chosen.part not in parcel:
        raise SheetError("The workbook has no visible sheet with cells: show the sheet that is meant, and save.")
    parcel.check(but=chosen.part)
    outline = outline_of(parcel, chosen.part, limits)
    notes = outline.notes()
    if others := [each.name for each in sheets if each is not chosen]:
        named = ", ".join(shown(name) for name in others[:_MOST_SHEETS_NAMED])
        more = len(others) - _MOST_SHEETS_NAMED
        notes.append(
            f"Only the first visible sheet, {shown(chosen.name)}, was read; not read:"
            f" {named}{f' and {more} more' if more > 0 else ''}."
        )
    # From here on there is no more memory than a workbook of what was counted needs.
    _lower("RLIMIT_AS", min(limits.memory_bytes, parcel.memory(outline.cells, outline.area)))
    del parcel
    _emit(_cells(data, chosen), outline, notes, limits, out)


def _cells(data: bytes, chosen: Listed) -> CalamineSheet:
    """Hand the workbook to its reader.

    Raises:
        SheetError: the reader finds it damaged.
    """
    from python_calamine import CalamineWorkbook

    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(data))
        return book.get_sheet_by_name(chosen.name)
    except (KeyboardInterrupt, MemoryError):
        raise
    except BaseException as bad:  # a panic of the reader is no Exception
        raise SheetError(DAMAGED) from bad


def _emit(sheet: CalamineSheet, outline: Outline, notes: list[str], limits: Limits, out: TextIO) -> None:
    """Write the rows that are not empty."""
    if sheet.start is None or sheet.end is None or sheet.start[0]:
        raise SheetError("The first row is empty: put the names of the columns there.", row=1)
    (last, right), left = sheet.end, [""] * sheet.start[1]
    if right >= limits.columns:
        raise too_wide(right + 1, limits)
    if last >= limits.rows:
        raise too_many(last + 1, limits)
    encode = json.JSONEncoder(ensure_ascii=False, allow_nan=False, separators=(",", ":"), default=_tagged).encode
    out.write(encode({"notes": notes, "width": right + 1}) + "\n")
    rows = _filled(sheet, left, outline)
    for first in rows:
        held = [first, *itertools.islice(rows, _CELLS_A_LINE // (right + 1))]
        try:
            line = encode(held)
        except ValueError:  # a number that is none
            held = [(number, [_finite(cell) for cell in cells]) for number, cells in held]
            line = encode(held)
        if len(line) > limits.cell_chars:
            _check_texts(held, limits)
        out.write(line + "\n")


def _filled(sheet: CalamineSheet, left: list[str], outline: Outline) -> Iterator[tuple[int, list[Any]]]:
    """Return the rows that are not empty, with their numbers and the errors that the reader leaves out."""
    for number, found in enumerate(sheet.iter_rows(), 1):
        cells: list[Any] = left + found if left else found
        for column, error in outline.errors.get(number, {}).items():
            if column < len(cells):
                cells[column] = error
        if cells.count("") < len(cells):
            yield number, cells


def _check_texts(rows: list[tuple[int, list[Any]]], limits: Limits) -> None:
    for number, cells in rows:
        for column, cell in enumerate(cells, 1):
            if isinstance(cell, str) and len(cell) > limits.cell_chars:
                raise too_long(number, len(cell), column, limits)


def _finite(cell: Any) -> Any:
    return str(cell) if isinstance(cell, float) and not math.isfinite(cell) else cell


def _tagged(cell: object) -> dict[str, str] | str:
    """Return what JSON has no kind for: days and moments under their kind, times and spans of time as text."""
    match cell:
        case datetime():
            return {MOMENT: cell.isoformat()}
        case date():
            return {DAY: cell.isoformat()}
        case time():
            return cell.isoformat()
        case timedelta():
            minutes, seconds = divmod(round(cell.total_seconds()), 60)
            return f"{minutes // 60}:{minutes % 60:02}:{seconds:02}"
        case _:
            raise TypeError(type(cell).__name__)
