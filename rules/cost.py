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
    leather = _leather_minor(case)
    if leather is None:
        return None
    shop = piece.catalog.workshop
    hourly = shop.labor_per_hour_minor + shop.overhead_per_hour_minor
    return leather + Fraction(minutes) / piece.quantity * hourly / 60 + shop.sundries_per_piece_minor


def _leather_minor(case: Case) -> Number | None:
    """Return the leather of one piece with yield, minor units; the same whatever the lots."""
    memo: dict[str, Number | None] = case.piece.memo
    if "leather_minor" not in memo:
        total: Number | None = 0
        for part in case.piece.parts.values():
            if part.kind is None or total is None:
                total = None
                break
            area = need_um2(case.laid(part.code), case.warehouse.gap_um, part.kind) / case.piece.quantity
            total += area / SQUARE_FOOT_UM2 * part.kind.price_per_sqft_minor
        memo["leather_minor"] = total
    return memo["leather_minor"]


def margin_percent_of(case: Case) -> Number | None:
    """Return 100 (net - cost) / net, exact; None while a part or edge is missing or nothing is priced."""
    price, cost = priced(case.piece), cost_minor(case)
    if price is None or cost is None or case.piece.edge is None or not price.each_minor:
        return None
    net = price.each_minor / (1 + Fraction(case.piece.catalog.workshop.vat_percent) / 100)
    return 100 * (net - cost) / net
