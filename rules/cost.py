"""What a piece costs the workshop, and the margin. The owner's figures only."""

from __future__ import annotations

from fractions import Fraction

from catalog.model import Number
from catalog.units import SQUARE_FOOT_UM2
from rules.case import Case
from rules.labor import order_minutes
from rules.pricing import priced
from rules.stock import need_um2


def cost_minor(case: Case) -> Number | None:
    """Return the cost of one piece in minor units: leather with yield, time, sundries.

    None where the pattern or a part's leather is not known.
    """
    minutes, piece = order_minutes(case), case.piece
    if minutes is None:
        return None
    leather: Number = 0
    for part in piece.parts.values():
        if part.kind is None:
            return None
        area = need_um2(case.laid(part.code), case.warehouse.gap_um, part.kind) / piece.quantity
        leather += area / SQUARE_FOOT_UM2 * part.kind.price_per_sqft_minor
    shop = piece.catalog.workshop
    hourly = shop.labor_per_hour_minor + shop.overhead_per_hour_minor
    return leather + Fraction(minutes) / piece.quantity * hourly / 60 + shop.sundries_per_piece_minor


def margin_percent_of(case: Case) -> Number | None:
    """Return 100 (net - cost) / net, exact; None while a part or edge is missing or nothing is priced."""
    price, cost = priced(case.piece), cost_minor(case)
    if price is None or cost is None or case.piece.edge is None or not price.each_minor:
        return None
    net = price.each_minor / (1 + Fraction(case.piece.catalog.workshop.vat_percent) / 100)
    return 100 * (net - cost) / net
