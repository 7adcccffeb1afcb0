"""Verdicts in brief for whole tables, each as a check of its row alone gives it."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from rules.assigning import assigned
from rules.block import Bits, Block, Given
from rules.brief import Brief, brief_of
from rules.check import judge
from rules.columns import int_of
from rules.headlines import Word, effects_in, headlines_of
from rules.memo import Memo
from rules.sheet import Kept, Sheet, combined
from rules.shop import Shop
from rules.spec import Spec
from rules.sums import SUMMED, Sums
from rules.table import Codes, Column, Table, tables_of
from rules.totals import totals_of

#: Different unions of rules that fired, kept before all are forgotten.
MOST_DIFFERENT: Final = 20_000


@dataclass(frozen=True)
class Briefs:
    """Verdicts in brief, column by column: for each the different values, and each row's place among them.

    ``words`` are :class:`rules.headlines.Word`, ``headlines`` text, ``ready_on`` dates or None, ``lots`` codes by
    part; ``totals`` are in minor units, -1 where there is no price.
    """

    words: Column
    headlines: Column
    totals: NDArray[np.int64]
    ready_on: Column
    lots: Column

    def brief(self, row: int) -> Brief:
        """Return a row's verdict in brief."""
        word: Word = _at(self.words, row)
        total = int(self.totals[row])
        return Brief(
            outcome=word.outcome,
            headline=_at(self.headlines, row),
            fired=word.fired,
            total_minor=None if total < 0 else total,
            ready_on=_at(self.ready_on, row),
            lots=_at(self.lots, row),
        )


class Bulk:
    """Judges tables of one day, one after another; what they have in common is worked out once and ``kept``."""

    def __init__(self, shop: Shop, today: date) -> None:
        self._shop = shop
        self._today = today
        self._judges = shop.judges(today)
        self._effects = effects_in(self._judges)
        self._words: Memo[Word] = Memo(MOST_DIFFERENT)
        self.kept = Kept()

    def briefs(self, table: Table) -> Briefs:
        """Return the verdict in brief of every row."""
        sheet = Sheet(self._shop, table, self._today, self.kept)
        totals = totals_of(sheet)
        words, headlines, days, lots = (_Joined(table.rows) for _ in range(4))
        for rows, frame in sheet.frames():
            best = assigned(sheet, frame, rows, totals)
            block = Block(sheet, frame, rows, totals[rows], best.given)
            own = self._words_of(best.bits)
            words.put(rows, own)
            headlines.put(rows, headlines_of(block, own))
            days.put(rows, _ready_on(block))
            lots.put(rows, _lots_of(block, best.given))
        return Briefs(words.column(), headlines.column(), totals, days.column(), lots.column())

    def _words_of(self, bits: Bits) -> Column:
        different = [np.unique(column, return_inverse=True) for column in bits.T]
        inverse, first = combined([(codes, len(values)) for values, codes in different], len(bits))
        return Column([self._word(int_of(bits[row])) for row in first], inverse)

    def _word(self, word: int) -> Word:
        return self._words.get(word, lambda: Word.of(self._judges.fired_in(word), self._effects))


def briefs_of(shop: Shop, specs: Sequence[Spec], today: date) -> list[Brief]:
    """Return the verdict in brief of specs of any patterns, each in its place."""
    tables, loose = tables_of(specs, shop.indexes)
    bulk, found = Bulk(shop, today), dict[int, Brief]()
    for table, places in tables:
        briefs = bulk.briefs(table)
        found.update((place, briefs.brief(row)) for row, place in enumerate(places.tolist()))
    for place in loose:
        found[place] = brief_of(judge(shop, specs[place], today))
    return [found[place] for place in range(len(specs))]


class _Joined:
    """A column that is put together from those of some of its rows."""

    def __init__(self, rows: int) -> None:
        self._places: dict[Hashable, int] = {}
        self._values: list[Any] = []
        self._codes = np.zeros(rows, dtype=np.intp)

    def put(self, rows: Codes, column: Column) -> None:
        """Take the column of some rows."""
        own = np.array([self._place(value) for value in column.values], dtype=np.intp)
        self._codes[rows] = own[column.codes]

    def _place(self, value: Any) -> int:
        key = tuple(value.items()) if isinstance(value, dict) else value
        place = self._places.setdefault(key, len(self._values))
        if place == len(self._values):
            self._values.append(value)
        return place

    def column(self) -> Column:
        """Return the column of all rows."""
        return Column(self._values, self._codes)


def _ready_on(block: Block) -> Column:
    days, codes = np.unique(SUMMED["piece.ready_on"](Sums(block), None).over, return_inverse=True)
    return Column([date.fromordinal(day) for day in days.tolist()], codes)


def _lots_of(block: Block, given: Mapping[str, Given]) -> Column:
    inverse, first = block.combined([(each.coded.codes, len(each.coded.numbers)) for each in given.values()])
    values = []
    for row in first:
        lots = {part: tuple(lot.code for lot in each.lots[each.coded.codes[row]]) for part, each in given.items()}
        values.append({part: codes for part, codes in lots.items() if codes})
    return Column(values, inverse)


def _at(column: Column, row: int) -> Any:
    return column.values[column.codes[row]]
