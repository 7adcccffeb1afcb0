"""Exact search over several rectangles: which copies lie in which rectangle.

Copies go largest first to every rectangle that still holds them; what one rectangle holds is
decided by :func:`lie_in_one`. Nothing is skipped but cases equal to one tried before: copies of
one kind go to rectangles in ascending order, and of equal rectangles with equal content only
the first is tried. So a search that ends without a layout proves there is none.
"""

from __future__ import annotations

from collections.abc import Sequence

from rules.layout.bounds import refuted_in_one
from rules.layout.budget import Budget, BudgetSpentError
from rules.layout.construct import construct
from rules.layout.panels import Kind, Sheet, Spot
from rules.layout.sweep import Sweep

# Steps of the first searches, tried along and across in turn: which way is the shorter one is
# not known before, and the two often differ by 10 to 100 times.
_SLICES = (1_000, 10_000, 100_000)

_Content = tuple[int, ...]  # copies of each kind


def lie_in_one(kinds: Sequence[Kind], sheet: Sheet, budget: Budget) -> list[Spot] | None:
    """Return places of all copies in one sheet, or None if it is proven that there are none.

    Kinds and sheet are enlarged by the gap, micrometers.

    Raises:
        BudgetSpentError: Nothing is proven.
    """
    if refuted_in_one(kinds, sheet):
        return None
    turned = [Kind(k.across, k.along, k.turnable, k.copies) for k in kinds]
    for steps in _SLICES:
        for sideways in (False, True):
            part = Budget(min(steps, budget.left))
            budget.left -= part.left
            try:
                if not sideways:
                    return Sweep(kinds, sheet, part).run()
                found = Sweep(turned, Sheet(sheet.across, sheet.along), part).run()
                return found and [_sideways(spot) for spot in found]
            except BudgetSpentError:
                continue
            finally:
                budget.left += max(part.left, 0)
    return Sweep(kinds, sheet, budget).run()


def _sideways(spot: Spot) -> Spot:
    return spot._replace(at_along=spot.at_across, at_across=spot.at_along)


class Assignment:
    """One search; equal sheets must stand side by side in ``sheets``."""

    def __init__(self, kinds: Sequence[Kind], sheets: Sequence[Sheet], budget: Budget) -> None:
        """Prepare a search for all copies of all kinds in the sheets."""
        self._kinds = kinds
        self._sheets = sheets
        self._budget = budget
        self._copies = [i for i, kind in enumerate(kinds) for _ in range(kind.copies)]
        areas = [kinds[i].area for i in self._copies]
        self._area_from = [sum(areas[i:]) for i in range(len(areas) + 1)]
        self._known: dict[tuple[Sheet, _Content], list[Spot] | None] = {}
        self._most: dict[Sheet, list[_Content]] = {sheet: [] for sheet in sheets}
        self._least: dict[Sheet, list[_Content]] = {sheet: [] for sheet in sheets}

    def run(self) -> list[Spot] | None:
        """Return the places of all copies, or None if it is proven that there are none.

        Raises:
            BudgetSpentError: Nothing is proven.
        """
        contents = self._place(0, [(0,) * len(self._kinds)] * len(self._sheets), 0)
        if contents is None:
            return None
        spots: list[Spot] = []
        for index, content in enumerate(contents):
            laid = self._laid(self._sheets[index], content)
            spots += [spot._replace(sheet=index) for spot in laid or ()]
        return spots

    def _place(self, copy: int, contents: list[_Content], first: int) -> list[_Content] | None:
        self._budget.spend()
        if copy == len(self._copies):
            return contents
        kind = self._copies[copy]
        if copy and self._copies[copy - 1] != kind:
            first = 0
        tried: set[tuple[Sheet, _Content]] = set()
        for index in range(first, len(self._sheets)):
            sheet, content = self._sheets[index], contents[index]
            if (sheet, content) in tried:
                continue
            tried.add((sheet, content))
            more = (*content[:kind], content[kind] + 1, *content[kind + 1 :])
            if not self._holds(sheet, more):
                continue
            now = [*contents[:index], more, *contents[index + 1 :]]
            if self._room_left(copy + 1, now):
                found = self._place(copy + 1, now, index)
                if found is not None:
                    return found
        return None

    def _room_left(self, copy: int, contents: list[_Content]) -> bool:
        """Test the area left in sheets that can still take the smallest copy to come."""
        if copy == len(self._copies):
            return True
        room = 0
        smallest = min(self._kinds[i].area for i in self._copies[copy:])
        for sheet, content in zip(self._sheets, contents, strict=True):
            free = sheet.along * sheet.across - self._area(content)
            room += free if free >= smallest else 0
        return room >= self._area_from[copy]

    def _area(self, content: _Content) -> int:
        return sum([n * kind.area for n, kind in zip(content, self._kinds, strict=True) if n])

    def _holds(self, sheet: Sheet, content: _Content) -> bool:
        """Say whether a sheet holds a content; less than what it holds it holds, too."""
        if self._area(content) > sheet.along * sheet.across:
            return False
        if any(_less(content, most) for most in self._most[sheet]):
            return True
        if any(_less(least, content) for least in self._least[sheet]):
            return False
        held = self._laid(sheet, content) is not None
        (self._most if held else self._least)[sheet].append(content)
        return held

    def _laid(self, sheet: Sheet, content: _Content) -> list[Spot] | None:
        key = (sheet, content)
        if key not in self._known:
            names = [i for i, n in enumerate(content) if n]
            kinds = [self._kinds[i]._replace(copies=content[i]) for i in names]
            spots = construct(kinds, [sheet])
            if spots is None:
                spots = lie_in_one(kinds, sheet, self._budget)
            self._known[key] = spots and [s._replace(kind=names[s.kind]) for s in spots]
        return self._known[key]


def _less(one: _Content, two: _Content) -> bool:
    return all(a <= b for a, b in zip(one, two, strict=True))
