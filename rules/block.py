"""Rows of a table with the lots that their parts are given, and what rules say of them.

A row stands in a block once for each assignment of lots that is looked at: the lots of a part are then a facet like
any other, and a rule is judged once for each combination of what it reads that occurs.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from catalog.model import Number
from rules.case import Case
from rules.cells import Frame, Member, facets_read, scoped
from rules.column_rules import judged_by
from rules.evaluate import WORD
from rules.facets import EMPTY, Facet
from rules.ir import SEVERITIES, Value
from rules.piece import Piece
from rules.preference import Lots
from rules.shape import SPLIT
from rules.sheet import Coded, Sheet, combined
from rules.sums import Figures, Sums, can_be_summed, figures
from rules.table import Codes

Bits = NDArray[np.uint64]
Kept = TypeVar("Kept")
_ONES = 2**WORD - 1
#: Blocks of more rows than this are summed up column by column; of fewer, each combination is judged.
_SUM_FROM = 64


def split(word: int, words: int) -> Bits:
    """Return an integer of any length as 64-bit words, the lowest first."""
    return np.array([word >> (WORD * place) & _ONES for place in range(words)], dtype=np.uint64)


@dataclass(frozen=True, slots=True)
class Given:
    """The lots of a part over the rows of a block: the different ones, and each row's place among them."""

    lots: Sequence[Lots]
    coded: Coded

    def of(self, rows: Codes) -> Given:
        """Return the lots over some of the rows."""
        return Given(self.lots, self.coded.of(rows))


class Block:
    """The rows of a table that have one frame, each with its lots. The same row may stand there several times."""

    def __init__(
        self, sheet: Sheet, frame: Frame, rows: Codes, totals: NDArray[np.int64], given: Mapping[str, Given]
    ) -> None:  # fmt: skip
        """Take rows of a sheet with their totals, in minor units, and the lots of the parts that have any."""
        self.sheet = sheet
        self.frame = frame
        self.rows = rows
        self._totals = totals
        self._given = given
        self._words = sheet.judges.words
        self._columns: dict[Hashable, Any] = {}

    def facet(self, facet: Facet) -> Coded:
        """Return a facet over the block's rows."""
        if facet[0] == "lots":
            return self._given[facet[1]].coded
        return self.once(facet, lambda: self.sheet.facet(facet).of(self.rows))

    def combined(self, columns: Sequence[tuple[Codes, int]]) -> tuple[Codes, Codes]:
        """Return :func:`combined` over the block's rows."""
        return combined(columns, len(self.rows))

    def occurring(self, facets: Iterable[Facet]) -> tuple[Codes, Codes]:
        """Return each row's place among the combinations of facets that occur, and a row that has each."""
        columns = {facet: self.facet(facet) for facet in facets}
        key = frozenset(facet for facet, each in columns.items() if len(each.numbers) > 1)
        return self.once(
            ("occurring", key),
            lambda: self.combined([(columns[facet].codes, len(columns[facet].numbers)) for facet in sorted(key)]),
        )

    def numbers(self, facets: Iterable[Facet], rows: Codes) -> list[tuple[int, ...]]:
        """Return the numbers of facets on some rows."""
        columns = []
        for facet in facets:
            coded = self.facet(facet)
            columns.append(coded.numbers[coded.codes[rows]].tolist())
        return list(zip(*columns, strict=True)) if columns else [()] * len(rows)

    def known(
        self, what: Hashable, facets: Sequence[Facet], value_of: Callable[[int], Kept]
    ) -> tuple[list[Kept], Codes]:
        """Return the values of something that follows from facets, and each row's place among them.

        ``what`` tells it apart from all else of the pattern; ``value_of`` gives its value on a row.
        """
        inverse, first = self.occurring(facets)
        rows, keys = first.tolist(), self.numbers(facets, first)
        name = self.frame.pattern.code, what, *facets
        return self.sheet.kept.of(name, keys, lambda place: value_of(rows[place])), inverse

    def firsts(self, facet: Facet) -> list[Piece]:
        """Return a piece for each value of a facet."""
        return [self.sheet.piece(int(row)) for row in self.sheet.facet(facet).first]

    def case_at(self, row: int, facets: Iterable[Facet]) -> Case:
        """Return a row's case with those of its lots that are among some facets."""
        own = {part: self._given[part] for read, part in facets if read == "lots"}
        lots = {part: given.lots[given.coded.codes[row]] for part, given in own.items()}
        return Case(self.sheet.piece(int(self.rows[row])), lots, self.sheet.shop.warehouse, self.sheet.today)

    def only(self, rows: Codes) -> Block:
        """Return a block of some of the rows."""
        given = {part: each.of(rows) for part, each in self._given.items()}
        return Block(self.sheet, self.frame, self.rows[rows], self._totals[rows], given)

    def panel(self, code: str) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """Return what a panel is worked at on each row, um (-1: not known), and whether it is split."""
        return self.once(("panel", code), lambda: self._panel(code))

    def _panel(self, code: str) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        part = self.frame.pattern.panels[code].part
        lots: list[Facet] = [("lots", part)] if part in self._given else []
        facets = [("leather", part), ("side", part), *lots]
        uses, inverse = self.known(("panel", code), facets, lambda row: self.case_at(row, lots).shape.thickness(code))
        used = np.array([-1 if use is None else use.used_um for use in uses], dtype=np.int64)
        cut = np.array([use is not None and use.how in SPLIT for use in uses], dtype=bool)
        return used[inverse], cut[inverse]

    def alike(self, row_of: Codes) -> tuple[Codes, Codes]:
        """Tell apart the rows by the row of the table that each is of and by what all panels are worked at.

        Lots of one leather often come out alike once they are split to a panel's thickness.
        """
        columns = [(row_of, int(row_of.max(initial=0)) + 1)]
        for part, given in self._given.items():
            facets = [("leather", part), ("side", part), ("lots", part)]
            if len(given.coded.numbers) > 1:
                worked, inverse = self.known(("worked", part), facets, lambda row: self._worked(row, part))  # noqa: B023
                places: dict[Any, int] = {}
                codes = np.array([places.setdefault(each, len(places)) for each in worked], dtype=np.intp)
                columns.append((codes[inverse], len(places)))
        return self.combined(columns)

    def _worked(self, row: int, part: str) -> tuple[tuple[int, bool] | None, ...]:
        shape = self.case_at(row, [("lots", part)]).shape
        panels = [code for code, panel in self.frame.pattern.panels.items() if panel.part == part]
        uses = [shape.thickness(code) for code in panels]
        return tuple(None if use is None else (use.used_um, use.how in SPLIT) for use in uses)

    def once(self, key: Hashable, work_out: Callable[[], Kept]) -> Kept:
        """Return a column worked out once for the block."""
        if key not in self._columns:
            self._columns[key] = work_out()
        found: Kept = self._columns[key]
        return found

    def by_part(self, what: str, part: str, reads: Sequence[str], value_of: Callable[[Case], Number | None]) -> Figures:
        """Return a figure, named, that depends on a part's leather and on some facets of the piece."""
        facets = [("leather", part), *((read, "") for read in reads)]
        return figures(*self.known((what, part), facets, lambda row: value_of(self.case_at(row, ()))))

    def edge_refused(self, part: str) -> NDArray[np.bool_]:
        """Return whether the leather of a part refuses the finish of the edge."""
        refused, inverse = self.known(
            ("edge refused", part), [("leather", part), ("edge", "")], lambda row: self._edge_refused(row, part)
        )
        return np.array(refused, dtype=bool)[inverse]

    def _edge_refused(self, row: int, part: str) -> bool:
        piece = self.sheet.piece(int(self.rows[row]))
        kind, edge = piece.parts[part].kind, piece.edge
        return kind is not None and edge is not None and kind.edge.get(edge.finish) == "refuse"

    def each_minor(self) -> NDArray[np.int64]:
        """Return the price of one piece, minor units; -1 where there is none."""
        quantity = self.facet(("quantity", ""))
        counts = np.array([piece.quantity for piece in self.firsts(("quantity", ""))], dtype=np.int64)
        return np.where(self._totals < 0, -1, self._totals // counts[quantity.codes])

    def tabled(self, name: str, member: Member, place: int) -> tuple[list[Value], Codes]:
        """Return the different values of a name on one instance of a member, and each row's."""
        if name.startswith("threshold."):
            return [self.sheet.judges.limit(name)], np.zeros(len(self.rows), dtype=np.intp)
        return self.once(("name", name, id(member), place), lambda: self._tabled(name, member, place))

    def _tabled(self, name: str, member: Member, place: int) -> tuple[list[Value], Codes]:
        facets = sorted(facets_read(name, member.subject.name, member.group, self.frame.parts))
        read = self.sheet.judges.reader(name, subject=member.subject.name)

        def value_of(row: int) -> Value:
            return read(list(member.instances(self.case_at(row, facets)))[place])

        return self.known((name, member.lister.instances, member.group, place), facets, value_of)

    def judged(self, members: Iterable[Member]) -> Bits:
        """Return what the rules of some members say of each row."""
        result = np.zeros((len(self.rows), self._words), dtype=np.uint64)
        for member in members:
            word = self.word(member)
            if word is not None:
                result |= word
        return result

    def word(self, member: Member) -> Bits | None:
        """Return what the rules of a member say of each row, None where they say nothing of any."""
        if member.lister.only_with:
            key = "held", member.subject.name, id(member.lister), member.group
            rows, block = self.once(key, lambda: self._held(member))
            if len(rows) < len(self.rows):
                return self._spread(member, rows, block)
        if can_be_summed(member) and len(self.rows) > _SUM_FROM:
            return self._summed(member)
        return self._by_combination(member)

    def _by_combination(self, member: Member) -> Bits | None:
        facets = sorted(member.facets)
        inverse, first = self.occurring(facets)
        keys = self.numbers(facets, first)
        found = list(map(member.words.get, keys))
        if None in found:
            found = [self._judge(member, key, row) for key, row in zip(keys, first, strict=True)]
        return self._spelled(found)[inverse] if any(found) else None

    def _spelled(self, words: Sequence[int | None]) -> Bits:
        """Return integers of any length as 64-bit words, the lowest first."""
        columns = [[(word or 0) >> (WORD * place) & _ONES for word in words] for place in range(self._words)]
        return np.array(columns, dtype=np.uint64).T

    def _held(self, member: Member) -> tuple[Codes, Block]:
        """Return the rows on which a member has instances, as far as its list tells, and a block of them."""
        lister, group = member.lister, member.group
        coded = self.facet((lister.only_with, ""))
        empty = self.sheet.memory.names.number(lister.only_with, EMPTY[lister.only_with])
        rows = np.flatnonzero((coded.numbers != empty)[coded.codes])
        block = self.only(rows)
        if group is None or not len(rows):
            return rows, block
        facets = sorted(facet for read in lister.reads for facet in scoped(read, group, self.frame.parts))

        def is_there(row: int) -> bool:
            return any(True for _ in member.instances(block.case_at(row, facets)))

        there, inverse = block.known(("there", member.subject.name, lister.instances, group), facets, is_there)
        rows = rows[np.array(there, dtype=bool)[inverse]]
        return rows, self.only(rows)

    def _spread(self, member: Member, rows: Codes, block: Block) -> Bits | None:
        """Return the word of a member that says something of some rows only."""
        word = block._by_combination(member) if len(rows) else None
        if word is None:
            return None
        result = np.zeros((len(self.rows), self._words), dtype=np.uint64)
        result[rows] = word
        return result

    def _judge(self, member: Member, key: tuple[int, ...], row: int) -> int:
        word = member.words.get(key)
        return (
            self.sheet.judges.member_word(member, key, self.case_at(int(row), member.facets)) if word is None else word
        )

    def _summed(self, member: Member) -> Bits:
        """Return what the rules of a member say of each row, summed up."""
        result = np.zeros((len(self.rows), self._words), dtype=np.uint64)
        for rule, severity in judged_by(Sums(self), member):
            for place, each in enumerate(SEVERITIES):
                if each in rule.severities:
                    fired = severity == place
                    if fired.any():
                        result[fired] |= split(self.sheet.judges.union([(rule.id, each)]), self._words)
        return result
