"""Second half of the exact search: places along are fixed, find places across.

Let every panel fall until it rests on the rim or on another panel. Take the lowest level of
the skyline, its first run of columns with walls on both sides. Either no panel rests on the
run: then nothing reaches into it below the lower wall, since what reaches in lies between the
walls and would have fallen. Or one of the panels that lie within the run is the first to rest
on it: then the columns before it stay empty up to the wall or the panel's own top, whichever
is lower, by the same argument. The search branches over just these cases, so it is complete.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from rules.layout.budget import Budget


class Strip(NamedTuple):
    """A panel whose place along is fixed: micrometers along, size across."""

    start: int
    end: int
    across: int


class _Stripe(NamedTuple):
    first: int
    last: int
    across: int
    name: int


class Settling:
    """One search for places across; heights are those of the skyline, column by column."""

    def __init__(self, strips: Sequence[Strip], across: int, budget: Budget) -> None:
        """Cut the sheet into columns at all starts and ends."""
        cuts = sorted({s.start for s in strips} | {s.end for s in strips})
        column = {cut: index for index, cut in enumerate(cuts)}
        stripes = [_Stripe(column[s.start], column[s.end], s.across, name) for name, s in enumerate(strips)]
        # Long and broad panels first: they leave the fewest open choices.
        self._stripes = sorted(stripes, key=lambda s: (s.first, -s.last, -s.across, s.name))
        self._columns = len(cuts) - 1
        self._across = across
        self._budget = budget
        self._spare = [across] * self._columns
        for stripe in self._stripes:
            for index in range(stripe.first, stripe.last):
                self._spare[index] -= stripe.across
        self._failed: set[tuple[tuple[int, ...], int]] = set()
        self._at: dict[int, int] = {}

    def run(self) -> list[int] | None:
        """Return the place across of every strip in the order given, or None if impossible.

        Raises:
            BudgetSpentError: Nothing is proven.
        """
        if self._spare and min(self._spare) < 0:
            return None
        whole = (1 << len(self._stripes)) - 1
        if not self._fall([0] * self._columns, self._spare, whole):
            return None
        return [self._at[name] for name in range(len(self._stripes))]

    def _fall(self, heights: list[int], spare: list[int], left: int) -> bool:
        self._budget.spend()
        if not left:
            return True
        key = (tuple(heights), left)
        if key in self._failed:
            return False
        # Below the far rim: no column with strips to come is full, else it could not spare them.
        low = min(heights)
        first = heights.index(low)
        last = first + 1
        while last < self._columns and heights[last] == low:
            last += 1
        if self._rest_one(heights, spare, left, first, last):
            return True
        wall = self._wall(heights, first, last)
        raised = self._raised(heights, spare, range(first, last), wall)
        if raised and self._fall(*raised, left):
            return True
        self._failed.add(key)
        return False

    def _rest_one(self, heights: list[int], spare: list[int], left: int, first: int, last: int) -> bool:
        low = heights[first]
        wall = heights[first - 1] if first else self._across
        tried = set()
        for bit, stripe in enumerate(self._stripes):
            if not left >> bit & 1 or stripe.first < first or stripe.last > last:
                continue
            if stripe[:3] in tried:
                continue  # an equal panel in the same columns was tried
            tried.add(stripe[:3])
            top = low + stripe.across
            raised = self._raised(heights, spare, range(first, stripe.first), min(wall, top))
            if raised is None:
                continue
            raised[0][stripe.first : stripe.last] = [top] * (stripe.last - stripe.first)
            self._at[stripe.name] = low
            if self._fall(*raised, left & ~(1 << bit)):
                return True
        return False

    def _wall(self, heights: list[int], first: int, last: int) -> int:
        before = heights[first - 1] if first else self._across
        after = heights[last] if last < self._columns else self._across
        return min(before, after)

    def _raised(
        self, heights: list[int], spare: list[int], columns: range, top: int
    ) -> tuple[list[int], list[int]] | None:
        """Waste the columns up to ``top``; None where a column cannot spare it."""
        heights = heights.copy()
        spare = spare.copy()
        for index in columns:
            spare[index] -= top - heights[index]
            if spare[index] < 0:
                return None
            heights[index] = top
        return heights, spare
