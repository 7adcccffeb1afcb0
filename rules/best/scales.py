"""Limits that every layout in a lot keeps: sums over panels weighed by conservative scales.

Fekete and Schepers 2004, "A general framework for bounds for higher-dimensional orthogonal packing
problems": sizes along scaled by one dual feasible function and across by another never have more
area than the rectangle scaled alike. :mod:`rules.layout.bounds` uses the scales to refute one set of
panels; here each pair of them is a linear limit on how many panels of each size lie in the lot. With
several rectangles a panel weighs the least that it weighs in any of them that it fits in.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import gcd

import numpy as np
from numpy.typing import NDArray

from rules.best.room import Counts, Room, Size
from rules.layout.bounds import Scale, scales
from rules.layout.panels import Kind, Sheet, size_of, ways

#: Scales that fit any rectangle: the size itself, and those that count shares of the side.
_ANY_SHEET = 6


class Scales:
    """All weighed limits of one lot, for panels of given sizes."""

    def __init__(self, room: Room, sizes: Sequence[Size]) -> None:
        """Weigh panels of each size, and what is held, by every pair of scales."""
        self.sizes = tuple(sizes)
        kinds = [_kind(size, room.gap_um) for size in sizes]
        held = [(_kind(size_of(piece), room.gap_um), piece.count) for piece in room.held]
        every = [*kinds, *(kind for kind, _ in held)]
        tables = [_pairs(every, sheet, alone=len(room.sheets) == 1) for sheet in room.sheets]
        weights = np.minimum.reduce([weighed for weighed, _ in tables])
        most = sum((whole for _, whole in tables), np.zeros(len(weights), dtype=np.int64))
        taken = weights[:, len(kinds) :] @ np.array([count for _, count in held], dtype=np.int64)
        self._weights = weights[:, : len(kinds)]
        self._most = most - taken

    def broken(self, counts: Counts, most: int = 3) -> list[tuple[dict[Size, int], int]]:
        """Return some limits that counts of panels break, the worst first: weight by size, and the limit."""
        needed = self._weights @ np.array([counts.get(size, 0) for size in self.sizes], dtype=np.int64)
        over = np.flatnonzero(needed > self._most)
        # A figure that only chooses among true limits: which one is broken most, as a share of it.
        by = sorted(over, key=lambda row: (-needed[row] / max(1, self._most[row]), row))
        return [self._limit(int(row)) for row in by[:most]]

    def _limit(self, row: int) -> tuple[dict[Size, int], int]:
        weights = [int(weight) for weight in self._weights[row]]
        common = gcd(*weights) or 1
        return (
            {size: weight // common for size, weight in zip(self.sizes, weights, strict=True) if weight},
            int(self._most[row]) // common,
        )


def _kind(size: Size, gap_um: int) -> Kind:
    return Kind(size[0] + gap_um, size[1] + gap_um, size[2], 1)


#: More than any weight: a panel does not lie in the rectangle at all.
_NOWHERE = 1 << 50


def _pairs(kinds: Sequence[Kind], sheet: Sheet, *, alone: bool) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return each kind's least weight in a sheet and the sheet's own, by pairs of scales."""
    lying = [ways(kind, sheet) for kind in kinds]
    along = _scales_of({way[0] for each in lying for way in each}, sheet.along, alone=alone)
    across = _scales_of({way[1] for each in lying for way in each}, sheet.across, alone=alone)
    weights = [
        [min((f(a) * g(b) for a, b, _ in each), default=_NOWHERE) for each in lying] for f in along for g in across
    ]
    whole = [f(sheet.along) * g(sheet.across) for f in along for g in across]
    return np.array(weights, dtype=np.int64).reshape(len(whole), len(kinds)), np.array(whole, dtype=np.int64)


def _scales_of(sizes: set[int], side: int, *, alone: bool) -> list[Scale]:
    every = scales(sizes, side)
    return every if alone else every[:_ANY_SHEET]
