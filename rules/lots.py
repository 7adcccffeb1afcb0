"""The best assignment of lots to the parts of a piece.

Best = lowest outcome; fewest different rules among refuse, then sign_off, then advise; then,
part by part in the pattern's order: fewer lots, least thickness to take off, remnant before
whole, grade A before others for the outside, least free area, lot codes. Parts take several
lots only where every assignment of single lots is refused.

The search goes part by part, each part's lots in that order. Giving a part its lots only ever
adds findings, so a branch that is no better than the best so far is left: the first best found
is the best in the order of preference too. Exact: what is left out could not win.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import combinations

from rules.case import Case
from rules.cells import Bits, Cell, Frame
from rules.evaluate import Judges
from rules.findings import Said
from rules.piece import OUTSIDE, Piece
from rules.preference import Lots, preferred
from rules.shape import SPLIT
from rules.stock import TooLongError, Warehouse

Choices = list[tuple[Lots, int]]
"""Lots for a part with the number of their facet, best first."""


@dataclass(frozen=True, slots=True)
class Best:
    """The best assignment's case, what rules said of it in no order yet, and the steps that the search took."""

    case: Case
    said: tuple[Said, ...]
    work: int


class Search:
    """One search over the assignments of a piece."""

    def __init__(self, piece: Piece, judges: Judges, frame: Frame, case: Case, most_work: float) -> None:
        self._piece = piece
        self._judges = judges
        self._frame = frame
        self._case = case
        self._parts = frame.parts
        self._ids = frame.ids(piece)
        self._given: dict[str, Lots] = {}
        self._best: tuple[dict[str, Lots], list[int]] = ({}, [])
        self._best_order: int | None = None
        self._ceiling: int | None = None
        self._work = 0
        self._most_work = most_work

    def run(self) -> Best:
        """Return the best assignment."""
        base, free = self._fired(self._frame.free)
        singles = [singles_of(self._piece, self._frame, part) for part in self._parts]
        self._descend(0, base, singles)
        if self._refused:
            self._widen(base, singles)
        self._given, self._ids = self._best
        self._case.put(self._given)
        due = [hit for cells in self._frame.due for hit in self._fired(cells)[1]]
        said = [each for cell, key in free + due for each in cell.said(key, self._ids, self._case)]
        return Best(self._case, tuple(said), self._work)

    def standing(self) -> Iterator[tuple[dict[str, Lots], str]]:
        """Give every assignment that is not refused with its outcome, the preferred first; sets of lots compete.

        Raises:
            TooLongError: More steps than allowed, after what was found by then has been given.
        """
        base = self._union(self._frame.free)
        sets = [sets_of(self._case, self._frame, part) for part in self._parts]
        yield from self._stand(0, base, sets)

    def _stand(self, depth: int, word: Bits, choices: Sequence[Choices]) -> Iterator[tuple[dict[str, Lots], str]]:
        outcome = self._judges.outcome(self._judges.order(word))
        if outcome == "refused":
            return
        if depth == len(self._parts):
            yield dict(self._given), outcome
            return
        part, at, due = self._parts[depth], self._frame.lots_at[depth], self._frame.due[depth]
        for lots, number in choices[depth]:
            self._given[part], self._ids[at] = lots, number
            self._work += 1
            if self._work > self._most_work:
                raise TooLongError
            yield from self._stand(depth + 1, word | self._union(due), choices)
        self._given.pop(part, None)

    def _judge(self, cell: Cell, key: Hashable) -> Bits:
        self._case.put(self._given)
        return self._judges.word(cell, key, self._case)

    def _fired(self, cells: Sequence[Cell]) -> tuple[Bits, list[tuple[Cell, Hashable]]]:
        """Return the union of the cells' words, and those in which something fired with their keys."""
        union, ids, fired = 0, self._ids, []
        for cell in cells:
            key = cell.key(ids)
            word = cell.kept(key)
            if word is None:
                word = self._judge(cell, key)
            if word:
                union |= word
                fired.append((cell, key))
        return union, fired

    def _union(self, cells: Sequence[Cell]) -> Bits:
        """Return the union of the cells' words."""
        union, ids = 0, self._ids
        for cell in cells:
            key = cell.key(ids)
            word = cell.kept(key)
            union |= self._judge(cell, key) if word is None else word
        return union

    @property
    def _refused(self) -> bool:
        """Whether the best so far is refused; an order begins with the outcome."""
        return self._best_order is None or self._judges.outcome(self._best_order) == "refused"

    def _widen(self, base: Bits, singles: Sequence[Choices]) -> None:
        """Search again among sets of lots; single lots compete too, so the best is found anew."""
        sets = [sets_of(self._case, self._frame, part) for part in self._parts]
        if all(len(some) == len(own) for some, own in zip(sets, singles, strict=True)):
            return
        self._ceiling, self._best_order = self._best_order, None
        self._descend(0, base, sets)

    def _descend(self, depth: int, word: Bits, choices: Sequence[Choices]) -> None:
        order = self._judges.order(word)
        if self._best_order is not None and order >= self._best_order:
            return
        if self._ceiling is not None and order > self._ceiling:
            return
        if depth == len(self._parts):
            self._best, self._best_order = (dict(self._given), list(self._ids)), order
            return
        part, at, due = self._parts[depth], self._frame.lots_at[depth], self._frame.due[depth]
        for lots, number in choices[depth]:
            if self._best_order is not None and order >= self._best_order:
                break  # what the parts before it say is no better already
            self._given[part], self._ids[at] = lots, number
            self._work += 1
            if self._work > self._most_work:
                raise TooLongError
            self._descend(depth + 1, word | self._union(due), choices)
        self._given.pop(part, None)


def named_lots(piece: Piece, part: str) -> Lots:
    """Return the lots that a spec names for a part, those of its leather; () where it names none."""
    named, leather = piece.spec.lots.get(part), piece.parts[part].leather
    if not named or leather is None:
        return ()
    own = {lot.code: lot for lot in piece.catalog.lots_of(leather.code)}
    codes = dict.fromkeys(piece.indexes.lots.code(code) for code in named)
    return tuple(own[code] for code in codes if code in own)


def singles_of(piece: Piece, frame: Frame, part: str) -> Choices:
    """Return the choices of one lot for a part, best first; () where there is none. Lots named are one choice."""
    named = named_lots(piece, part)
    return [frame.numbered(named)] if named else frame.singles(piece, piece.parts[part])


def find_best(piece: Piece, judges: Judges, warehouse: Warehouse, today: date, most_work: float = math.inf) -> Best:
    """Return the best assignment of lots to the parts of a piece, with its findings.

    Raises:
        TooLongError: More than ``most_work`` steps, or a layout that a hurried warehouse leaves alone.
    """
    case = Case(piece, {}, warehouse, today)
    frame = judges.frame(piece, warehouse)
    if frame is None:
        return Best(case, tuple(judges.everything(case)), 1)
    return Search(piece, judges, frame, case, most_work).run()


def standing(
    piece: Piece, judges: Judges, warehouse: Warehouse, today: date, most_work: float = math.inf
) -> Iterator[tuple[dict[str, Lots], str]]:
    """Give the assignments of lots under which a piece is not refused, each with its outcome, the preferred first.

    Those of single lots and of sets as :func:`sets_of` lists them; none where the pattern is unknown.

    Raises:
        TooLongError: More than ``most_work`` steps, after what was found by then has been given.
    """
    case = Case(piece, {}, warehouse, today)
    frame = judges.frame(piece, warehouse)
    if frame is not None:
        yield from Search(piece, judges, frame, case, most_work).standing()


def sets_of(case: Case, frame: Frame, part: str) -> Choices:
    """Return the sets of lots worth trying for a part, best first.

    A set that does not hold the panels, or of which a smaller set holds them worked as thick, has every finding of
    that smaller set and more: where no other part is cut from the leather, only the others can win (a measure mark
    apart, which more lots may bring). A thicker lot beside may be just what a rule asks for. A set never has more lots
    than the part has panels.
    """
    piece = case.piece
    singles = singles_of(piece, frame, part)
    if named_lots(piece, part) or singles[0][0] == ():
        return singles
    lots = sorted((choice[0] for choice, _ in singles), key=lambda lot: lot.code)
    panels = sum(panel.count for panel in case.laid(part))
    chosen: list[Lots] = [choice for choice, _ in singles]
    holding: list[tuple[frozenset[str], Worked]] = []
    for size in range(1, min(len(lots), panels) + 1):
        for subset in combinations(lots, size):
            if _is_alone(piece, part):
                codes, worked = frozenset(lot.code for lot in subset), _worked(case, part, subset)
                if any(small <= codes and worked == own for small, own in holding) or not _holds(case, part, subset):
                    continue
                holding.append((codes, worked))
            if size > 1:
                chosen.append(subset)
    return [frame.numbered(each) for each in preferred(piece, part, chosen)]


def _is_alone(piece: Piece, part: str) -> bool:
    """Whether no other part is cut from a part's leather, and no mark of the hide is asked for there."""
    leather = piece.parts[part].leather
    marks = part == OUTSIDE and "measure_mark" in piece.modifications
    fellows = [other for other in piece.parts.values() if other.leather == leather]
    return len(fellows) == 1 and not marks


Worked = tuple[tuple[int, bool], ...]
"""What each panel of a part is worked at, um, and whether it is split."""


def _worked(case: Case, part: str, choice: Lots) -> Worked:
    shape = Case(case.piece, {part: choice}, case.warehouse, case.today).shape
    uses = (shape.thickness(panel.code) for panel in case.panels if panel.part == part)
    return tuple((use.used_um, use.how in SPLIT) for use in uses if use is not None)


def _holds(case: Case, part: str, choice: Lots) -> bool:
    leather = case.piece.parts[part].leather
    alone = Case(case.piece, {part: choice}, case.warehouse, case.today)
    return leather is not None and alone.holding(leather.code).share is not None
