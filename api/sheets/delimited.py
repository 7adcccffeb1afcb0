"""CSV files, read as a stream.

RFC 4180, and what people's programs write besides: semicolons and tabs, bare line feeds, UTF-8 with a mark, UTF-16,
a first line such as ``sep=;``. What is not plainly one of these is refused with the row, never repaired.
"""

from __future__ import annotations

import codecs
import contextlib
import csv
import io
import itertools
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, Final, NoReturn

from api.sheets.convention import evidence_in
from api.sheets.model import Cell, Form, Limits, Sheet, SheetError, checked_header, shown, too_long, too_many
from api.sheets.watched import BAD_BYTES, MARK_BAD_BYTES, NulError, RowTooLongError, Watched, text_of

MARKS: Final = {"utf-8-sig": codecs.BOM_UTF8, "utf-16-le": codecs.BOM_UTF16_LE, "utf-16-be": codecs.BOM_UTF16_BE}
"""The byte order marks at the start of a file, by the encoding that each tells of."""
_DELIMITERS: Final = {",": "comma", ";": "semicolon", "\t": "tab"}
_QUOTED: Final = re.compile(r'"[^"]*"')
_SEP_LINE: Final = re.compile(r'"?sep=([,;\t])"?\r?\n?', re.IGNORECASE)
_SAMPLE_ROWS: Final = 200
_SAVE_AS: Final = 'Save the sheet as "CSV UTF-8" or as a workbook (.xlsx), and send that.'

_SAYS_OF_CSV: Final = {
    "unexpected end of data": "opens a quote that is never closed. A quote inside a cell is written twice, and"
    " the cell stands in quotes.",
    "expected after": "has text behind a closing quote. A quote inside a cell is written twice, and the cell stands"
    " in quotes.",
    "new-line character": "has a carriage return without a line feed outside quotes. Lines end in CR LF or in LF.",
    "field limit": "holds a cell that is too long; most often a quote was opened and never closed.",
}


class DelimitedSheet(Sheet):
    """A CSV file. Only the first rows are read when it is opened; each call of ``rows`` opens it anew.

    Args:
        path: The file, which must stay where it is.
        limits: What it may be at most.

    Raises:
        SheetError: the file is no CSV that is read here.
    """

    def __init__(self, path: Path, limits: Limits) -> None:
        self._path = path
        self._limits = limits
        self.notes = []
        self.form = Form(encoding=_encoding_of(path))
        first = self._first_record()
        if sep := _SEP_LINE.fullmatch(first):
            self.form = replace(self.form, delimiter=sep[1], sep_line=True)
        else:
            self.form = replace(self.form, delimiter=_delimiter_of(first))
        with self._records() as (_, records):
            self.header = checked_header(tuple(next(records, ())), limits)
        self.form = replace(self.form, decimal_comma=self._writes_commas())

    def rows(self) -> Iterator[tuple[int, list[Cell]]]:
        """See :meth:`Sheet.rows`. Cells are text."""
        width, empty = len(self.header), 0
        most_chars, most_rows = self._limits.cell_chars, self._limits.rows
        with self._records() as (source, records):
            next(records)
            source.row = 1
            for number, cells in enumerate(records, 2):
                source.row = number
                if len(cells) != width:
                    self._fit(number, cells)
                held = len("".join(cells))
                if not held:
                    empty += 1
                    continue
                if held > most_chars or number > most_rows:
                    self._check(number, cells)
                if empty:
                    for before in range(number - empty, number):
                        yield before, [""] * width
                    empty = 0
                yield number, cells

    def _fit(self, number: int, cells: list[str]) -> None:
        """Make a row as wide as the header."""
        width = len(self.header)
        if any(cells[width:]):
            said = _DELIMITERS[self.form.delimiter]
            raise SheetError(
                f"Row {number} has {len(cells)} cells and the header names {width} columns. Where a cell holds a"
                f" {said}, put the cell in quotes.",
                row=number,
                column=width + 1,
            )
        del cells[width:]
        cells.extend([""] * (width - len(cells)))

    def _check(self, number: int, cells: list[str]) -> None:
        """Refuse a row past the limits."""
        if number > self._limits.rows:
            raise too_many(number, self._limits)
        for at, cell in enumerate(cells):
            if len(cell) > self._limits.cell_chars:
                raise too_long(number, len(cell), shown(self.header[at]) or at + 1, self._limits)

    def _first_record(self) -> str:
        """Return the lines of the first record, or as many as a row may have, whatever is wrong with them."""
        most = self._limits.row_bytes
        with self._text(errors=MARK_BAD_BYTES, nul_passes=True) as (source, text), self._faults(source):
            record = line = text.readline(most)
            while line and record.count('"') % 2 and len(record) < most:
                line = text.readline(most)
                record += line
        if not record:
            raise SheetError("The file is empty: the first row must hold the names of the columns.")
        return record

    def _writes_commas(self) -> bool:
        """Return whether numbers of the first rows have a decimal comma; where none tells, as the delimiter has it."""
        seen = evidence_in(itertools.islice(self.rows(), _SAMPLE_ROWS))
        return seen.commas if seen.commas != seen.points else self.form.delimiter == ";"

    @contextlib.contextmanager
    def _text(self, *, errors: str = "strict", nul_passes: bool = False) -> Iterator[tuple[Watched, io.TextIOWrapper]]:
        """Open the file behind its byte order mark."""
        source = Watched(
            self._path,
            len(MARKS.get(self.form.encoding, b"")),
            wide=self.form.encoding.startswith("utf-16"),
            row_bytes=self._limits.row_bytes,
            nul_passes=nul_passes,
        )
        with text_of(source, self.form.encoding.removesuffix("-sig"), errors) as text:
            yield source, text

    @contextlib.contextmanager
    def _records(self) -> Iterator[tuple[Watched, Iterator[list[Any]]]]:
        """Open the file to read its records, the header first."""
        with self._text() as (source, text), self._faults(source):
            if self.form.sep_line:
                text.readline()
            yield source, csv.reader(text, delimiter=self.form.delimiter, strict=True)

    @contextlib.contextmanager
    def _faults(self, source: Watched) -> Iterator[None]:
        """Say of what goes wrong while rows are read where it is and what would do."""
        try:
            yield
        except csv.Error as bad:
            says = next((says for part, says in _SAYS_OF_CSV.items() if part in str(bad)), "cannot be read as CSV.")
            raise SheetError(f"Row {source.row + 1} {says}", row=source.row + 1) from None
        except RowTooLongError:
            raise SheetError(
                f"Row {source.row + 1} goes on for more than {self._limits.row_bytes} bytes; most often a quote was"
                " opened and never closed.",
                row=source.row + 1,
            ) from None
        except UnicodeDecodeError:
            named = "UTF-16" if self.form.encoding.startswith("utf-16") else "UTF-8"
            self._refuse_bytes(BAD_BYTES, f"bytes that are no {named} text")
        except NulError:
            self._refuse_bytes("\0", "a NUL character, which no text has")

    def _refuse_bytes(self, sign: str, what: str) -> NoReturn:
        """Refuse a file for a sign that stands somewhere ahead of the row that came out last."""
        row = None
        with (
            contextlib.suppress(csv.Error, RowTooLongError),
            self._text(errors=MARK_BAD_BYTES, nul_passes=True) as (source, text),
        ):
            if self.form.sep_line:
                text.readline()
            for source.row, cells in enumerate(csv.reader(text, delimiter=self.form.delimiter), 1):
                if sign in "".join(cells):
                    row = source.row
                    break
        raise SheetError(f"{f'Row {row}' if row else 'The file'} holds {what}. {_SAVE_AS}", row=row) from None


def _encoding_of(path: Path) -> str:
    """Return the encoding that a file's first bytes tell of; text without a mark must be UTF-8."""
    with path.open("rb") as file:
        head = file.read(4096)
    for encoding, mark in MARKS.items():
        if head.startswith(mark):
            return encoding
    half = len(head) // 2
    if half and max(head[0::2].count(0), head[1::2].count(0)) > half // 2:
        raise SheetError(f"The file looks like UTF-16 and lacks the mark that UTF-16 begins with. {_SAVE_AS}", row=1)
    return "utf-8"


def _delimiter_of(record: str) -> str:
    """Return the delimiter of a header: the one that stands most often outside quotes; a comma if none does."""
    bare = _QUOTED.sub("", record)
    counts = {sign: bare.count(sign) for sign in _DELIMITERS}
    most = max(counts.values())
    found = [sign for sign, count in counts.items() if count == most]
    if most and len(found) > 1:
        said = " and ".join(f"{_DELIMITERS[sign]}s" for sign in found)
        raise SheetError(
            f"The first row holds as many {said}, so that what parts its cells is open: put names that hold one in"
            " quotes.",
            row=1,
        )
    return found[0]
