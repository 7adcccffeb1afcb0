"""Constructive search for many panels: shelves, first fit by decreasing height.

Coffman, Garey, Johnson, Tarjan 1980, "Performance bounds for level-oriented two-dimensional
packing algorithms". Far less work per panel than maximal rectangles, and few gaps when there
are many panels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rules.layout.panels import Kind, Sheet, Spot


@dataclass(slots=True)
class _Shelf:
    sheet: int
    at_across: int
    across: int
    used_along: int


def shelve(kinds: Sequence[Kind], sheets: Sequence[Sheet]) -> list[Spot] | None:
    """Lay panels in shelves that run along; None if they do not lie so.

    Kinds and sheets are enlarged by the gap, micrometers. Cost: panels times shelves.
    """
    lying = [_flat(kind, sheets) for kind in kinds]
    names = sorted(range(len(kinds)), key=lambda i: (-lying[i][1], -lying[i][0], i))
    used = [0] * len(sheets)
    shelves: list[_Shelf] = []
    spots = []
    for name in names:
        along, across, turned = lying[name]
        first = 0  # a shelf that has no room for one copy has none for the next
        for _ in range(kinds[name].copies):
            while first < len(shelves) and not _fits(shelves[first], along, across, sheets):
                first += 1
            if first == len(shelves):
                shelf = _opened(along, across, sheets, used)
                if shelf is None:
                    return None
                shelves.append(shelf)
            shelf = shelves[first]
            spots.append(Spot(name, shelf.sheet, shelf.used_along, shelf.at_across, turned))
            shelf.used_along += along
    return spots


def _flat(kind: Kind, sheets: Sequence[Sheet]) -> tuple[int, int, bool]:
    """Turn a kind long side along where it may be turned and then lies in some sheet."""
    along, across = max(kind[:2]), min(kind[:2])
    held = any(along <= sheet.along and across <= sheet.across for sheet in sheets)
    if kind.turnable and held:
        return along, across, along != kind.along
    return kind.along, kind.across, False


def _fits(shelf: _Shelf, along: int, across: int, sheets: Sequence[Sheet]) -> bool:
    return across <= shelf.across and shelf.used_along + along <= sheets[shelf.sheet].along


def _opened(along: int, across: int, sheets: Sequence[Sheet], used: list[int]) -> _Shelf | None:
    for index, sheet in enumerate(sheets):
        if along <= sheet.along and used[index] + across <= sheet.across:
            used[index] += across
            return _Shelf(index, used[index] - across, across, 0)
    return None
