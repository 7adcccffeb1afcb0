"""Every rule's word and the price for a whole table of specs, lots included.

From the same rules as a check: a rule is judged once for each combination of what it reads that the
table holds (:mod:`rules.cells`), and its word is put to all rows that have it. What depends on many
slots at once, as a stack does on every leather, is summed up in whole numbers column by column
(:mod:`rules.sums`). The best assignment of lots is found for all rows side by side.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import product
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from catalog.model import Number
from rules.case import Case
from rules.cells import Frame, Member, facets_read
from rules.column_rules import judged_by
from rules.evaluate import OUTCOMES, Judges
from rules.facets import EMPTY, Facet
from rules.ir import SEVERITIES, Limit, Name, Rule, Severity, Value, names_in
from rules.lots import Choices, find_best, sets_of, singles_of
from rules.piece import Piece
from rules.preference import Lots
from rules.shape import SPLIT
from rules.sheet import Coded, Sheet, combined
from rules.shop import Shop
from rules.spec import Spec
from rules.sums import Figures, Sums, can_be_summed, figures
from rules.table import Codes, Table, tables_of
from rules.totals import totals_of
from rules.vocabulary import TERMS

Bits = NDArray[np.uint64]
Kept = TypeVar("Kept")
_WORD = 64
#: Blocks of more rows than this are summed up column by column; of fewer, each combination is judged.
_SUM_FROM = 64


@dataclass(frozen=True)
class Judged:
    """What rules say of each row, as bits over ``fired``, and its total in minor units (-1: no price)."""

    fired: tuple[tuple[str, Severity], ...]
    bits: Bits
    totals: NDArray[np.int64]

    def refused(self) -> NDArray[np.bool_]:
        """Return which rows are refused."""
        refuses = sum(1 << place for place, (_, severity) in enumerate(self.fired) if severity == "refuse")
        return np.asarray((self.bits & _split(refuses, self.bits.shape[1])).any(axis=1))

    def rules_of(self, row: int) -> set[tuple[str, Severity]]:
        """Return the rules that fired on a row, with their severities."""
        word = _int_of(self.bits[row])
        return {each for place, each in enumerate(self.fired) if word >> place & 1}


def judge_specs(shop: Shop, specs: Sequence[Spec], today: date) -> Judged:
    """Judge specs of any patterns, each in its place."""
    tables, loose = tables_of(specs, shop.indexes)
    judges = shop.judges(today)
    bits = np.zeros((len(specs), _words(judges)), dtype=np.uint64)
    totals = np.full(len(specs), -1, dtype=np.int64)
    for table, places in tables:
        judged = judge_table(shop, table, today)
        bits[places], totals[places] = judged.bits, judged.totals
    for place in loose:
        bits[place] = _split(_alone(shop, shop.piece(specs[place]), today), _words(judges))
    return Judged(judges.fired, bits, totals)


def judge_table(shop: Shop, table: Table, today: date) -> Judged:
    """Judge every row of a table."""
    judges = shop.judges(today)
    sheet = Sheet(shop, table, today)
    totals = totals_of(sheet)
    bits = np.zeros((table.rows, _words(judges)), dtype=np.uint64)
    for rows, frame in sheet.frames():
        bits[rows] = Block(sheet, frame, rows, totals[rows]).judged()
    return Judged(judges.fired, bits, totals)


def _words(judges: Judges) -> int:
    return -(-len(judges.fired) // _WORD) or 1


def _split(word: int, words: int) -> Bits:
    """Return an integer of any length as 64-bit words, the lowest first."""
    return np.array([word >> (_WORD * place) & (2**_WORD - 1) for place in range(words)], dtype=np.uint64)


def _int_of(words: Bits) -> int:
    return sum(int(word) << (_WORD * place) for place, word in enumerate(words))


def _alone(shop: Shop, piece: Piece, today: date) -> int:
    """Return the word of a single check."""
    judges = shop.judges(today)
    said = find_best(piece, judges, shop.warehouse, today).said
    return judges.union((each.rule, each.severity) for each in said)


class Block:
    """The rows of a table that have one frame."""

    def __init__(
        self, sheet: Sheet, frame: Frame, rows: Codes, totals: NDArray[np.int64], *, sets: bool = False
    ) -> None:  # fmt: skip
        """Take rows of a sheet with their totals; with ``sets``, parts may be cut from several lots."""
        self._totals = totals
        self.sheet = sheet
        self.frame = frame
        self.rows = rows
        self._sets = sets
        self._words = _words(sheet.judges)
        self._columns: dict[Hashable, Any] = {}
        self._choices = {part: self._lots_of(part) for part in frame.parts}
        self._kept: dict[tuple[int, tuple[int, ...]], Bits] = {}

    def facet(self, facet: Facet) -> Coded:
        """Return a facet over the block's rows."""
        return self.once(facet, lambda: self.sheet.facet(facet).of(self.rows))

    def combined(self, columns: Sequence[tuple[Codes, int]]) -> tuple[Codes, Codes]:
        """Return :func:`combined` over the block's rows."""
        return combined(columns, len(self.rows))

    def firsts(self, facet: Facet) -> list[Piece]:
        """Return a piece for each value of a facet."""
        return [self.sheet.piece(int(row)) for row in self.sheet.facet(facet).first]

    def case_at(self, row: int, places: Mapping[str, int]) -> Case:
        """Return a row's case with the lots at these places of its lists."""
        piece = self.sheet.piece(int(self.rows[row]))
        return Case(piece, self._lots_at(row, places), self.sheet.shop.warehouse, self.sheet.today)

    def panel(self, code: str, places: Mapping[str, int]) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """Return what a panel is worked at on each row, um (-1: not known), and whether it is split."""
        part = self.frame.pattern.panels[code].part
        own = {part: places[part]} if part in places else {}
        return self.once(("panel", code, *own.values()), lambda: self._panel(code, part, own))

    def _panel(self, code: str, part: str, own: Mapping[str, int]) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        facets: list[Facet] = [("leather", part), ("side", part), *([("lots", part)] if own else [])]
        columns = [self._column(facet, own) for facet in facets]
        inverse, first = self.combined([(each.codes, len(each.numbers)) for each in columns])
        uses = [self.case_at(int(row), own).shape.thickness(code) for row in first]
        used = np.array([-1 if use is None else use.used_um for use in uses], dtype=np.int64)
        split = np.array([use is not None and use.how in SPLIT for use in uses], dtype=bool)
        return used[inverse], split[inverse]

    def once(self, key: Hashable, work_out: Callable[[], Kept]) -> Kept:
        """Return a column worked out once for the block."""
        if key not in self._columns:
            self._columns[key] = work_out()
        found: Kept = self._columns[key]
        return found

    def by_part(self, part: str, reads: Sequence[str], value_of: Callable[[Case], Number | None]) -> Figures:
        """Return a figure that depends on a part's leather and on some facets of the piece."""
        columns = [self.facet(("leather", part)), *(self.facet((read, "")) for read in reads)]
        inverse, first = self.combined([(each.codes, len(each.numbers)) for each in columns])
        return figures([value_of(self.case_at(int(row), {})) for row in first], inverse)

    def edge_refused(self, part: str) -> NDArray[np.bool_]:
        """Return whether the leather of a part refuses the finish of the edge."""
        leather, edge = self.facet(("leather", part)), self.facet(("edge", ""))
        columns = [(leather.codes, len(leather.numbers)), (edge.codes, len(edge.numbers))]
        inverse, first = self.combined(columns)
        found = []
        for row in first:
            piece = self.sheet.piece(int(self.rows[row]))
            kind, finish = piece.parts[part].kind, None if piece.edge is None else piece.edge.finish
            found.append(kind is not None and finish is not None and kind.edge.get(finish) == "refuse")
        return np.array(found, dtype=bool)[inverse]

    def each_minor(self) -> NDArray[np.int64]:
        """Return the price of one piece, minor units; -1 where there is none."""
        quantity = self.facet(("quantity", ""))
        counts = np.array([piece.quantity for piece in self.firsts(("quantity", ""))], dtype=np.int64)
        return np.where(self._totals < 0, -1, self._totals // counts[quantity.codes])

    def tabled(self, name: str, member: Member, place: int, places: Mapping[str, int]) -> tuple[list[Value], Codes]:
        """Return the different values of a name on one instance of a member, and each row's."""
        if name.startswith("threshold."):
            return [self.sheet.judges.limit(name)], np.zeros(len(self.rows), dtype=np.intp)
        facets = facets_read(name, member.subject.name, member.group, self.frame.parts)
        own = {part: places[part] for read, part in facets if read == "lots"}
        key = "name", name, id(member), place, tuple(own.values())
        return self.once(key, lambda: self._tabled(name, member, place, facets, own))

    def _tabled(
        self, name: str, member: Member, place: int, facets: frozenset[Facet], own: Mapping[str, int]
    ) -> tuple[list[Value], Codes]:  # fmt: skip
        columns = [self._column(facet, own) for facet in sorted(facets)]
        inverse, first = self.combined([(each.codes, len(each.numbers)) for each in columns])
        read = self.sheet.judges.reader(name, subject=member.subject.name)
        values = [read(list(member.instances(self.case_at(int(row), own)))[place]) for row in first]
        return values, inverse

    def _lots_of(self, part: str) -> tuple[list[Choices], Codes]:
        """Return the different lists of lots that rows of the block may have for a part, and each row's."""
        columns = [self.facet(("leather", part)), self.facet(("named", ""))]
        if self._sets:
            columns += [self.facet((read, "")) for read in ("quantity", "sizes", "modifications")]
        inverse, first = self.combined([(each.codes, len(each.numbers)) for each in columns])
        pieces = [self.sheet.piece(int(self.rows[row])) for row in first]
        if not self._sets:
            return [singles_of(piece, self.frame, part) for piece in pieces], inverse
        cases = [Case(piece, {}, self.sheet.shop.warehouse, self.sheet.today) for piece in pieces]
        return [sets_of(case, self.frame, part) for case in cases], inverse

    def judged(self) -> Bits:
        """Return each row's word over its best assignment of lots."""
        free = np.zeros((len(self.rows), self._words), dtype=np.uint64)
        bound: list[tuple[Member, tuple[str, ...]]] = []
        for member in self.frame.members:
            lots = tuple(part for part in self.frame.parts if ("lots", part) in member.facets)
            if lots:
                bound.append((member, lots))
            else:
                free |= self._word(member, {}, None)
        if not self.frame.parts:
            return free
        return self._best(free, bound)

    def _best(self, free: Bits, bound: list[tuple[Member, tuple[str, ...]]]) -> Bits:
        parts = self.frame.parts
        sizes = {
            part: np.array([len(each) for each in self._choices[part][0]])[self._choices[part][1]] for part in parts
        }
        best = np.zeros_like(free)
        best_order = np.full(len(self.rows), np.iinfo(np.int64).max)
        least_order = best_order.copy()
        only_worse = self._only_worse()
        for chosen in product(*(range(int(sizes[part].max())) for part in parts)):
            valid = np.ones(len(self.rows), dtype=bool)
            for part, place in zip(parts, chosen, strict=True):
                valid &= sizes[part] > place
            if not valid.any():
                continue
            word = free.copy()
            for member, lots in bound:
                places = {part: chosen[parts.index(part)] for part in lots}
                word |= self._bound_word(member, places, sizes)
            order = self._order(word)
            better = valid & (order < best_order)
            best[better], best_order[better] = word[better], order[better]
            least = self._order(word & only_worse)
            np.minimum(least_order, least, out=least_order, where=valid)
        self._widen(best, best_order, least_order, sizes)
        return best

    def _bound_word(self, member: Member, places: Mapping[str, int], sizes: dict[str, NDArray[Any]]) -> Bits:
        key = id(member), tuple(places.values())
        found = self._kept.get(key)
        if found is None:
            valid = np.ones(len(self.rows), dtype=bool)
            for part, place in places.items():
                valid &= sizes[part] > place
            found = self._kept[key] = self._word(member, places, None if valid.all() else np.flatnonzero(valid))
        return found

    def _word(self, member: Member, places: Mapping[str, int], some: Codes | None) -> Bits:
        """Return a member's word on each row, with the lots at these places of the rows' lists."""
        result = np.zeros((len(self.rows), self._words), dtype=np.uint64)
        only_with = member.lister.only_with
        if only_with:
            coded = self.facet((only_with, ""))
            empty = self.sheet.memory.names.number(only_with, EMPTY[only_with])
            held = np.array([number != empty for number in coded.numbers])[coded.codes]
            if not held.any():
                return result
            some = np.flatnonzero(held) if some is None else some[held[some]]
        if can_be_summed(member) and len(self.rows) > _SUM_FROM:
            return self._summed(member, places)
        rows = np.arange(len(self.rows)) if some is None else some
        if not len(rows):
            return result
        columns = [self._column(facet, places).of(rows) for facet in sorted(member.facets)]
        inverse, first = combined([(each.codes, len(each.numbers)) for each in columns], len(rows))
        words = np.empty((len(first), self._words), dtype=np.uint64)
        for place, row in enumerate(first.tolist()):
            key = tuple(each.numbers[each.codes[row]] for each in columns)
            words[place] = _split(self._judge(member, key, int(rows[row]), places), self._words)
        result[rows] = words[inverse]
        return result

    def _summed(self, member: Member, places: Mapping[str, int]) -> Bits:
        """Return a member's word on each row, summed up; on rows without a lot at these places it means nothing."""
        result = np.zeros((len(self.rows), self._words), dtype=np.uint64)
        for rule, severity in judged_by(Sums(self, places), member):
            for place, each in enumerate(SEVERITIES):
                if each in rule.severities:
                    bit = _split(self.sheet.judges.union([(rule.id, each)]), self._words)
                    result |= np.where((severity == place)[:, None], bit, np.uint64(0))
        return result

    def _column(self, facet: Facet, places: Mapping[str, int]) -> Coded:
        if facet[0] != "lots":
            return self.facet(facet)
        lists, codes = self._choices[facet[1]]
        place = places[facet[1]]
        numbers = [each[place][1] if place < len(each) else -1 for each in lists]
        return Coded(numbers, codes, codes)

    def _judge(self, member: Member, key: tuple[int, ...], row: int, places: Mapping[str, int]) -> int:
        word = member.words.get(key)
        if word is None:
            word = self.sheet.judges.member_word(member, key, self.case_at(row, places))
        return word

    def _lots_at(self, row: int, places: Mapping[str, int]) -> dict[str, Lots]:
        found = {}
        for part, place in places.items():
            lists, codes = self._choices[part]
            own = lists[codes[row]]
            found[part] = own[min(place, len(own) - 1)][0]
        return found

    def _order(self, word: Bits) -> NDArray[np.int64]:
        """Return each row's order, as :meth:`rules.evaluate.Judges.order` has it."""
        counts = []
        for mask in self.sheet.judges.masks:
            own = _split(mask, self._words)
            counts.append(np.bitwise_count(word & own).sum(axis=1).astype(np.int64))
        refuse, sign_off, advise = counts
        outcome = np.where(refuse > 0, 2, np.where(sign_off > 0, 1, 0))
        order: NDArray[np.int64] = (((outcome << 16 | refuse) << 16) | sign_off) << 16 | advise
        return order

    def _only_worse(self) -> Bits:
        """Return the bits of rules that fire the more, the more lots a part is cut from."""
        judges = self.sheet.judges
        own = (rule for rules in judges.tables.values() for rule, _ in rules)
        worse = [rule.id for rule in own if more_lots_only_worsen(rule)]
        return _split(judges.union(each for each in judges.fired if each[0] in set(worse)), self._words)

    def _widen(
        self, best: Bits, order: NDArray[np.int64], least: NDArray[np.int64], sizes: dict[str, NDArray[Any]]
    ) -> None:  # fmt: skip
        """Where every single lot is refused, let sets of lots compete too.

        What a set of lots is refused for at least, one of its lots is refused for too by the rules that
        more lots only worsen: where that is no better than the best, no set wins.
        """
        several = np.zeros(len(self.rows), dtype=bool)
        for part in self.frame.parts:
            several |= sizes[part] > 1
        rows = np.flatnonzero(several & (order >> 48 == OUTCOMES.index("refused")) & (least < order))
        if len(rows) and not self._sets:
            best[rows] = Block(self.sheet, self.frame, self.rows[rows], self._totals[rows], sets=True).judged()


def more_lots_only_worsen(rule: Rule) -> bool:
    """Whether a rule that fires on a part cut from one lot fires on every set of lots with that one.

    So does what reads no lots, what is judged lot by lot, and a figure that only grows with more lots, held
    from above against a limit that knows none.
    """
    if rule.subject == "panel":
        return True
    reading = {name for name in names_in(rule) if not name.startswith("threshold.") and "lots" in TERMS[name].reads}
    from_above = {
        clause.verb.term.name
        for clause in rule.clauses
        if isinstance(clause.verb, Limit) and clause.verb.bound == "max" and isinstance(clause.verb.term, Name)
    }
    clauses_read = all(isinstance(clause.verb, Limit) and clause.verb.bound == "max" for clause in rule.clauses)
    return not reading or (clauses_read and reading <= from_above and all(TERMS[name].grows for name in reading))
