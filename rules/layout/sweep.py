"""Exact search in one rectangle: a sweep along, then the places across.

Push every panel back along until it meets the rim or another panel. Then each starts at 0 or
where another ends. So the sweep visits the ends in ascending order and at each chooses which
panels start there; what matters is only that the panels that cross one line across are not
longer together than the rectangle is across. Which of them lies beside which is left open, so
one choice stands for all their orders; that is what makes this search small. Only when all
starts are fixed does :mod:`rules.layout.settle` look for the places across. Both halves branch
over complete case distinctions, so a search that ends without a layout proves there is none.

This is the two-step scheme of Clautiaux, Carlier, Moukrim 2007 ("A new exact method for the
two-dimensional orthogonal packing problem", European Journal of Operational Research 183);
the corner points of Martello, Pisinger, Vigo 2000 ("The three-dimensional bin packing
problem", Operations Research 48) are complete in two dimensions as well, but visited 10 to
50 times as many states here.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from rules.layout.budget import Budget
from rules.layout.panels import Kind, Sheet, Spot
from rules.layout.remaining import Pool, room_for
from rules.layout.settle import Settling, Strip

# So many starts may fail across before starts half chosen are looked at across, too: that
# look costs more than it prunes as long as nearly every choice of starts can be settled.
_UNSETTLED_BEFORE_LOOKING = 8

# States remembered per search, some hundred bytes each. Forgetting costs time, not truth.
_KEPT_AT_MOST = 500_000

_Active = tuple[tuple[int, int], ...]  # (end along, size across), sorted


class _Start(NamedTuple):
    at: int
    along: int
    across: int
    kind: int
    turned: bool


class Sweep:
    """One search; kinds and sheet are enlarged by the gap, micrometers."""

    def __init__(self, kinds: Sequence[Kind], sheet: Sheet, budget: Budget) -> None:
        """Prepare a search for all copies of all kinds in the sheet."""
        self._pool = Pool(kinds, sheet)
        self._sheet = sheet
        self._budget = budget
        self._starts: list[_Start] = []
        self._across: list[int] | None = None
        # States that no choice of starts completes, whatever lies where across.
        self._dead: set[tuple[int, _Active, int]] = set()
        self._looked: dict[tuple[_Start, ...], bool] = {}
        self._unsettled = 0

    def run(self) -> list[Spot] | None:
        """Return the places of all copies, or None if it is proven that there are none.

        Raises:
            BudgetSpentError: Nothing is proven.
        """
        full = self._pool.full
        spare = self._sheet.along * self._sheet.across - self._pool.at(full).area
        if spare >= 0 and self._room_left(0, (), self._sheet.across, full):
            self._choose(0, (), self._sheet.across, full, spare, 0)
        if self._across is None:
            return None
        return [
            Spot(start.kind, 0, start.at, across, start.turned)
            for start, across in zip(self._starts, self._across, strict=True)
        ]

    def _choose(self, at: int, active: _Active, free: int, code: int, spare: int, rank: int) -> bool:
        """Choose the next start at ``at``, then go on; ``free`` is what is open across.

        Returns whether the search below ended by the sweep alone, i.e. never failed across.
        """
        self._budget.spend()
        if not code:
            return self._settle()
        swept = True
        room = self._sheet.along - at
        for option in self._pool.at(code).options:
            if option.rank < rank or option.across > free or option.along > room:
                continue
            self._starts.append(_Start(at, *option[:3], option.turned))
            running = tuple(sorted((*active, (at + option.along, option.across))))
            swept &= self._choose(at, running, free - option.across, option.code, spare, option.rank)
            if self._across is not None:
                return False
            self._starts.pop()
        return self._advance(at, active, free, code, spare) and swept

    def _advance(self, at: int, active: _Active, free: int, code: int, spare: int) -> bool:
        if not active:
            return True  # nothing ends later, so nothing could start later
        end = active[0][0]
        spare -= free * (end - at)
        if spare < 0:
            return True
        ended = 0
        while ended < len(active) and active[ended][0] == end:
            free += active[ended][1]
            ended += 1
        active = active[ended:]
        key = (end, active, code)
        if key in self._dead:
            return True
        if not self._room_left(end, active, free, code):
            return True
        if self._unsettled >= _UNSETTLED_BEFORE_LOOKING and not self._may_settle():
            return False
        if not self._choose(end, active, free, code, spare, 0):
            return False
        if len(self._dead) < _KEPT_AT_MOST:
            self._dead.add(key)
        return True

    def _room_left(self, at: int, active: _Active, free: int, code: int) -> bool:
        """Test the room beyond ``at`` in both directions; see ``room_for`` and ``latest``."""
        rest = self._pool.at(code)
        if at > rest.latest:
            return False
        length = self._sheet.along
        rows = [(free, length - at)]
        rows += [(across, length - end) for end, across in active]
        if not room_for(rows, rest.along_sums, rest.wide, rest.area):
            return False
        columns = []
        for end, across in active:
            if end > at:
                columns.append((end - at, free))
                at = end
            free += across
        columns.append((length - at, free))
        return room_for(columns, rest.across_sums, rest.tall, rest.area)

    def _settle(self) -> bool:
        self._across = self._settled()
        self._unsettled += self._across is None
        return False

    def _may_settle(self) -> bool:
        starts = tuple(self._starts)
        known = self._looked.get(starts)
        if known is None:
            known = self._settled() is not None
            if len(self._looked) < _KEPT_AT_MOST:
                self._looked[starts] = known
        return known

    def _settled(self) -> list[int] | None:
        strips = [Strip(s.at, s.at + s.along, s.across) for s in self._starts]
        return Settling(strips, self._sheet.across, self._budget).run()
