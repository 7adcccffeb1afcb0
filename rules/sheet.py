"""A table of specs as it is being judged: its facets, row by row, and pieces for the rows looked at alone."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import numpy as np

from rules.cells import Frame
from rules.evaluate import Memory
from rules.facets import OF_PART, OF_PIECE, Facet
from rules.piece import MATCH, OUTSIDE, Piece
from rules.shop import Shop
from rules.table import Codes, Table, part_slot
from rules.vocabulary import SAME_IN_A_TABLE

#: Values kept of one thing from table to table.
MOST_VALUES: Final = 2_000
#: The slot of a facet that has another name.
_SLOT_OF: Final = {"letters": "monogram"}
#: Combinations are told apart by a table of all that are possible up to this many, by sorting beyond.
_DENSE = 1 << 22


@dataclass(frozen=True, slots=True)
class Coded:
    """A facet over rows: its different values' numbers, each row's place among them, and a row that has each."""

    numbers: Codes
    codes: Codes
    first: Codes

    def of(self, rows: Codes) -> Coded:
        """Return the facet over some of the rows."""
        return Coded(self.numbers, self.codes[rows], self.first)


def combined(columns: Sequence[tuple[Codes, int]], rows: int) -> tuple[Codes, Codes]:
    """Return each row's place among the combinations that occur, and for each of them its first row.

    A column is codes and how many different ones there may be.
    """
    key, possible = np.zeros(rows, dtype=np.intp), 1
    for codes, count in columns:
        if possible * count > 1 << 62:
            _, key = np.unique(key, return_inverse=True)
            possible = int(key.max(initial=0)) + 1
        key = key * count + codes
        possible *= max(count, 1)
    if possible > _DENSE or possible > 8 * rows + 4096:
        _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
        return inverse.astype(np.intp), first.astype(np.intp)
    first_of = np.full(possible, -1, dtype=np.intp)
    first_of[key[::-1]] = np.arange(rows - 1, -1, -1)
    occurring = np.flatnonzero(first_of >= 0)
    place = np.empty(possible, dtype=np.intp)
    place[occurring] = np.arange(len(occurring))
    return place[key], first_of[occurring]


class Kept:
    """What is kept from one table to the next of a shop and a day: values by what they follow from.

    Numbers of facets are part of that, so it holds for one memory. What has more values than :data:`MOST_VALUES`, as
    letters have, is forgotten and begins anew.
    """

    def __init__(self) -> None:
        self._memory: Memory | None = None
        self._values: dict[Hashable, dict[Hashable, Any]] = {}

    def begin(self, memory: Memory) -> None:
        """Begin a table that is numbered by a memory."""
        if memory is not self._memory:
            self._memory, self._values = memory, {}

    def of(self, what: Hashable, keys: Sequence[Hashable], make: Callable[[int], Any]) -> list[Any]:
        """Return the values of something by their keys; one that is new is made, by its place among the keys."""
        kept = self._values.setdefault(what, {})
        if len(kept) > MOST_VALUES:
            kept.clear()
        found = []
        for place, key in enumerate(keys):
            if key not in kept:
                kept[key] = make(place)
            found.append(kept[key])
        return found


class Sheet:
    """A table being judged: its facets, and pieces for the few rows that are looked at one by one."""

    def __init__(self, shop: Shop, table: Table, today: date, kept: Kept | None = None) -> None:
        self.shop = shop
        self.table = table
        self.today = today
        self.judges = shop.judges(today)
        self.memory = self.judges.memory()
        self.kept = kept or Kept()
        self.kept.begin(self.memory)
        self._facets: dict[Facet, Coded] = {}
        self._pieces: dict[int, Piece] = {}

    def piece(self, row: int) -> Piece:
        """Return a row's piece."""
        found = self._pieces.get(row)
        if found is None:
            found = self._pieces[row] = self.shop.piece(self.table.spec(row))
        return found

    def facet(self, facet: Facet) -> Coded:
        """Return a facet of every row, the lots aside."""
        found = self._facets.get(facet)
        if found is None:
            found = self._facets[facet] = self._coded(facet)
        return found

    def _coded(self, facet: Facet) -> Coded:
        read, part = facet
        if part:
            slots = [part_slot(part)]
            return self.coded(facet, slots, lambda row: self._number(read, OF_PART[read](self.piece(row), part)))
        slots = [] if read in SAME_IN_A_TABLE else [_SLOT_OF.get(read, read)]
        matched = read in ("thread", "edge") and MATCH in {str(each).casefold() for each in self._values(read)}
        if matched and OUTSIDE in self.table.pattern.parts:
            slots.append(part_slot(OUTSIDE))  # what a match comes to depends on the outside
        return self.coded(facet, slots, lambda row: self._number(read, OF_PIECE[read](self.piece(row))))

    def _values(self, slot: str) -> Sequence[Any]:
        return self.table.columns[slot].values

    def _number(self, read: str, value: Any) -> int:
        return self.memory.names.number(read, value)

    def coded(self, what: Hashable, slots: Sequence[str], number_of: Callable[[int], int]) -> Coded:
        """Return what depends on some slots only, worked out for one row of each combination and kept by name."""
        columns = [self.table.columns[slot] for slot in slots]
        inverse, first = combined([(each.codes, len(each.values)) for each in columns], self.table.rows)
        keys = list(zip(*([each.values[code] for code in each.codes[first].tolist()] for each in columns), strict=True))
        rows = first.tolist()
        found = self.kept.of((self.table.pattern.code, what), keys or [()], lambda place: number_of(rows[place]))
        numbers, places, codes = np.unique(np.array(found, dtype=np.intp), return_index=True, return_inverse=True)
        return Coded(numbers, codes[inverse], first[places])

    def frames(self) -> Iterator[tuple[Codes, Frame]]:
        """Give the rows by which parts share a leather, with their frame."""
        leathers: dict[str | None, int] = {None: -1}

        def leather_of(part: str, row: int) -> int:
            leather = self.piece(row).parts[part].leather
            return leathers.setdefault(None if leather is None else leather.code, len(leathers))

        parts = self.table.pattern.parts
        columns = []
        for part in parts:
            leather = self.facet(("leather", part))
            numbers = [leather_of(part, int(row)) for row in leather.first]
            columns.append(np.array(numbers, dtype=np.intp)[leather.codes])
        key = np.zeros(self.table.rows, dtype=np.intp)
        for column in columns:
            shared = np.full(self.table.rows, -1, dtype=np.intp)
            for place in range(len(columns) - 1, -1, -1):
                shared[columns[place] == column] = place
            shared[column == -1] = -1
            key = key * (len(parts) + 1) + shared + 1
        for value in np.unique(key):
            rows = np.flatnonzero(key == value)
            frame = self.judges.frame(self.piece(int(rows[0])), self.shop.warehouse, self.memory)
            if frame is not None:
                yield rows, frame
