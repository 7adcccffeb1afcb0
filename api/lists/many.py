"""The rows of a sheet, each judged alone, in chunks: what many of them have in common is worked out once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from api.lists.asking import SheetSource
from api.lists.coding import Coder
from api.lists.judging import Judging
from api.lists.tally import Tally
from api.lists.telling import Teller
from api.sheets.model import Cell
from rules.bulk import Bulk

#: Rows of a chunk: the more, the less each costs and the more memory they take.
ROWS: Final = 40_000
#: Characters of a chunk. Rows may be long.
CHARS: Final = 16 << 20


@dataclass(frozen=True)
class Chunk:
    """Rows as they came, and our cells of each."""

    rows: list[list[Cell]]
    ours: list[tuple[str, ...]]


class Many:
    """Judges the rows of a sheet, each alone."""

    def __init__(self, source: SheetSource, judging: Judging, teller: Teller, tally: Tally) -> None:
        """Take a sheet; nothing is read yet."""
        terms = judging.terms
        self._source = source
        self._judging = judging
        self._teller = teller
        self._tally = tally
        self._bulk = Bulk(terms.shop, terms.today)
        self._coder = Coder(source.placed, source.convention, terms.shop.indexes, text=source.kind == "csv")

    def chunks(self, rows: int = ROWS) -> Iterator[Chunk]:
        """Give what is said of the rows, so many at once at most."""
        for numbers, own in _chunks(self._source.rows(), rows):
            yield Chunk(own, self._said(numbers, own))

    def _said(self, numbers: list[int], rows: list[list[Cell]]) -> list[tuple[str, ...]]:
        columns = [np.empty(len(rows), dtype=object) for _ in self._teller.columns]
        coded = self._coder.coded(rows)
        for table, places in coded.tables:
            briefs = self._bulk.briefs(table)
            self._tally.add_briefs(briefs, table, self._bulk.kept)
            for column, cells in zip(columns, self._teller.of_briefs(briefs), strict=True):
                column[places] = cells
        for place in coded.alone:
            answered = self._judging.alone(self._source.ask(numbers[place], rows[place]))
            self._tally.add(answered)
            for column, cell in zip(columns, self._teller.cells(answered), strict=True):
                column[place] = cell
        return list(zip(*(column.tolist() for column in columns), strict=True))


def _chunks(rows: Iterator[tuple[int, list[Cell]]], most: int) -> Iterator[tuple[list[int], list[list[Cell]]]]:
    numbers: list[int] = []
    own: list[list[Cell]] = []
    chars = 0
    for number, cells in rows:
        numbers.append(number)
        own.append(cells)
        chars += _chars(cells)
        if len(own) >= most or chars >= CHARS:
            yield numbers, own
            numbers, own, chars = [], [], 0
    if own:
        yield numbers, own


def _chars(cells: list[Cell]) -> int:
    """Return how many characters of text cells hold."""
    try:
        return len("".join(cells))  # type: ignore[arg-type]  # in a CSV all are text
    except TypeError:
        return sum(len(cell) for cell in cells if isinstance(cell, str))
