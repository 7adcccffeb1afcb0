"""A table of specs as it is being judged: its facets, row by row, and pieces for the rows looked at alone."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any

import numpy as np

from rules.cells import Frame
from rules.facets import OF_PART, OF_PIECE, Facet
from rules.piece import MATCH, OUTSIDE, Piece
from rules.shop import Shop
from rules.table import Codes, Table, part_slot
from rules.vocabulary import SAME_IN_A_TABLE

#: Combinations are told apart by a table of all that are possible up to this many, by sorting beyond.
_DENSE = 1 << 22


@dataclass(frozen=True, slots=True)
class Coded:
    """A facet over rows: its different values' numbers, each row's place among them, and a row that has each."""

    numbers: Sequence[int]
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


class Sheet:
    """A table being judged: its facets, and pieces for the few rows that are looked at one by one."""

    def __init__(self, shop: Shop, table: Table, today: date) -> None:
        self.shop = shop
        self.table = table
        self.today = today
        self.judges = shop.judges(today)
        self.memory = self.judges.memory()
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
            return self.coded([part_slot(part)], lambda row: self._number(read, OF_PART[read](self.piece(row), part)))
        slots = [] if read in SAME_IN_A_TABLE else [read]
        matched = read in ("thread", "edge") and MATCH in {str(each).casefold() for each in self._values(read)}
        if matched and OUTSIDE in self.table.pattern.parts:
            slots.append(part_slot(OUTSIDE))  # what a match comes to depends on the outside
        return self.coded(slots, lambda row: self._number(read, OF_PIECE[read](self.piece(row))))

    def _values(self, slot: str) -> Sequence[Any]:
        return self.table.columns[slot].values

    def _number(self, read: str, value: Any) -> int:
        return self.memory.names.number(read, value)

    def coded(self, slots: Sequence[str], number_of: Callable[[int], int]) -> Coded:
        """Return what depends on some slots only, worked out for one row of each combination."""
        columns = [self.table.columns[slot] for slot in slots]
        inverse, first = combined([(each.codes, len(each.values)) for each in columns], self.table.rows)
        numbers: dict[int, int] = {}
        codes = np.empty(len(first), dtype=np.intp)
        rows: list[int] = []
        for place, row in enumerate(first.tolist()):
            number = number_of(row)
            if number not in numbers:
                numbers[number] = len(numbers)
                rows.append(row)
            codes[place] = numbers[number]
        return Coded(tuple(numbers), codes[inverse], np.array(rows, dtype=np.intp))

    def frames(self) -> Iterator[tuple[Codes, Frame]]:
        """Give the rows by which parts share a leather, with their frame."""
        leathers: dict[str | None, int] = {None: -1}

        def leather_of(part: str, row: int) -> int:
            leather = self.piece(row).parts[part].leather
            return leathers.setdefault(None if leather is None else leather.code, len(leathers))

        parts = self.table.pattern.parts
        coded = [self.coded([part_slot(part)], partial(leather_of, part)) for part in parts]
        columns = [np.array(each.numbers, dtype=np.intp)[each.codes] for each in coded]
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
