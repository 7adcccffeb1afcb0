"""The best assignment of lots for the rows of a table, found for many rows side by side.

Every row stands in a block once for each assignment, in the order of preference; the first of those with the least
order (:meth:`rules.evaluate.Judges.order`) is the best, as the search for one spec has it (:mod:`rules.lots`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rules.block import Bits, Block, Given, split
from rules.case import Case
from rules.cells import Frame
from rules.evaluate import OUTCOMES, Judges
from rules.ir import Limit, Name, Rule, lookups_in, names_in
from rules.lots import Choices, find_best, sets_of, singles_of
from rules.preference import Lots
from rules.sheet import Coded, Sheet
from rules.sums import sums_thickness
from rules.table import Codes
from rules.vocabulary import TERMS

#: Assignments looked at side by side.
MOST_LINES: Final = 1 << 17
#: A row with more is searched alone: that search leaves branches that cannot win.
MOST_OF_ROW: Final = 512
_REFUSED: Final = OUTCOMES.index("refused")


@dataclass(frozen=True)
class Assigned:
    """The word of each row over its best assignment, and the lots of each part in it."""

    bits: Bits
    given: Mapping[str, Given]


@dataclass(frozen=True)
class _Lists:
    """The lists of lots that a part may be cut from, best first, and which of them each row has.

    The choices of all lists stand in ``lots``, each different one once; ``flat[starts[list] + place]`` is where.
    """

    lots: tuple[Lots, ...]
    numbers: Codes
    flat: Codes
    starts: Codes
    sizes: Codes
    codes: Codes

    @classmethod
    def of(cls, lists: Sequence[Choices], codes: Codes) -> _Lists:
        """Return lists and each row's."""
        places: dict[int, int] = {}
        lots: list[Lots] = []
        flat = []
        for each in lists:
            for choice, number in each:
                if number not in places:
                    places[number] = len(places)
                    lots.append(choice)
                flat.append(places[number])
        sizes = np.array([len(each) for each in lists], dtype=np.intp)
        starts = np.concatenate([[0], np.cumsum(sizes)[:-1]]).astype(np.intp)
        return cls(
            tuple(lots), np.array(list(places), dtype=np.intp), np.array(flat, dtype=np.intp), starts, sizes, codes
        )

    def given(self, rows: Codes, places: Codes) -> Given:
        """Return the choices at these places of the lists of some rows."""
        codes = self.flat[self.starts[self.codes[rows]] + places]
        return Given(self.lots, Coded(self.numbers, codes, codes))


def assigned(sheet: Sheet, frame: Frame, rows: Codes, totals: NDArray[np.int64]) -> Assigned:
    """Return what the rules say of rows of one frame over the best assignment of lots.

    ``totals`` are those of every row of the sheet.
    """
    plain = Block(sheet, frame, rows, totals[rows], {})
    free = plain.judged(member for member in frame.members if not member.reads_lots)
    search = _Search(plain, free, totals[rows])
    search.run()
    return search.found()


class _Search:
    """The search for the rows of a block."""

    def __init__(self, block: Block, free: Bits, totals: NDArray[np.int64]) -> None:
        self._block = block
        self._free = free
        self._totals = totals
        self._sheet, self._frame = block.sheet, block.frame
        self._judges: Judges = block.sheet.judges
        bound = [member for member in block.frame.members if member.reads_lots]
        self._by_thickness = [member for member in bound if sums_thickness(member)]
        self._bound = [member for member in bound if not sums_thickness(member)]
        self._bits = free.copy()
        self._lots: dict[int, Lots] = {}
        count = len(block.rows)
        self._numbers = {part: np.zeros(count, dtype=np.intp) for part in block.frame.parts}
        self._wider = np.zeros(count, dtype=bool)
        self._worse = _only_worse(self._judges)

    def run(self) -> None:
        """Find the best assignment of each row."""
        rows = np.arange(len(self._block.rows))
        self._look(rows, {part: self._lists(part, rows, sets=False) for part in self._frame.parts}, narrow=True)
        rows = np.flatnonzero(self._wider)
        if len(rows):
            self._look(rows, {part: self._lists(part, rows, sets=True) for part in self._frame.parts}, narrow=False)

    def found(self) -> Assigned:
        """Return what was found."""
        given = {}
        for part, numbers in self._numbers.items():
            different, codes = np.unique(numbers, return_inverse=True)
            lots = [self._lots[number] for number in different.tolist()]
            given[part] = Given(lots, Coded(different, codes, codes))
        return Assigned(self._bits, given)

    def _lists(self, part: str, rows: Codes, *, sets: bool) -> _Lists:
        """Return the lists of lots of a part for some rows; with ``sets``, parts may be cut from several lots."""
        block = self._block.only(rows) if sets else self._block
        more = [(read, "") for read in ("quantity", "sizes", "modifications")] if sets else []

        def choices_at(row: int) -> Choices:
            piece = self._sheet.piece(int(block.rows[row]))
            if not sets:
                return singles_of(piece, self._frame, part)
            return sets_of(Case(piece, {}, self._sheet.shop.warehouse, self._sheet.today), self._frame, part)

        # The same parts of one leather in a frame, so whether a part is alone in its leather is known with it.
        what = "sets" if sets else "singles", part, self._frame.signature
        return _Lists.of(*block.known(what, [("leather", part), ("named", ""), *more], choices_at))

    def _look(self, rows: Codes, lists: Mapping[str, _Lists], *, narrow: bool) -> None:
        """Look at every assignment of some rows, so many at once as may be."""
        sizes = np.ones(len(rows), dtype=np.int64)
        for each in lists.values():
            sizes = np.minimum(sizes * each.sizes[each.codes], MOST_OF_ROW + 1)
        for row in rows[sizes > MOST_OF_ROW]:
            self._search_alone(int(row))
        few = np.flatnonzero(sizes <= MOST_OF_ROW)
        lines = np.cumsum(sizes[few])
        for own in np.split(few, np.searchsorted(lines, np.arange(MOST_LINES, lines[-1:].sum(), MOST_LINES))):
            if len(own):
                self._choose(rows, own, sizes[own], lists, narrow=narrow)

    def _search_alone(self, row: int) -> None:
        """Search the assignments of a row as those of a spec alone."""
        piece = self._sheet.piece(int(self._block.rows[row]))
        best = find_best(piece, self._judges, self._sheet.shop.warehouse, self._sheet.today)
        word = self._judges.union((said.rule, said.severity) for said in best.said)
        self._bits[row] = split(word, self._judges.words)
        for part in self._frame.parts:
            lots, number = self._frame.numbered(best.case.lots_for(part))
            self._numbers[part][row] = number
            self._lots[number] = lots

    def _choose(
        self, rows: Codes, own: Codes, sizes: NDArray[np.int64], lists: Mapping[str, _Lists], *, narrow: bool
    ) -> None:  # fmt: skip
        """Choose the best of all assignments of some rows: ``own`` are their places in the lists."""
        starts = np.cumsum(sizes) - sizes
        line_of = np.repeat(np.arange(len(own)), sizes)
        left = np.arange(len(line_of)) - starts[line_of]
        given = {}
        for part in reversed(self._frame.parts):
            size = lists[part].sizes[lists[part].codes[own]][line_of]
            given[part] = lists[part].given(own[line_of], left % size)
            left //= size
        at = rows[own][line_of]
        lines = Block(self._sheet, self._frame, self._block.rows[at], self._totals[at], given)
        word = lines.judged(self._bound) | self._free[at]
        alike, first = lines.alike(at)
        word |= lines.only(first).judged(self._by_thickness)[alike]
        order = self._order(word)
        best = np.minimum.reduceat(order, starts)
        hits = np.flatnonzero(order == best[line_of])
        first = hits[np.unique(line_of[hits], return_index=True)[1]]
        self._bits[rows[own]] = word[first]
        for part, each in given.items():
            self._numbers[part][rows[own]] = each.coded.numbers[each.coded.codes[first]]
            self._lots.update(zip(each.coded.numbers.tolist(), each.lots, strict=True))
        if narrow:
            self._widen(rows[own], word, best, line_of, first)

    def _widen(self, rows: Codes, word: Bits, best: NDArray[np.int64], line_of: Codes, first: Codes) -> None:
        """Note the rows of which every single lot is refused and for which sets of lots might do better.

        What a set of lots is refused for at least, one of its lots is refused for too by the rules that more lots
        only worsen. So a set wins only where these rules alone leave an assignment of single lots better than the
        best, or as good and preferred to it.
        """
        refused = best >> 48 == _REFUSED
        if not refused.any():
            return
        lines = np.flatnonzero(refused[line_of])
        least = self._order(word[lines] & self._worse)
        own = line_of[lines]
        hopeful = (least < best[own]) | ((least == best[own]) & (lines < first[own]))
        self._wider[rows[own[hopeful]]] = True

    def _order(self, word: Bits) -> NDArray[np.int64]:
        """Return each row's order, as :meth:`rules.evaluate.Judges.order` has it."""
        counts = []
        for mask in self._judges.masks:
            own = split(mask, self._judges.words)
            counts.append(np.bitwise_count(word & own).sum(axis=1, dtype=np.int64))
        refuse, sign_off, advise = counts
        outcome = np.where(refuse > 0, 2, np.where(sign_off > 0, 1, 0))
        order: NDArray[np.int64] = (((outcome << 16 | refuse) << 16) | sign_off) << 16 | advise
        return order


@lru_cache(maxsize=8)
def _only_worse(judges: Judges) -> Bits:
    """Return the bits of rules that fire the more, the more lots a part is cut from."""
    own = (rule for rules in judges.tables.values() for rule, _ in rules)
    worse = {rule.id for rule in own if more_lots_only_worsen(rule)}
    return split(judges.union(each for each in judges.fired if each[0] in worse), judges.words)


def more_lots_only_worsen(rule: Rule) -> bool:
    """Whether a rule that fires on a part cut from one lot fires on every set of lots with that one.

    So does what reads no lots, what is judged lot by lot, and a figure that only grows with more lots, held
    from above against a limit that knows none. What is looked up by a figure that knows lots may go either way.
    """
    if rule.subject == "panel":
        return True
    if any("lots" in TERMS[name].reads for table in lookups_in(rule) for name in table.inputs):
        return False
    reading = {name for name in names_in(rule) if not name.startswith("threshold.") and "lots" in TERMS[name].reads}
    from_above = {
        clause.verb.term.name
        for clause in rule.clauses
        if isinstance(clause.verb, Limit) and clause.verb.bound == "max" and isinstance(clause.verb.term, Name)
    }
    clauses_read = all(isinstance(clause.verb, Limit) and clause.verb.bound == "max" for clause in rule.clauses)
    return not reading or (clauses_read and reading <= from_above and all(TERMS[name].grows for name in reading))
