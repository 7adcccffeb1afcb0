"""A list's answer in the kind in which it came: the caller's own columns, then ours; or JSON, or a line a row."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any, BinaryIO, Final

from pydantic_core import from_json, to_json

from api.lists.asking import Asked, SheetSource, Source
from api.lists.judging import Answered, Judging
from api.lists.media import JSON, NDJSON, XLSX, csv_in
from api.sheets.model import Cell
from api.sheets.writing import writer

_MEDIA: Final = {"json": JSON, "ndjson": NDJSON, "xlsx": XLSX}
_CHARSETS: Final = {"utf-8": "utf-8", "utf-8-sig": "utf-8", "utf-16-le": "utf-16", "utf-16-be": "utf-16"}
_END: Final = ("summary", "notes", "as_of", "revisions")
_NUMBERS: Final = frozenset({"qf_total"})
_DATES: Final = frozenset({"qf_ready_on", "qf_as_of"})
Row = tuple[list[Cell], Answered]


def with_cells(source: SheetSource, judging: Judging) -> Iterator[Row]:
    """Give each row's own cells with what is said of it; the sheet is read once, as far as rows are asked for."""
    waiting: deque[list[Cell]] = deque()

    def asked() -> Iterator[Asked]:
        for number, cells in source.rows():
            waiting.append(cells)
            yield source.ask(number, cells)

    for answered in judging.answered(asked()):
        yield waiting.popleft(), answered


def write_sheet(
    source: SheetSource, ours: Sequence[str], rows: Iterable[tuple[Sequence[Cell], Sequence[str]]], out: BinaryIO
) -> None:
    """Write a sheet like the one that came, our columns after the caller's own.

    Args:
        source: the sheet that came; it is told what to say once of what is written.
        ours: the names of our columns.
        rows: each row's cells as they came, and ours as text.
        out: where to write.
    """
    header = [*(source.header[at] for at in source.own), *ours]
    with writer(source.form, out, header) as sheet:
        if source.kind == "csv":
            sheet.texts(_texts(source, ours, rows))
        else:
            readers = [_reader_of(name) for name in ours]
            for cells, own in rows:
                typed = [read(text) if text else None for read, text in zip(readers, own, strict=True)]
                sheet.row([*(cells[at] for at in source.own), *typed])
    source.notes.extend(sheet.notes)


def _texts(
    source: SheetSource, ours: Sequence[str], rows: Iterable[tuple[Sequence[Any], Sequence[str]]]
) -> Iterator[Sequence[str]]:
    """Give the rows of a CSV: all cells are text there, numbers with the mark that the file has."""
    if source.form.decimal_comma:
        numbers = [at for at, name in enumerate(ours) if name in _NUMBERS]
        rows = ((cells, _with_commas(own, numbers)) for cells, own in rows)
    if len(source.own) == len(source.header):
        return ([*cells, *own] for cells, own in rows)
    return ([*(cells[at] for at in source.own), *own] for cells, own in rows)


def _with_commas(cells: Sequence[str], numbers: Sequence[int]) -> Sequence[str]:
    written = list(cells)
    for at in numbers:
        written[at] = written[at].replace(".", ",")
    return written


def _reader_of(name: str) -> Callable[[str], Any]:
    if name in _NUMBERS:
        return Decimal
    return date.fromisoformat if name in _DATES else str


def write_json(rows: Iterable[Any], end: Callable[[], dict[str, Any]], out: BinaryIO) -> None:
    """Write the rows and what came of them in all as one JSON object; ``end`` is asked once all rows are there."""
    out.write(b'{"rows":[')
    for place, row in enumerate(rows):
        out.write(b"," if place else b"")
        out.write(row if isinstance(row, bytes) else to_json(row))
    out.write(b"]," + to_json(end())[1:])


def write_lines(rows: Iterable[Any], end: Callable[[], dict[str, Any]], out: BinaryIO) -> None:
    """Write a line for each row and a last one with what came of them in all, so that a cut is noticed."""
    for row in rows:
        out.write(row if isinstance(row, bytes) else to_json(row))
        out.write(b"\n")
    out.write(to_json(end()) + b"\n")


def media_of(source: Source) -> str:
    """Return the media type of an answer to a list."""
    if isinstance(source, SheetSource) and source.kind == "csv":
        return csv_in(_CHARSETS[source.form.encoding])
    return _MEDIA[source.kind]


def write_stored(
    source: Source,
    ours: Sequence[str],
    answers: Iterable[bytes],
    shown: Mapping[str, Any],
    out: BinaryIO,
) -> None:
    """Write what was said so far of the rows of a long list, as they were kept, in the kind in which it came."""
    if isinstance(source, SheetSource):
        so_far = zip(source.rows(), answers, strict=False)
        write_sheet(source, ours, ((cells, from_json(said)) for (_, cells), said in so_far), out)
        return
    write = write_json if source.kind == "json" else write_lines
    write(answers, lambda: {name: shown[name] for name in _END} | {"complete": shown["state"] == "done"}, out)
