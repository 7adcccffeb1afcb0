"""What the rows of a table ask of each leather, whatever there is of it."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import numpy as np

from rules.case import Case
from rules.sheet import Kept, combined
from rules.shop import Shop
from rules.spec import Spec
from rules.stock import need_um2
from rules.table import Codes, Table, part_slot


def asked_um2(shop: Shop, table: Table, rows: Codes, kept: Kept) -> dict[str, Fraction]:
    """Return the hide area that some rows of a table need of each leather together, in um2 with yield.

    The sum of :attr:`rules.holding.Holding.need_um2`, which adds up over the parts cut from a leather: each part's is
    worked out once for each leather, sizes and quantity.
    """
    asked: dict[str, Fraction] = {}
    for part in table.pattern.parts:
        columns = [table.columns[slot] for slot in (part_slot(part), "sizes", "quantity")]
        inverse, first = combined([(column.codes[rows], len(column.values)) for column in columns], len(rows))
        keys = list(zip(*([each.values[code] for code in each.codes[rows[first]]] for each in columns), strict=True))

        def need_at(place: int, part: str = part, first: Codes = first) -> tuple[str, Fraction] | None:
            return _need(shop, table.spec(int(rows[first[place]])), part)

        needs = kept.of((table.pattern.code, "need", part), keys, need_at)
        for need, count in zip(needs, np.bincount(inverse).tolist(), strict=True):
            if need is not None:
                leather, um2 = need
                asked[leather] = asked.get(leather, Fraction(0)) + um2 * count
    return asked


def _need(shop: Shop, spec: Spec, part: str) -> tuple[str, Fraction] | None:
    """Return the leather of a part and what it needs of it, None where it is not known."""
    piece = shop.piece(spec)
    leather = piece.parts[part].leather
    if leather is None:
        return None
    # No lots are given, and nothing that an area follows from reads the day.
    panels = Case(piece, {}, shop.warehouse, date.min).laid(part)
    return leather.code, need_um2(panels, shop.warehouse.gap_um, leather.kind)
