"""Constructive search for many panels of one size: strips of upright and of turned panels.

A sheet is cut into strips that run along (or across); in each strip all panels lie one way. The
best number of strips of either kind is found by trying them all: a two-stage guillotine
pattern (Gilmore and Gomory 1965) of one size. It beats plain grids where the leftover of one
way is just wide enough for the other.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from rules.layout.panels import Kind, Sheet, Spot, ways


class _Strips(NamedTuple):
    held: int
    runs_along: bool
    upright: int
    turned: int


def strip(kinds: Sequence[Kind], sheets: Sequence[Sheet]) -> list[Spot] | None:
    """Lay panels of one kind in strips, sheet after sheet; None for several kinds or if they do not lie.

    The kind and the sheets are enlarged by the gap, micrometers. Cost: strips of a sheet.
    """
    if len(kinds) != 1:
        return None
    left, spots = kinds[0].copies, []
    for index, sheet in enumerate(sheets):
        laid = _laid(kinds[0], sheet, index, left)
        spots += laid
        left -= len(laid)
    return spots if left == 0 else None


def _laid(kind: Kind, sheet: Sheet, index: int, at_most: int) -> list[Spot]:
    best = max((_best(kind, sheet, runs_along=True), _best(kind, sheet, runs_along=False)), key=lambda each: each.held)
    spots = []
    offset = 0
    for turned, strips in ((False, best.upright), (True, best.turned)):
        along, across = (kind.across, kind.along) if turned else (kind.along, kind.across)
        length, step, breadth = (sheet.along, along, across) if best.runs_along else (sheet.across, across, along)
        for _ in range(strips):
            for place in range(length // step):
                at = (place * step, offset) if best.runs_along else (offset, place * step)
                spots.append(Spot(0, index, at[0], at[1], turned))
            offset += breadth
    return spots[:at_most]


def _best(kind: Kind, sheet: Sheet, *, runs_along: bool) -> _Strips:
    """Return the numbers of strips that hold most panels, the fewest turned among equals."""
    found = {turned: (along, across) for along, across, turned in ways(kind, sheet)}
    upright, turned = (_strip(found.get(way), sheet, runs_along=runs_along) for way in (False, True))
    breadth = sheet.across if runs_along else sheet.along
    best = _Strips(0, runs_along, 0, 0)
    for count in range(breadth // upright[0] + 1 if upright else 1):
        rest = breadth - count * upright[0] if upright else breadth
        other = rest // turned[0] if turned else 0
        total = (count * upright[1] if upright else 0) + (other * turned[1] if turned else 0)
        if total > best.held:
            best = _Strips(total, runs_along, count, other)
    return best


def _strip(way: tuple[int, int] | None, sheet: Sheet, *, runs_along: bool) -> tuple[int, int] | None:
    """Return a strip's breadth and how many panels lie in it."""
    if way is None:
        return None
    along, across = way
    return (across, sheet.along // along) if runs_along else (along, sheet.across // across)
