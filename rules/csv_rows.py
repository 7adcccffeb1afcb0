"""A table kept in a CSV file, beside a workshop's rules.

The first line holds names of the vocabulary; each line after it is a row. A cell is a value, several values with ``|``
between them, or ``-`` for any. A figure carries its unit; a range of figures is written ``>= 1.2 mm``, ``< 2 mm`` or
``[1.2 mm .. 2 mm)``, where a square bracket takes its end in and a round one leaves it out (ISO 31-11).

A cell may stand in quotes (RFC 4180); a line break may not stand in a cell, so that every fault has the line that an
editor shows. Lines are read one at a time by the standard library's strict reader; where a cell begins is found beside
it.
"""

from __future__ import annotations

import csv
import re
from typing import Any, Final

from catalog.strict_yaml import UNREADABLE, Document, Fault

MOST_BYTES: Final = 100_000
MOST_LINES: Final = 500
MOST_COLUMNS: Final = 24
MOST_VALUES: Final = 200
#: Faults of one file after which nobody reads on.
MOST_FAULTS: Final = 20
ANY: Final = "-"
#: The byte order mark that spreadsheets write before the first cell of a file in UTF-8.
MARK: Final = "\ufeff"
#: Truths as rules write them, and as spreadsheets do.
_TRUTHS: Final = {"true": True, "false": False, "TRUE": True, "FALSE": False}
_COMPARED: Final = ((">=", "min"), ("<=", "max"), (">", "above"), ("<", "below"))
_RANGE: Final = re.compile(r"([\[(])\s*(\S.*?)\s*\.\.\s*(\S.*?)\s*([\])])")
_FIELD: Final = re.compile(r'"(?:[^"]|"")*"|[^",]*')
_Path = tuple[str | int, ...]


def read_csv(text: str, file: str) -> Document:
    """Read a table. The document holds ``header``, a list of names, and ``rows``, maps from names to the cells' texts.

    A byte order mark before the first cell, as spreadsheets write it, is passed over.
    A cell that holds for any is left out of its row. ``faults`` is empty for a sound file.
    """
    reader = _Reader(text.removeprefix(MARK), file)
    try:
        reader.read()
    except _HopelessError:
        reader.value = UNREADABLE
    return Document(file, reader.value, tuple(reader.faults), reader.places, reader.places)


class _HopelessError(Exception):
    """Raised where reading on would be useless or costly."""


class _Reader:
    def __init__(self, text: str, file: str) -> None:
        self.file = file
        self.faults: list[Fault] = []
        self.places: dict[_Path, tuple[int, int]] = {(): (1, 1)}
        self.value: Any = {"header": [], "rows": []}
        self._text = text

    def _note(self, line: int, column: int, message: str) -> None:
        self.faults.append(Fault(self.file, line, column, message))
        if len(self.faults) >= MOST_FAULTS:
            raise _HopelessError

    def read(self) -> None:
        """Read the header and every row."""
        lines = self._lines()
        header = self._header(lines[0]) if lines else []
        if not header:
            self._note(1, 1, "the first line holds the names of the columns")
            raise _HopelessError
        self.value = {"header": header, "rows": []}
        for number, line in enumerate(lines[1:], start=2):
            self._row(number, line, header)
        if not self.value["rows"]:
            self._note(1, 1, "the table has no row below its header")

    def _lines(self) -> list[str]:
        """Return the lines without their ends: CRLF as the standard has them, or LF. A last empty line is none."""
        count = self._text.count("\n") + 1
        if count > MOST_LINES + 2:
            self._note(MOST_LINES + 2, 1, f"more than {MOST_LINES} rows; a table has at most {MOST_LINES}")
            raise _HopelessError
        lines = [line.removesuffix("\r") for line in self._text.split("\n")]
        if lines and not lines[-1]:
            lines.pop()
        return lines

    def _cells(self, number: int, line: str) -> list[tuple[int, str]]:
        """Return the cells of a line with the columns, from 1, where they begin."""
        starts = self._starts(number, line)
        try:
            (cells,) = csv.reader([line], strict=True)
        except (csv.Error, ValueError) as bad:
            self._note(number, starts[-1], f"the cell cannot be read: {bad}")
            return []
        if len(cells) != len(starts):
            self._note(number, 1, "quotes stand round a whole cell; a quote inside one is written twice")
            return []
        return list(zip(starts, cells, strict=True))

    def _starts(self, number: int, line: str) -> list[int]:
        """Return the columns, from 1, where the cells of a line begin, as far as they can be told apart."""
        starts, at = [], 0
        while True:
            starts.append(at + 1)
            match = _FIELD.match(line, at)
            at = len(line) if match is None else match.end()
            if at >= len(line):
                return starts
            if line[at] != ",":
                self._note(
                    number, starts[-1], "quotes stand round a whole cell, and are closed; a quote in it is doubled"
                )
                return starts
            at += 1

    def _header(self, line: str) -> list[str]:
        header: list[str] = []
        for column, name in self._cells(1, line):
            if name in header:
                self._note(1, column, f"the column {name!r} stands there twice")
            self.places["header", len(header)] = 1, column
            header.append(name)
        if len(header) > MOST_COLUMNS:
            self._note(1, 1, f"{len(header)} columns; a table has at most {MOST_COLUMNS}")
            raise _HopelessError
        if len(header) == 1 and ";" in line:
            self._note(1, 1, "cells are separated by commas, not by semicolons")
        return header

    def _row(self, number: int, line: str, header: list[str]) -> None:
        before = len(self.faults)
        if not line.strip(" \t"):
            self._note(number, 1, "a blank line; take it out")
            return
        cells = self._cells(number, line)
        if len(self.faults) > before:
            return
        if len(cells) != len(header):
            column = cells[min(len(cells), len(header)) - 1][0] if cells else 1
            self._note(number, column, f"{len(cells)} cells in a table of {len(header)} columns")
            return
        place, row = len(self.value["rows"]), {}
        self.places["rows", place] = number, 1
        for name, (column, cell) in zip(header, cells, strict=True):
            self.places["rows", place, name] = number, column
            if not cell or cell != cell.strip():
                self._note(number, column, f"{name}: write '{ANY}' where anything holds, and no space round a value")
            elif cell != ANY:
                row[name] = cell
        self.value["rows"].append(row)


def as_test(kind: str, cell: str) -> Any:
    """Return the cell of a name of some type as a rule writes a test.

    Raises:
        ValueError: for a cell that has no such form.
    """
    values = [value.strip() for value in cell.split("|")]
    if len(values) > MOST_VALUES:
        raise ValueError(f"{len(values)} values in a cell; at most {MOST_VALUES} are taken")
    if kind == "number":
        return _figures(values)
    if kind == "truth":
        return [_TRUTHS.get(value, value) for value in values]
    if kind == "words":
        if len(values) > 1:
            raise ValueError("one word can be asked for; write another row for the other")
        return {"includes": values[0]}
    return values


def _figures(values: list[str]) -> Any:
    tests = [_compared(value) for value in values]
    if all(isinstance(test, str) for test in tests):
        return tests
    if len(tests) > 1:
        raise ValueError("a range stands alone; write another row for the other")
    return tests[0]


def _compared(value: str) -> str | dict[str, str]:
    if match := _RANGE.fullmatch(value):
        low, high = "min" if match[1] == "[" else "above", "max" if match[4] == "]" else "below"
        return {low: match[2], high: match[3]}
    for sign, test in _COMPARED:
        if value.startswith(sign):
            return {test: value.removeprefix(sign).strip()}
    return value
