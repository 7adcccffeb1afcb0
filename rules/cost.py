"""What a piece costs the workshop, and the margin. The owner's figures only."""

from __future__ import annotations

from fractions import Fraction
from functools import partial

from catalog.model import Kind, Number
from catalog.units import SQUARE_FOOT_UM2
from rules.case import Case
from rules.labor import order_parts
from rules.pricing import priced
from rules.stock import need_um2


def cost_minor(case: Case) -> Number | None:
    """Return the cost of one piece in minor units: leather with yield, time, sundries.

    None where the pattern or a part's leather is not known.
    """
    if "cost" not in case.kept:
        case.kept["cost"] = _cost_minor(case)
    found: Number | None = case.kept["cost"]
    return found


def _cost_minor(case: Case) -> Number | None:
    parts, piece = order_parts(case), case.piece
    if parts is None:
        return None
    leather = _leather_minor(case)
    if leather is None:
        return None
    shop = piece.catalog.workshop
    hourly = shop.labor_per_hour_minor + shop.overhead_per_hour_minor
    time = Fraction(parts * hourly, piece.indexes.times.per_minute * 60 * piece.quantity)
    return leather + time + shop.sundries_per_piece_minor


def _leather_minor(case: Case) -> Number | None:
    """Return the leather of one piece with yield, minor units; the same whatever the lots."""
    piece, total = case.piece, Fraction(0)
    pattern_code, _, sizes = piece.laid_by
    for part in piece.parts.values():
        if part.kind is None:
            return None
        key = (pattern_code, sizes, part.code, part.kind.code)
        total += case.warehouse.costs.get(key, partial(_part_minor, case, part.code, part.kind))
    return total


def _part_minor(case: Case, part: str, kind: Kind) -> Fraction:
    area = need_um2(case.laid(part), case.warehouse.gap_um, kind) / case.piece.quantity
    return area / SQUARE_FOOT_UM2 * kind.price_per_sqft_minor


def margin_percent_of(case: Case) -> Number | None:
    """Return 100 (net - cost) / net, exact; None while a part or edge is missing or nothing is priced."""
    price, cost = priced(case.piece), cost_minor(case)
    if price is None or cost is None or case.piece.edge is None or not price.each_minor:
        return None
    # 100 (net - cost) / net, where net = each / (1 + tax rate)
    with_tax = 100 + case.piece.catalog.workshop.vat_percent
    return 100 - Fraction(cost) * with_tax / price.each_minor
