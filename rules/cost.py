"""What a piece costs the workshop, and the margin. The owner's figures only."""

from __future__ import annotations

from fractions import Fraction
from functools import partial

from catalog.model import Kind
from catalog.units import SQUARE_FOOT_UM2
from rules.case import Case
from rules.labor import order_parts
from rules.piece import Piece
from rules.pricing import priced
from rules.stock import net_um2


def cost_minor(case: Case) -> Fraction | None:
    """Return the cost of one piece in minor units: leather with yield, time, sundries.

    None where the pattern or a part's leather is not known.
    """
    return case.keep("cost", lambda: _cost_minor(case))


def _cost_minor(case: Case) -> Fraction | None:
    time, piece, leather = order_parts(case), case.piece, 0
    if time is None:
        return None
    for part in piece.parts:
        own = leather_of_part(case, part)
        if own is None:
            return None
        leather += own
    shop = piece.catalog.workshop
    hourly = shop.labor_per_hour_minor + shop.overhead_per_hour_minor
    # One fraction at the end instead of one for every part: all over the same denominator.
    share = per_leather(piece)
    per_time = piece.indexes.times.per_minute * 60 * piece.quantity
    exact = leather * per_time + (time * hourly + shop.sundries_per_piece_minor * per_time) * share
    return Fraction(exact, share * per_time)


def per_leather(piece: Piece) -> int:
    """Return a number of shares of a minor unit in which every leather's cost is whole."""
    return SQUARE_FOOT_UM2 * piece.indexes.yields


def leather_of_part(case: Case, part: str) -> int | None:
    """Return the leather of one part of one piece with yield, in shares of a minor unit; None where it is not known."""
    piece, kind = case.piece, case.piece.parts[part].kind
    if kind is None:
        return None
    pattern_code, _, sizes = piece.laid_by
    return case.warehouse.costs.get((pattern_code, sizes, part, kind.code), partial(_leather_of, case, part, kind))


def _leather_of(case: Case, part: str, kind: Kind) -> int:
    net, share = net_um2(case.laid(part), case.warehouse.gap_um) // case.piece.quantity, kind.yield_ratio
    return net * share.denominator * kind.price_per_sqft_minor * (case.piece.indexes.yields // share.numerator)


def margin_percent_of(case: Case) -> Fraction | None:
    """Return 100 (net - cost) / net, exact; None while a part or edge is missing or nothing is priced."""
    price, cost = priced(case.piece), cost_minor(case)
    if price is None or cost is None or case.piece.edge is None or not price.each_minor:
        return None
    # net = each / (1 + tax rate)
    with_tax = Fraction(100 + case.piece.catalog.workshop.vat_percent)
    per = cost.denominator * price.each_minor * with_tax.denominator
    return Fraction(100 * per - cost.numerator * with_tax.numerator, per)
