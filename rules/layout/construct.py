"""Constructive search: shelves, strips of one size, then maximal rectangles with best short side fit.

Jylanki 2010, "A thousand ways to pack the bin", names the heuristic. Rectangles are filled by
blocks and singly. Blocks are ours: equal panels come in quantity, so a whole grid of them is
laid at once; that finds the plain grid of any one kind and keeps the work low. A layout found
is a layout; none found proves nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from rules.layout.budget import Budget, BudgetSpentError
from rules.layout.panels import Kind, Sheet, Spot, ways
from rules.layout.shelves import shelve
from rules.layout.strips import strip

# Free rectangles looked at per call, all attempts together: below 0.1 s where measured.
_STEPS = 30_000

_ORDERS: tuple[Callable[[Kind], tuple[int, ...]], ...] = (
    lambda kind: (-kind.area, -kind.along, -kind.across),
    lambda kind: (-max(kind.along, kind.across), -kind.area, -kind.along),
    lambda kind: (-kind.along, -kind.across, 0),
    lambda kind: (-kind.across, -kind.along, 0),
    lambda kind: (-min(kind.along, kind.across), -kind.area, -kind.along),
    lambda kind: (-kind.area * kind.copies, -kind.along, -kind.across),
)


class _Free(NamedTuple):
    sheet: int
    at_along: int
    at_across: int
    along: int
    across: int

    def within(self, other: _Free) -> bool:
        """Say whether this rectangle lies inside another of the same sheet."""
        return (
            self.sheet == other.sheet
            and self.at_along >= other.at_along
            and self.at_across >= other.at_across
            and self.at_along + self.along <= other.at_along + other.along
            and self.at_across + self.across <= other.at_across + other.across
        )


class _Block(NamedTuple):
    place: _Free
    along: int
    across: int
    turned: bool
    columns: int
    rows: int


def construct(kinds: Sequence[Kind], sheets: Sequence[Sheet]) -> list[Spot] | None:
    """Try shelves, then every sort order by blocks and singly; None if none lays out all.

    Kinds and sheets are enlarged by the gap, micrometers. Cost: bounded by counted steps.
    """
    spots = shelve(kinds, sheets)
    if spots is None:
        spots = _shelved_sideways(kinds, sheets)
    if spots is None:
        spots = strip(kinds, sheets)
    if spots is not None:
        return spots
    budget = Budget(_STEPS)
    single = all(kind.copies == 1 for kind in kinds)
    try:
        for blocks in (False,) if single else (True, False):
            for order in _ORDERS:
                names = sorted(range(len(kinds)), key=lambda i: (order(kinds[i]), i))
                spots = _attempt(kinds, sheets, names, budget, blocks=blocks)
                if spots is not None:
                    return spots
    except BudgetSpentError:
        pass
    return None


def _shelved_sideways(kinds: Sequence[Kind], sheets: Sequence[Sheet]) -> list[Spot] | None:
    turned = [Kind(k.across, k.along, k.turnable, k.copies) for k in kinds]
    spots = shelve(turned, [Sheet(sheet.across, sheet.along) for sheet in sheets])
    return spots and [s._replace(at_along=s.at_across, at_across=s.at_along) for s in spots]


def _attempt(
    kinds: Sequence[Kind], sheets: Sequence[Sheet], names: list[int], budget: Budget, *, blocks: bool
) -> list[Spot] | None:
    free = [_Free(i, 0, 0, sheet.along, sheet.across) for i, sheet in enumerate(sheets)]
    spots: list[Spot] = []
    for name in names:
        kind = kinds[name]
        left = kind.copies
        while left:
            budget.spend(len(free))
            block = _best(kind, left if blocks else 1, free)
            if block is None:
                return None
            spots += _spots(name, block)
            left -= block.columns * block.rows
            free = _cut(free, block, budget)
    return spots


def _best(kind: Kind, left: int, free: list[_Free]) -> _Block | None:
    """Choose the block of most copies, then the best short side fit, then the first place."""
    best: tuple[tuple[int, ...], _Block] | None = None
    for place in free:
        for along, across, turned in ways(kind, Sheet(place.along, place.across)):
            columns = min(place.along // along, left)
            rows = min(place.across // across, left // columns)
            slack = (place.along - columns * along, place.across - rows * across)
            key = (-columns * rows, min(slack), max(slack), *place, int(turned))
            if best is None or key < best[0]:
                best = (key, _Block(place, along, across, turned, columns, rows))
    return best[1] if best else None


def _spots(name: int, block: _Block) -> list[Spot]:
    place = block.place
    return [
        Spot(
            name,
            place.sheet,
            place.at_along + column * block.along,
            place.at_across + row * block.across,
            block.turned,
        )
        for column in range(block.columns)
        for row in range(block.rows)
    ]


def _cut(free: list[_Free], block: _Block, budget: Budget) -> list[_Free]:
    """Take a block out of the free rectangles; keep the maximal ones."""
    sheet, along, across = block.place[:3]
    used = _Free(sheet, along, across, block.columns * block.along, block.rows * block.across)
    kept: list[_Free] = []
    parts: list[_Free] = []
    for rect in free:
        cut = _around(rect, used)
        if cut is None:
            kept.append(rect)
        else:
            parts += cut
    # Only parts can lie inside another rectangle: those untouched were maximal before.
    parts = sorted(set(parts))
    budget.spend(len(parts) * (len(kept) + len(parts)))
    return kept + [
        part
        for part in parts
        if not any(part.within(rect) for rect in kept)
        and not any(part != other and part.within(other) for other in parts)
    ]


def _around(rect: _Free, used: _Free) -> list[_Free] | None:
    """Split a free rectangle around a used one; None if they do not overlap."""
    sheet, a0, b0, along, across = rect
    a1, b1 = a0 + along, b0 + across
    u0, v0 = used.at_along, used.at_across
    u1, v1 = u0 + used.along, v0 + used.across
    if sheet != used.sheet or u0 >= a1 or u1 <= a0 or v0 >= b1 or v1 <= b0:
        return None
    parts = []
    if u0 > a0:
        parts.append(_Free(sheet, a0, b0, u0 - a0, across))
    if u1 < a1:
        parts.append(_Free(sheet, u1, b0, a1 - u1, across))
    if v0 > b0:
        parts.append(_Free(sheet, a0, b0, along, v0 - b0))
    if v1 < b1:
        parts.append(_Free(sheet, a0, v1, along, b1 - v1))
    return parts
