"""Writing a sheet in the form in which another came in."""

from __future__ import annotations

import abc
import csv
import io
import math
import re
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from decimal import Decimal
from types import TracebackType
from typing import BinaryIO, Final, Self

import xlsxwriter  # type: ignore[import-untyped] # it comes without types

from api.sheets.delimited import MARKS
from api.sheets.guard import SIGNS, guarded
from api.sheets.model import DEFAULT_LIMITS, Cell, Form

Written = Cell | Decimal
# No text in XML, or none at all: NUL, halves of surrogate pairs, two code points that are no characters.
_UNSOUND: Final = re.compile("[\0\ud800-\udfff\ufffe\uffff]")
_MOST_CHARS: Final = DEFAULT_LIMITS.cell_chars
_MOST_DIGITS: Final = 15
#: A cell that may have to be guarded begins like this where cells are joined with NUL.
_STARTS: Final = tuple(f"\0{sign}" for sign in SIGNS)
_FIRST_DAY: Final = date(1900, 3, 1)
# The time of writing is left out of a workbook: the same cells give the same bytes.
_CREATED: Final = datetime(2000, 1, 1)  # noqa: DTZ001 -- the library takes no zone


class Writer(abc.ABC):
    """Writes rows, one at a time; a context manager. What is written to stays open.

    What is no character comes out as U+FFFD.

    Attributes:
        notes: After the end: sentences about how it was written, each to be said once.
    """

    notes: list[str]

    @abc.abstractmethod
    def row(self, cells: Sequence[Written]) -> None:
        """Write a row.

        Raises:
            ValueError: a number is not finite, or the row has more cells than the header names.
        """

    def texts(self, rows: Iterable[Sequence[str]]) -> None:
        """Write rows of text: the same as row by row, and faster where there is a faster way.

        Raises:
            ValueError: a row has more cells than the header names.
        """
        for cells in rows:
            self.row(cells)

    @abc.abstractmethod
    def close(self) -> None:
        """Write what is left, and say the notes."""

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close it."""
        self.close()


def writer(form: Form, out: BinaryIO, header: Sequence[str]) -> Writer:
    """Return a writer in a form, with its header written.

    Args:
        form: How the sheet is written.
        out: Takes the bytes. For a workbook all come at the end.
        header: The names of the columns.
    """
    return _Delimited(form, out, header) if form.kind == "csv" else _Workbook(out, header)


class _Delimited(Writer):
    """A CSV after RFC 4180: lines end in CR LF, quotes are doubled."""

    def __init__(self, form: Form, out: BinaryIO, header: Sequence[str]) -> None:
        self.notes = []
        self._guarded = 0
        self._open = True
        self._mark = "," if form.decimal_comma else "."
        out.write(MARKS.get(form.encoding, b""))
        self._text = io.TextIOWrapper(out, form.encoding.removesuffix("-sig"), newline="")
        if form.sep_line:
            self._text.write(f"sep={form.delimiter}\r\n")
        self._rows = csv.writer(self._text, delimiter=form.delimiter)
        self._width = len(header)
        self.row(header)

    def row(self, cells: Sequence[Written]) -> None:
        """See :meth:`Writer.row`."""
        _check_width(cells, self._width)
        self._rows.writerow([self._said(cell) for cell in cells])

    def texts(self, rows: Iterable[Sequence[str]]) -> None:
        """See :meth:`Writer.texts`."""
        self._rows.writerows(map(self._safe, rows))

    def _safe(self, cells: Sequence[str]) -> Sequence[str]:
        """Return texts as they are written; most rows hold nothing to look at cell by cell."""
        _check_width(cells, self._width)
        joined = "\0".join(("", *cells))
        for start in _STARTS:
            if start in joined:
                return [self._said(cell) for cell in cells]
        # NUL stands before each cell.
        if joined.count("\0") != len(cells) or not (
            joined.isascii() or _UNSOUND.search(joined.replace("\0", "")) is None
        ):
            return [self._said(cell) for cell in cells]
        return cells

    def _said(self, cell: Written) -> str:
        if cell is None:
            return ""
        if isinstance(cell, str):
            sound = _UNSOUND.sub("\ufffd", cell)
            safe = guarded(sound)
            self._guarded += safe is not sound
            return safe
        if isinstance(cell, bool):
            return "true" if cell else "false"
        if isinstance(cell, datetime):
            return cell.isoformat(" ")
        if isinstance(cell, date):
            return cell.isoformat()
        return f"{_finite(cell):f}".replace(".", self._mark)

    def close(self) -> None:
        """See :meth:`Writer.close`."""
        if not self._open:
            return
        self._open = False
        self._text.flush()
        self._text.detach()
        if self._guarded:
            cells = "1 cell of text begins" if self._guarded == 1 else f"{self._guarded} cells of text begin"
            self.notes.append(
                f"{cells} with a sign that a spreadsheet program would take for a formula: a ' was put before it."
            )


class _Workbook(Writer):
    """A workbook of one sheet: values only, no formula and no link."""

    def __init__(self, out: BinaryIO, header: Sequence[str]) -> None:
        self.notes = []
        self._cut = 0
        self._open = True
        self._book = xlsxwriter.Workbook(
            out,
            {
                "constant_memory": True,
                "strings_to_formulas": False,
                "strings_to_numbers": False,
                "strings_to_urls": False,
            },
        )
        self._book.set_properties({"created": _CREATED})
        self._sheet = self._book.add_worksheet()
        self._day = self._book.add_format({"num_format": "yyyy-mm-dd"})
        self._moment = self._book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
        self._width = len(header)
        self._next = 0
        self.row(header)

    def row(self, cells: Sequence[Written]) -> None:
        """See :meth:`Writer.row`."""
        _check_width(cells, self._width)
        for column, cell in enumerate(cells):
            self._put(column, cell)
        self._next += 1

    def _put(self, column: int, cell: Written) -> None:
        row, sheet = self._next, self._sheet
        if cell is None or cell == "":
            return
        if isinstance(cell, str):
            self._put_text(column, cell)
        elif isinstance(cell, bool):
            sheet.write_boolean(row, column, cell)
        elif isinstance(cell, date):
            moment = isinstance(cell, datetime)
            if (cell.date() if isinstance(cell, datetime) else cell) < _FIRST_DAY:  # a workbook counts these wrongly
                self._put_text(column, cell.isoformat(" ") if isinstance(cell, datetime) else cell.isoformat())
            else:
                sheet.write_datetime(row, column, cell, self._moment if moment else self._day)
        else:
            exact = _finite(cell)
            if len(exact.normalize().as_tuple().digits) > _MOST_DIGITS and not isinstance(cell, float):
                self._put_text(column, f"{exact:f}")  # a workbook would round it
            else:
                sheet.write_number(row, column, float(exact))

    def _put_text(self, column: int, text: str) -> None:
        if len(text) > _MOST_CHARS:
            text, self._cut = text[:_MOST_CHARS], self._cut + 1
        self._sheet.write_string(self._next, column, _UNSOUND.sub("\ufffd", text))

    def close(self) -> None:
        """See :meth:`Writer.close`."""
        if not self._open:
            return
        self._open = False
        self._book.close()
        if self._cut:
            cells = "1 cell was" if self._cut == 1 else f"{self._cut} cells were"
            self.notes.append(f"{cells} longer than the {_MOST_CHARS} characters of a workbook's cell, and cut short.")


def _check_width(cells: Sequence[Written], width: int) -> None:
    if len(cells) > width:
        raise ValueError(f"{len(cells)} cells for {width} columns")


def _finite(number: float | Decimal) -> Decimal:
    """Return a number as it is written out.

    Raises:
        ValueError: it is not finite.
    """
    if not math.isfinite(number):
        raise ValueError("a sheet holds finite numbers only")
    return Decimal(repr(number)) if isinstance(number, float) else Decimal(number)
