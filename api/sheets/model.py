"""What a sheet is, how its file is written, what it may hold at most, and what is said when it cannot be read."""

from __future__ import annotations

import abc
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final, Literal

Cell = str | int | float | bool | date | datetime | None
"""A cell as it was read. Cells of a CSV are always text, and "" where they are empty; None is a blank of a workbook."""

ERRORS: Final = frozenset(
    {"#N/A", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#NULL!", "#SPILL!", "#CALC!", "#GETTING_DATA"}
)
"""What a cell shows where a formula came to nothing."""

_MOST_SAID: Final = 60


class SheetError(ValueError):
    """A file that cannot be read as a sheet.

    Attributes:
        reason: One clear sentence or two: what is wrong, where, and what would do. Never repeats cells; names of
            columns only, cut short.
        row: The 1-based row as a person sees it, or None where the fault is not in one row.
        column: The name or the 1-based number of the column, or None.
    """

    def __init__(self, reason: str, *, row: int | None = None, column: str | int | None = None) -> None:
        super().__init__(reason)
        self.reason = reason
        self.row = row
        self.column = column


@dataclass(frozen=True, slots=True)
class Form:
    """How a file is written, so that an answer to it comes back alike.

    Attributes:
        kind: ``csv`` or ``xlsx``.
        delimiter: Of a CSV: comma, semicolon or tab.
        encoding: Of a CSV: ``utf-8``, ``utf-8-sig`` (with a byte order mark), ``utf-16-le`` or ``utf-16-be`` (both
            always with one).
        decimal_comma: Numbers of a CSV are written 3,5 rather than 3.5.
        sep_line: A CSV began with a line such as ``sep=;``, which tells a spreadsheet program the delimiter.
    """

    kind: Literal["csv", "xlsx"] = "csv"
    delimiter: str = ","
    encoding: str = "utf-8"
    decimal_comma: bool = False
    sep_line: bool = False


@dataclass(frozen=True, slots=True)
class Limits:
    """What a sheet may be at most; what is larger is refused with a sentence.

    Attributes:
        file_bytes: A workbook as it is sent. How large a CSV may be is up to whoever takes it in: it is streamed.
        expanded_bytes: All parts of a workbook together, once expanded.
        strings_bytes: The table of texts of a workbook, once expanded.
        strings: Texts in that table.
        parts: Parts of a workbook.
        ratio: How many times larger than sent a part of a workbook of more than 1 MiB may be.
        columns: Columns in use.
        rows: Rows, the header among them; what a workbook can hold.
        cells: Rows times columns in use of a workbook, which is read as one dense block.
        cell_chars: Characters of a cell; what a workbook can hold.
        row_bytes: Bytes of one row of a CSV.
        memory_bytes: Address space of the process that reads a workbook, the interpreter included.
        seconds: Processor seconds of that process.
    """

    file_bytes: int = 16 << 20
    expanded_bytes: int = 256 << 20
    strings_bytes: int = 64 << 20
    strings: int = 2_000_000
    parts: int = 2_000
    ratio: int = 200
    columns: int = 200
    rows: int = 1_048_576
    cells: int = 3_000_000
    cell_chars: int = 32_767
    row_bytes: int = 2 << 20
    memory_bytes: int = 512 << 20
    seconds: int = 20


DEFAULT_LIMITS: Final = Limits()


class Sheet(abc.ABC):
    """One sheet of a file.

    Attributes:
        form: How the file is written.
        header: The names of the columns, the cells of the first row as they stand there; "" where one is empty.
        notes: Sentences about how it was read, each to be said once.
    """

    form: Form
    header: tuple[str, ...]
    notes: list[str]

    @abc.abstractmethod
    def rows(self) -> Iterator[tuple[int, list[Cell]]]:
        """Return the rows below the header, each with its number as a person sees it, one at a time.

        Each row has as many cells as the header. Empty rows at the end are left out, those in between are given.
        Each call begins anew; several may go on at the same time.

        Raises:
            SheetError: while it goes on, where a row cannot be read.
        """


def checked_header(header: tuple[str, ...], limits: Limits) -> tuple[str, ...]:
    """Return a header that can be one.

    Raises:
        SheetError: it is empty, too wide, or names a column twice.
    """
    if len(header) > limits.columns:
        raise too_wide(len(header), limits)
    names = [name.strip() for name in header]
    if not any(names):
        raise SheetError("The first row is empty: put the names of the columns there.", row=1)
    seen: set[str] = set()
    for at, name in enumerate(names):
        if name and name in seen:
            first, said = names.index(name) + 1, shown(name)
            raise SheetError(
                f"Columns {first} and {at + 1} have the same name, {said}: rename one of them or take it out.",
                row=1,
                column=said,
            )
        seen.add(name)
    return header


def too_wide(columns: int, limits: Limits, row: int = 1) -> SheetError:
    """Return what is said of a sheet with too many columns."""
    return SheetError(
        f"The sheet has {columns} columns and at most {limits.columns} are read: take out those that are not needed.",
        row=row,
        column=limits.columns + 1,
    )


def too_many(row: int, limits: Limits) -> SheetError:
    """Return what is said of a sheet with too many rows."""
    return SheetError(f"There are more than {limits.rows} rows: send several files.", row=row)


def too_long(row: int, characters: int, column: str | int, limits: Limits) -> SheetError:
    """Return what is said of a cell that is too long."""
    return SheetError(
        f"Row {row} has a cell of {characters} characters; at most {limits.cell_chars} are read.",
        row=row,
        column=column,
    )


def shown(name: str) -> str:
    """Return a column's name fit to stand in a sentence: on one line, and cut short."""
    plain = "".join(sign if sign.isprintable() else " " for sign in name)
    return plain if len(plain) <= _MOST_SAID else plain[: _MOST_SAID - 3] + "..."
