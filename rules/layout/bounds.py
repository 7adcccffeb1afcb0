"""Proofs that panels cannot lie in rectangles, without a search.

Conservative scales (Fekete and Schepers 2001; 2004, "A general framework for bounds for
higher-dimensional orthogonal packing problems"): replace sizes along by f(along) and across by
g(across), f and g dual feasible functions; if the areas so scaled exceed the scaled sheets, no
layout exists. A function is dual feasible for a sheet side W when sizes that fit together into
W keep fitting into f(W). With several sheets each is scaled by itself, so there only functions
are used that do not depend on the sheet: the identity.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import isqrt

from rules.layout.panels import Kind, Sheet, ways

# Pairs of scales times kinds looked at: about 10 ms.
_STEPS = 20_000

Scale = Callable[[int], int]


def refuted(kinds: Sequence[Kind], sheets: Sequence[Sheet]) -> bool:
    """Say whether area or one kind alone proves that the kinds cannot lie in the sheets."""
    need = sum(kind.area * kind.copies for kind in kinds)
    have = sum(sheet.along * sheet.across for sheet in sheets)
    if need > have:
        return True
    return any(_too_many(kind, sheets) for kind in kinds)


def _too_many(kind: Kind, sheets: Sequence[Sheet]) -> bool:
    """Say whether a kind alone is too many.

    Of equal panels that are not turned, no layout holds more than the grid does: u(k) of both
    sides proves it. Of turnable ones only none at all is judged here.
    """
    if kind.turnable:
        return not any(ways(kind, sheet) for sheet in sheets)
    grids = [(s.along // kind.along) * (s.across // kind.across) for s in sheets]
    return sum(grids) < kind.copies


def refuted_in_one(kinds: Sequence[Kind], sheet: Sheet) -> bool:
    """Say whether a pair of conservative scales proves the kinds cannot lie in one sheet.

    Cost: pairs of scales times kinds, capped: many kinds get few scales.
    """
    if refuted(kinds, [sheet]):
        return True
    most = isqrt(_STEPS // max(len(kinds), 1))
    sizes = {way[0] for kind in kinds for way in ways(kind, sheet)}
    along = [_table(f, sizes, sheet.along) for f in scales(sizes, sheet.along)[:most]]
    sizes = {way[1] for kind in kinds for way in ways(kind, sheet)}
    across = [_table(f, sizes, sheet.across) for f in scales(sizes, sheet.across)[:most]]
    lying = [(kind.copies, ways(kind, sheet)) for kind in kinds]
    for f in along:
        for g in across:
            need = sum([n * min([f[a] * g[b] for a, b, _ in w]) for n, w in lying])
            if need > f[sheet.along] * g[sheet.across]:
                return True
    return False


def _table(scale: Scale, sizes: set[int], side: int) -> dict[int, int]:
    return {size: scale(size) for size in (*sizes, side)}


def scales(sizes: set[int], side: int) -> list[Scale]:
    """List dual feasible functions worth a try: those that change at one of the sizes."""
    edges = sorted({min(size, side - size) for size in sizes} - {0})
    edges = [edge for edge in edges if 2 * edge <= side]
    scales: list[Scale] = [lambda size: size]
    scales += [_shared(side, parts) for parts in range(1, 6)]
    # The large edges first: they count panels of which few lie side by side.
    for edge in reversed(edges):
        scales.append(_rounded_out(side, edge))
        scales.append(_counted(side, edge))
    return scales


def _rounded_out(side: int, edge: int) -> Scale:
    """Fekete and Schepers' U: above side - edge counts as the side, below edge as nothing."""

    def scale(size: int) -> int:
        if size > side - edge:
            return side
        return 0 if size < edge else size

    return scale


def _counted(side: int, edge: int) -> Scale:
    """Boschetti and Mingozzi 2003's f2: how many pieces of ``edge`` a size stands for."""
    whole = 2 * (side // edge)

    def scale(size: int) -> int:
        if 2 * size > side:
            return whole - 2 * ((side - size) // edge)
        return whole // 2 if 2 * size == side else 2 * (size // edge)

    return scale


def _shared(side: int, parts: int) -> Scale:
    """Fekete and Schepers' u(k), k = parts, in units of 1 / (parts * side)."""

    def scale(size: int) -> int:
        shares = (parts + 1) * size
        return parts * size if shares % side == 0 else shares // side * side

    return scale
