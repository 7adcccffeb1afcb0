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

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import combinations

from catalog.model import Lot
from rules.case import Case
from rules.evaluate import Found, Judges, order_of, rank_of
from rules.piece import OUTSIDE, Piece
from rules.stock import Warehouse

Choice = tuple[Lot, ...]
Order = tuple[int, int, int, int]
_REFUSED = 2


@dataclass(frozen=True, slots=True)
class Best:
    """The best assignment's case, its findings in no order yet, and the steps that the search took."""

    case: Case
    found: tuple[Found, ...]
    work: int


class Search:
    """One search over the assignments of a piece."""

    def __init__(self, piece: Piece, judges: Judges, warehouse: Warehouse, today: date) -> None:
        self._piece = piece
        self._warehouse = warehouse
        self._parts = tuple(piece.parts)
        self._case = Case(piece, {}, warehouse, today)
        self._plan = judges.plan(self._case)
        self._best: tuple[dict[str, Choice], list[Found]] = ({}, [])
        self._best_order: Order | None = None
        self._ceiling: Order | None = None
        self._work = 0

    def run(self) -> Best:
        """Return the best assignment."""
        base = self._plan.base()
        if not self._parts:
            return Best(self._case, tuple(base), 1)
        singles = {part: self._singles(part) for part in self._parts}
        self._descend(0, base, singles)
        if self._best_order is None or self._best_order[0] == _REFUSED:
            self._widen(base, singles)
        lots, found = self._best
        for part in self._parts:
            self._case.give(part, lots[part])
        return Best(self._case, tuple(found), self._work)

    def _widen(self, base: list[Found], singles: Mapping[str, list[Choice]]) -> None:
        """Search again among sets of lots; single lots compete too, so the best is found anew."""
        sets = {part: self._sets(part, singles[part]) for part in self._parts}
        if all(len(sets[part]) == len(singles[part]) for part in self._parts):
            return
        self._ceiling, self._best_order = self._best_order, None
        self._descend(0, base, sets)

    def _forced(self, part: str) -> Choice | None:
        named = self._piece.spec.lots.get(part)
        own = {lot.code: lot for lot in self._stock(part)}
        if not named:
            return None
        codes = dict.fromkeys(self._piece.indexes.lots.code(code) for code in named)
        found = tuple(own[code] for code in codes if code in own)
        return found or None

    def _stock(self, part: str) -> tuple[Lot, ...]:
        leather = self._piece.parts[part].leather
        return () if leather is None else self._piece.catalog.lots_of(leather.code)

    def _singles(self, part: str) -> list[Choice]:
        """Return the choices of one lot for a part, best first; () where there is none."""
        forced = self._forced(part)
        if forced is not None:
            return [forced]
        choices = [(lot,) for lot in self._stock(part)]
        return sorted(choices, key=lambda choice: preference(self._piece, part, choice)) or [()]

    def _sets(self, part: str, singles: Sequence[Choice]) -> list[Choice]:
        """Return the sets of lots worth trying for a part, best first.

        A set that does not hold the panels, or of which a smaller set holds them, has every
        finding of that smaller set and more: where no other part is cut from the leather, only
        the smallest sets that hold the panels can win (a measure mark apart, which more lots
        may bring). A set never has more lots than the part has panels.
        """
        if self._forced(part) is not None or singles == [()]:
            return list(singles)
        lots = sorted((choice[0] for choice in singles), key=lambda lot: lot.code)
        panels = sum(panel.count for panel in self._case.laid(part))
        chosen: list[Choice] = list(singles)
        holding: list[frozenset[str]] = []
        for size in range(1, min(len(lots), panels) + 1):
            for subset in combinations(lots, size):
                codes = frozenset(lot.code for lot in subset)
                if any(small <= codes for small in holding):
                    continue
                if self._alone(part):
                    if not self._holds(part, subset):
                        continue
                    holding.append(codes)
                if size > 1:
                    chosen.append(subset)
        return sorted(chosen, key=lambda choice: preference(self._piece, part, choice))

    def _alone(self, part: str) -> bool:
        leather = self._piece.parts[part].leather
        marks = part == OUTSIDE and "measure_mark" in self._piece.modifications
        fellows = [other for other in self._piece.parts.values() if other.leather == leather]
        return len(fellows) == 1 and not marks

    def _holds(self, part: str, choice: Choice) -> bool:
        leather = self._piece.parts[part].leather
        alone = Case(self._piece, {part: choice}, self._warehouse, self._case.today)
        return leather is not None and alone.lies(leather.code)

    def _descend(self, depth: int, found: list[Found], choices: Mapping[str, list[Choice]]) -> None:
        order = order_of(rank_of(found))
        if self._best_order is not None and order >= self._best_order:
            return
        if self._ceiling is not None and order > self._ceiling:
            return
        if depth == len(self._parts):
            self._best, self._best_order = (dict(self._case.lots), found), order
            return
        part = self._parts[depth]
        for choice in choices[part]:
            if self._best_order is not None and order >= self._best_order:
                break  # what the parts before it say is no better already
            self._case.give(part, choice)
            self._work += 1
            self._descend(depth + 1, found + self._plan.given(part), choices)
        self._case.give(part, None)


def preference(piece: Piece, part: str, choice: Choice) -> tuple[object, ...]:
    """Return the order of preference among a part's lots, smallest first."""
    return (
        len(choice),
        max((_to_take_off(piece, part, lot) for lot in choice), default=0),
        any(lot.form != "remnant" for lot in choice),
        part == OUTSIDE and any(lot.grade != "A" for lot in choice),
        sum(lot.free_um2 for lot in choice),
        tuple(lot.code for lot in choice),
    )


def _to_take_off(piece: Piece, part: str, lot: Lot) -> int:
    most = [panel.thickness.max_um for panel in piece.panels.values() if panel.part == part]
    return max((max(0, lot.thickness.max_um - each) for each in most), default=0)


def find_best(piece: Piece, judges: Judges, warehouse: Warehouse, today: date) -> Best:
    """Return the best assignment of lots to the parts of a piece, with its findings."""
    return Search(piece, judges, warehouse, today).run()
