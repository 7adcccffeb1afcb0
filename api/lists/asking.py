"""What a list asks, row by row, from whichever kind of file it came in."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any, Final, Literal

from api.body import parse
from api.lists.columns import COLUMNS, OURS, RowError, body_of, columns_in, key_of, spec_in, spec_in_json
from api.schemas.spec import SpecIn, to_spec
from api.sheets.convention import Convention
from api.sheets.model import Cell, Form, SheetError, shown
from api.sheets.reading import open_sheet
from api.visibility import Caller
from catalog.faults import suggest
from rules.spec import Spec

Kind = Literal["json", "ndjson", "csv", "xlsx"]
#: A line of NDJSON may be as long as a single spec's body.
LONGEST_LINE: Final = 128 * 1024
#: Workbooks that are opened at a time: each takes a process of its own and up to half a gigabyte.
_OPENING: Final = threading.BoundedSemaphore(2)
_STAFF_LOTS: Final = "naming lots is for the workshop's staff"


@dataclass(frozen=True, slots=True)
class Asked:
    """One row: what it asks, or why it cannot be read; neither where it is empty.

    ``number`` is the row of the sheet as a person counts, the header being row 1; of JSON the place in the list.
    """

    number: int
    spec: Spec | None = None
    error: RowError | None = None


class SheetSource:
    """A list that came as a sheet."""

    def __init__(self, path: Path, caller: Caller) -> None:
        """Open a sheet.

        Raises:
            SheetError: it is no sheet, or has no column ``pattern``.
        """
        with _OPENING:
            self.sheet = open_sheet(path)
        self.convention = Convention.of(self.sheet)
        self.kind: Kind = self.sheet.form.kind
        self.header = self.sheet.header
        self.placed = columns_in(self.header, caller)
        self.notes = self.sheet.notes
        #: Places of the columns that are the caller's own: answers of an earlier time are written anew.
        self.own = tuple(at for at, name in enumerate(self.header) if key_of(name) not in OURS)
        _check_columns(self.header)
        self.notes.extend(_about(self.header, caller))

    @property
    def form(self) -> Form:
        """How the sheet is written."""
        return self.sheet.form

    def rows(self) -> Iterator[tuple[int, list[Cell]]]:
        """Give the rows as they came."""
        return self.sheet.rows()

    def asked(self) -> Iterator[Asked]:
        """Give what each row asks."""
        for number, cells in self.rows():
            yield self.ask(number, cells)

    def count(self, most: int) -> int:
        """Return how many rows there are; of more than ``most``, one more than that."""
        return sum(1 for _ in islice(self.rows(), most + 1))

    def ask(self, number: int, cells: Sequence[Cell]) -> Asked:
        """Return what one row asks."""
        try:
            body = body_of(cells, self.placed, self.convention)
            return Asked(number, to_spec(spec_in(body))) if body else Asked(number)
        except RowError as bad:
            return Asked(number, error=bad)


class LinesSource:
    """A list that came as NDJSON: a spec a line."""

    def __init__(self, path: Path, caller: Caller) -> None:
        """Take a file; nothing is read yet."""
        self._path = path
        self._caller = caller
        self.kind: Kind = "ndjson"
        self.notes: list[str] = []

    def asked(self) -> Iterator[Asked]:
        """Give what each line asks; empty lines are left out, as the format has it."""
        for number, line in self._lines():
            if line is None:
                yield Asked(number, error=RowError("", f"the line is longer than {LONGEST_LINE} bytes"))
            else:
                yield _of_line(number, line, self._caller)

    def count(self, most: int) -> int:
        """Return how many lines there are, the empty ones aside; of more than ``most``, one more than that."""
        return sum(1 for _ in islice(self._lines(), most + 1))

    def _lines(self) -> Iterator[tuple[int, bytes | None]]:
        """Give the lines that say something with their numbers; None for one that is too long."""
        with self._path.open("rb") as lines:
            number = 0
            while line := lines.readline(LONGEST_LINE + 1):
                number += 1
                if line.endswith(b"\n") or len(line) <= LONGEST_LINE:
                    if line.strip():
                        yield number, line
                    continue
                while line and not line.endswith(b"\n"):
                    line = lines.readline(LONGEST_LINE)
                yield number, None


class JsonSource:
    """A list that came as JSON; its specs are at hand."""

    def __init__(self, specs: Sequence[Any], caller: Caller) -> None:
        """Take the specs as JSON has them."""
        self._specs = specs
        self._caller = caller
        self.kind: Kind = "json"
        self.notes: list[str] = []

    def count(self, most: int) -> int:
        """Return how many entries there are; of more than ``most``, one more than that."""
        return min(len(self._specs), most + 1)

    def asked(self) -> Iterator[Asked]:
        """Give what each entry asks."""
        for number, body in enumerate(self._specs, 1):
            yield _of_json(number, body, self._caller)


Source = SheetSource | LinesSource | JsonSource
"""A list as it came. It can be read again from the start."""


def _of_line(number: int, line: bytes, caller: Caller) -> Asked:
    try:
        return _of_json(number, parse(line.strip()), caller)
    except json.JSONDecodeError as bad:
        return Asked(number, error=RowError("", f"no JSON: {bad.msg}"))


def _of_json(number: int, body: Any, caller: Caller) -> Asked:
    if not isinstance(body, Mapping):
        return Asked(number, error=RowError("", "a spec is an object"))
    try:
        spec: SpecIn = spec_in_json(body)
    except RowError as bad:
        return Asked(number, error=bad)
    if spec.lots and caller < Caller.STAFF:
        return Asked(number, error=RowError("/lots", _STAFF_LOTS))
    return Asked(number, to_spec(spec))


def _check_columns(header: Sequence[str]) -> None:
    """Raise where a column is there twice, or none says the pattern."""
    seen: dict[str, str] = {}
    for name in header:
        key = key_of(name)
        if key in COLUMNS and key in seen:
            raise SheetError(
                f"Columns {shown(seen[key])!r} and {shown(name)!r} are the same, {key}: rename one or take it out.",
                row=1,
                column=key,
            )
        seen[key] = name
    if "pattern" in seen:
        return
    near = suggest("pattern", [shown(name.strip()) for name in header])
    hint = f"; is it {near!r}?" if near else "."
    raise SheetError(
        f"There is no column pattern{hint} The first row must hold the names of columns, as the template has them.",
        row=1,
        column="pattern",
    )


def _about(header: Sequence[str], caller: Caller) -> Iterator[str]:
    """Give what to say once of the names of columns."""
    for name in header:
        key = key_of(name)
        if not key:
            continue
        said = repr(shown(name))
        if key in OURS:
            yield f"column {said} is one of ours: what stood there was left out"
        elif key not in COLUMNS:
            near = suggest(key, list(COLUMNS))
            yield f"column {said} is not known and was not read" + (f"; is it {near}?" if near else "")
        elif caller < COLUMNS[key].least:
            yield f"column {said} was not read: {_STAFF_LOTS}"
