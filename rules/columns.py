"""Every rule's word and the price for a whole table of specs, lots included.

From the same rules as a check: a rule is judged once for each combination of what it reads that the
table holds (:mod:`rules.cells`), and its word is put to all rows that have it. What depends on many
slots at once, as a stack does on every leather, is summed up in whole numbers column by column
(:mod:`rules.sums`). The best assignment of lots is found for all rows side by side (:mod:`rules.assigning`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from rules.assigning import assigned
from rules.block import Bits, split
from rules.evaluate import WORD, fired_in
from rules.ir import Severity
from rules.lots import find_best
from rules.piece import Piece
from rules.sheet import Sheet
from rules.shop import Shop
from rules.spec import Spec
from rules.table import Table, tables_of
from rules.totals import totals_of


@dataclass(frozen=True)
class Judged:
    """What rules say of each row, as bits over ``fired``, and its total in minor units (-1: no price)."""

    fired: tuple[tuple[str, Severity], ...]
    bits: Bits
    totals: NDArray[np.int64]

    def refused(self) -> NDArray[np.bool_]:
        """Return which rows are refused."""
        refuses = sum(1 << place for place, (_, severity) in enumerate(self.fired) if severity == "refuse")
        return np.asarray((self.bits & split(refuses, self.bits.shape[1])).any(axis=1))

    def rules_of(self, row: int) -> set[tuple[str, Severity]]:
        """Return the rules that fired on a row, with their severities."""
        return fired_in(self.fired, int_of(self.bits[row]))


def judge_specs(shop: Shop, specs: Sequence[Spec], today: date) -> Judged:
    """Judge specs of any patterns, each in its place."""
    tables, loose = tables_of(specs, shop.indexes)
    judges = shop.judges(today)
    bits = np.zeros((len(specs), judges.words), dtype=np.uint64)
    totals = np.full(len(specs), -1, dtype=np.int64)
    for table, places in tables:
        judged = judge_table(shop, table, today)
        bits[places], totals[places] = judged.bits, judged.totals
    for place in loose:
        bits[place] = split(_alone(shop, shop.piece(specs[place]), today), judges.words)
    return Judged(judges.fired, bits, totals)


def judge_table(shop: Shop, table: Table, today: date) -> Judged:
    """Judge every row of a table."""
    judges = shop.judges(today)
    sheet = Sheet(shop, table, today)
    totals = totals_of(sheet)
    bits = np.zeros((table.rows, judges.words), dtype=np.uint64)
    for rows, frame in sheet.frames():
        bits[rows] = assigned(sheet, frame, rows, totals).bits
    return Judged(judges.fired, bits, totals)


def int_of(words: Bits) -> int:
    """Return 64-bit words, the lowest first, as one integer."""
    return sum(int(word) << (WORD * place) for place, word in enumerate(words))


def _alone(shop: Shop, piece: Piece, today: date) -> int:
    """Return the word of a single check."""
    judges = shop.judges(today)
    said = find_best(piece, judges, shop.warehouse, today).said
    return judges.union((each.rule, each.severity) for each in said)
