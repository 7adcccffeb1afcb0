"""The rows of a sheet as tables of specs, without a spec for each row.

Column by column the different cells are told apart. What a slot of a spec asks is read once for each combination of
its cells, in the way in which a whole row is read: :func:`api.lists.columns.body_of`,
:func:`api.lists.columns.spec_in`, :func:`api.schemas.spec.to_spec`. A row with a fault in any slot is left to that way
as a whole, so that its error is the one that it has alone.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from pydantic import TypeAdapter, ValidationError

from api.lists.columns import Placed, RowError, body_of, spec_in
from api.schemas.spec import SpecIn, to_spec
from api.sheets.convention import Convention
from api.sheets.model import Cell
from api.sheets.values import CellError
from catalog.model import Pattern
from rules.piece import Indexes
from rules.sheet import combined
from rules.spec import Spec
from rules.table import COLUMNS, Codes, Column, Table, part_slot

#: Combinations of cells that are kept before all are forgotten: letters and sizes never end.
MOST_KEPT: Final = 10_000
#: What of a spec is free text: rules read at most whether there is a note.
NOTE: Final = "note"
#: Slots whose words no rule reads, of one column each: hardly two rows say the same there, so they are looked at in
#: one go.
_UNREAD: Final = ("reference", NOTE)
#: The columns of a table that have another name than the member of a spec.
_MEMBER_OF: Final[Mapping[str, str]] = {"named": "lots", "revision": "catalog_revision"}
#: What is asked for where a sheet has no column for it.
_NOTHING: Final = Spec("")
_PATTERN: Final = {"pattern": "any"}


@dataclass(frozen=True)
class Coded:
    """Tables with the places of their rows in the chunk, and the places of the rows that are to be read alone."""

    tables: list[tuple[Table, Codes]]
    alone: list[int]


class Coder:
    """Codes the rows of a sheet chunk by chunk; what cells mean is kept from one to the next."""

    def __init__(self, placed: Iterable[Placed], convention: Convention, indexes: Indexes, *, text: bool) -> None:
        """Take the columns of a sheet that say something of a spec; ``text``: all its cells are text."""
        self.text = text
        self._convention = convention
        self._indexes = indexes
        self._slots: dict[str, list[Placed]] = {}
        for each in placed:
            self._slots.setdefault(each.column.slot, []).append(each)
        self._parts = list(dict.fromkeys(each.column.path[1] for each in self._slots.get("parts", ())))
        several: Any = list
        self._unread: dict[str, TypeAdapter[Any]] = {
            slot: TypeAdapter(several[SpecIn.model_fields[slot].annotation]) for slot in _UNREAD if slot in self._slots
        }
        self._kept: dict[Hashable, Spec | None] = {}

    def coded(self, rows: Sequence[Sequence[Cell]]) -> Coded:
        """Return rows as tables. Each has a cell for every column of the sheet."""
        return _Chunk(self, rows).coded()

    def placed(self, slot: str, parts: Iterable[str] | None = None) -> list[Placed]:
        """Return the columns of a slot; of some parts only."""
        own = self._slots.get(slot, [])
        return own if parts is None else [each for each in own if each.column.path[1] in parts]

    @property
    def parts(self) -> Sequence[str]:
        """The parts that the sheet has columns for."""
        return self._parts

    @property
    def slots(self) -> Iterable[str]:
        """The members of a spec that the sheet has columns for, without what no rule reads."""
        return (slot for slot in self._slots if slot not in _UNREAD)

    @property
    def unread(self) -> Iterable[tuple[str, Placed]]:
        """What no rule reads and the sheet has a column for."""
        return ((slot, self._slots[slot][0]) for slot in self._unread)

    def pattern(self, spec: Spec | None) -> Pattern | None:
        """Return the pattern that a spec names, if it is known."""
        return None if spec is None else self._indexes.patterns.find(spec.pattern)

    def spec(self, cells: Sequence[Cell], placed: Sequence[Placed], key: Hashable) -> Spec | None:
        """Return a spec of some of a row's cells, kept by ``key``; None where they have a fault."""
        key = tuple(each.at for each in placed), key
        if key not in self._kept:
            if len(self._kept) >= MOST_KEPT:
                self._kept.clear()
            self._kept[key] = self._spec(cells, placed)
        return self._kept[key]

    def _spec(self, cells: Sequence[Cell], placed: Sequence[Placed]) -> Spec | None:
        try:
            body = body_of(cells, placed, self._convention)
            return to_spec(spec_in(body if placed[0].column.slot == "pattern" else {**_PATTERN, **body}))
        except RowError:
            return None

    def says(self, placed: Placed, cell: Cell) -> bool:
        """Whether a cell of an unread slot says anything; one with a fault is read alone anyway."""
        try:
            said = placed.column.read(cell, self._convention)
        except CellError:
            return False
        return bool(said) and not str(said).isspace()

    def faulty(self, slot: str, placed: Placed, cells: Sequence[Cell]) -> set[int]:
        """Return the places of cells of an unread slot that have a fault."""
        bad: set[int] = set()
        read: list[Any] = []
        for place, cell in enumerate(cells):
            try:
                read.append(placed.column.read(cell, self._convention))
            except CellError:
                read.append(None)
                bad.add(place)
        try:
            self._unread[slot].validate_python(read)
        except ValidationError as found:
            bad.update(int(each["loc"][0]) for each in found.errors(include_url=False, include_input=False))
        return bad


class _Chunk:
    """Some rows of a sheet, being coded."""

    def __init__(self, coder: Coder, rows: Sequence[Sequence[Cell]]) -> None:
        self._coder = coder
        self._rows = rows
        self._cells = list(zip(*rows, strict=True))
        self._columns: dict[int, Column] = {}
        self._sound = np.ones(len(rows), dtype=bool)

    def coded(self) -> Coded:
        """Return the rows as tables."""
        everywhere = np.arange(len(self._rows))
        for slot, placed in self._coder.unread:
            self._look_at(slot, placed)
        slots = {
            slot: self._read(self._coder.placed(slot), everywhere) for slot in self._coder.slots if slot != "parts"
        }
        parts = {part: self._read(self._coder.placed("parts", [part]), everywhere) for part in self._coder.parts}
        for column in (*slots.values(), *parts.values()):
            self._leave(column, [spec is not None for spec in column.values])
        if "repeat_of" in slots:  # what that order was cut from is looked up row by row
            asked = slots["repeat_of"]
            self._leave(asked, [spec is not None and spec.repeat_of is None for spec in asked.values])
        patterns = slots["pattern"]
        known = [self._coder.pattern(spec) for spec in patterns.values]
        self._leave(patterns, [pattern is not None for pattern in known])
        different = list({pattern.code: pattern for pattern in known if pattern is not None}.values())
        numbers = np.array([-1 if each is None else different.index(each) for each in known], dtype=np.intp)
        tables = []
        for number, pattern in enumerate(different):
            own = np.flatnonzero((numbers[patterns.codes] == number) & self._sound)
            if len(own):
                tables.append((self._table(pattern, own, slots, parts), own))
        return Coded(tables, np.flatnonzero(~self._sound).tolist())

    def _leave(self, column: Column, sound: Sequence[bool]) -> None:
        """Leave the rows alone whose value in a column is not sound."""
        if not all(sound):
            self._sound &= np.array(sound, dtype=bool)[column.codes]

    def _look_at(self, slot: str, placed: Placed) -> None:
        """Leave the rows alone that have a fault in a slot that no rule reads."""
        column = self._column(placed.at)
        if bad := self._coder.faulty(slot, placed, [self._cells[placed.at][row] for row in _firsts(column)]):
            self._leave(column, [place not in bad for place in range(len(column.values))])

    def _read(self, placed: Sequence[Placed], rows: Codes) -> Column:
        """Return what some columns ask on some rows, as specs; None where there is a fault."""
        columns = [self._column(each.at) for each in placed]
        several = [each for each in columns if len(each.values) > 1]
        inverse, first = combined([(each.codes[rows], len(each.values)) for each in several], len(rows))
        found = []
        for row in rows[first]:
            key = tuple(each.values[each.codes[row]] for each in columns)
            found.append(self._coder.spec(self._rows[row], placed, key))
        return Column(found, inverse)

    def _column(self, at: int) -> Column:
        column = self._columns.get(at)
        if column is None:
            column = self._columns[at] = told_apart(self._cells[at], text=self._coder.text)
        return column

    def _table(
        self, pattern: Pattern, rows: Codes, slots: Mapping[str, Column], parts: Mapping[str, Column]
    ) -> Table:  # fmt: skip
        found = {}
        foreign = self._coder.placed("parts", [part for part in parts if part not in pattern.parts])
        for name, value_of in COLUMNS.items():
            if name == NOTE:
                found[name] = self._noted(rows)
                continue
            if name == "foreign" and foreign:
                own = self._read(foreign, rows)
            else:
                own = _of(slots.get(_MEMBER_OF.get(name, name)), rows)
            found[name] = Column([value_of(spec or _NOTHING, pattern) for spec in own.values], own.codes)
        for part in pattern.parts:
            own = _of(parts.get(part), rows)
            found[part_slot(part)] = Column([(spec or _NOTHING).parts.get(part) for spec in own.values], own.codes)
        return Table(pattern, found, len(rows))

    def _noted(self, rows: Codes) -> Column:
        """Return which rows have a note."""
        placed = next((placed for slot, placed in self._coder.unread if slot == NOTE), None)
        if placed is None:
            return Column([False], np.zeros(len(rows), dtype=np.intp))
        column = self._column(placed.at)
        noted = np.array(
            [self._coder.says(placed, self._cells[placed.at][row]) for row in _firsts(column)], dtype=np.intp
        )
        return Column([False, True], noted[column.codes[rows]])


def told_apart(cells: Sequence[Cell], *, text: bool) -> Column:
    """Return the different cells of a column, each by what it holds and its type, and each row's.

    ``text``: all cells are text.
    """
    first = cells[0]
    if (first is None or isinstance(first, str)) and cells.count(first) == len(cells):
        return Column([first], np.zeros(len(cells), dtype=np.intp))
    # 1 and 1.0 and yes are equal, and not the same.
    keys: Sequence[Hashable] = cells
    if not text:
        keys = [cell if cell is None or isinstance(cell, str) else (type(cell), repr(cell)) for cell in cells]
    places: dict[Hashable, int] = dict.fromkeys(keys, 0)
    places.update(zip(places, range(len(places)), strict=True))
    return Column(list(places), np.fromiter(map(places.__getitem__, keys), np.intp, len(keys)))


def _firsts(column: Column) -> NDArray[np.intp]:
    """Return a row for each value of a column."""
    first = np.empty(len(column.values), dtype=np.intp)
    first[column.codes[::-1]] = np.arange(len(column.codes) - 1, -1, -1)
    return first


def _of(column: Column | None, rows: Codes) -> Column:
    if column is None:
        return Column([None], np.zeros(len(rows), dtype=np.intp))
    return Column(column.values, column.codes[rows])
