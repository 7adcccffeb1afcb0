"""The price of a piece from the price list, exact until the price point.

base[pattern][band of the outside], the other parts' shares of the gap to the reference band,
surcharges, rush, the break for the quantity, then up to the price point. No rounding before
that. Lines are shown rounded half even to the minor unit; the rounding is a line of its own,
so that the lines sum to ``each``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from catalog.color import de00_milli
from catalog.model import Kind, Number, Pattern
from rules.piece import OUTSIDE, Piece

_FREE_LETTERS = 3


@dataclass(frozen=True, slots=True)
class Line:
    """One price line; ``amount_minor`` exact."""

    code: str
    what: str
    amount_minor: Number


@dataclass(frozen=True, slots=True)
class Price:
    """A price in minor units. ``shown`` are the lines in whole minor units, summing to ``each``."""

    lines: tuple[Line, ...]
    shown: tuple[tuple[str, str, int], ...]
    each_minor: int
    quantity: int

    @property
    def total_minor(self) -> int:
        """Return each x quantity."""
        return self.each_minor * self.quantity


def has_cell(piece: Piece, kind: Kind | None) -> bool | None:
    """Whether the price list has a cell for the pattern and the kind's band."""
    if piece.pattern is None or kind is None:
        return None
    return kind.price_band in piece.catalog.price_list.base_minor.get(piece.pattern.code, {})


def priced(piece: Piece) -> Price | None:
    """Return the price, or None while a part is missing or a band has no cell."""
    if "price" not in piece.memo:
        piece.memo["price"] = _price(piece)
    found: Price | None = piece.memo["price"]
    return found


def _price(piece: Piece) -> Price | None:
    pattern = piece.pattern
    if pattern is None or any(has_cell(piece, part.kind) is not True for part in piece.parts.values()):
        return None
    lines = [*_material(piece, pattern), *_surcharges(piece, pattern)]
    subtotal: Number = sum((line.amount_minor for line in lines), 0)
    for line in _adjustments(piece, subtotal):
        lines.append(line)
        subtotal += line.amount_minor
    each = to_price_point(piece, subtotal)
    shown = [(line.code, line.what, round(Fraction(line.amount_minor))) for line in lines]
    rest = each - sum(amount for _, _, amount in shown)
    if rest:
        shown.append(("round_up", _point_words(piece, subtotal), rest))
    return Price(tuple(lines), tuple(shown), each, piece.quantity)


def _material(piece: Piece, pattern: Pattern) -> Iterator[Line]:
    prices = piece.catalog.price_list
    base = prices.base_minor[pattern.code]
    bands = {part.code: part.kind.price_band for part in piece.parts.values() if part.kind is not None}
    for part, band in bands.items():
        if part == OUTSIDE:
            yield Line("base", f"{pattern.name}, band {band} outside", base[band])
        else:
            gap = max(0, base[band] - base[prices.reference_band])
            amount = prices.part_share.get(part, Fraction(0)) * gap
            if amount:
                yield Line("part", f"{part}, band {band}", amount)


def _surcharges(piece: Piece, pattern: Pattern) -> Iterator[Line]:
    table = piece.catalog.price_list.surcharges_minor
    for code, what, times in _asked(piece, pattern):
        if table.get(code, 0) and times > 0:
            yield Line(code, what, table[code] * times)


def _asked(piece: Piece, pattern: Pattern) -> Iterator[tuple[str, str, int]]:
    if any(part.side == "flesh" for part in piece.parts.values()):
        yield "reverse_out", "flesh side out", 1
    monogram = piece.spec.monogram
    if monogram is not None and monogram.method is not None:
        yield monogram.method, f"{monogram.method} monogram", 1
        letters = len(monogram.text.replace(" ", ""))
        yield "letter_over_3", f"{letters - _FREE_LETTERS} more letters", letters - _FREE_LETTERS
    for code in piece.modifications:
        if code in pattern.modifications:
            yield code, piece.catalog.modifications[code].name.lower(), 1
    if contrasts(piece, pattern):
        yield "contrast_edge_paint", "contrasting edge paint", 1


def contrasts(piece: Piece, pattern: Pattern) -> bool:
    """Whether an offered edge paint, not a match, lies far from the outside in color."""
    edge, outside = piece.edge, piece.outside
    if edge is None or edge.finish != "paint" or "paint" not in pattern.edge_finishes or piece.matches_edge:
        return False
    if edge.swatch is None or outside is None or outside.leather is None:
        return False
    return de00_milli(edge.swatch, outside.leather.swatch) > piece.threshold("contrast_color_de00")


def _adjustments(piece: Piece, subtotal: Number) -> Iterator[Line]:
    if piece.spec.rush:
        percent = piece.catalog.workshop.rush_percent
        added = Fraction(subtotal) * Fraction(percent) / 100
        yield Line("rush", f"rush, {float(percent):g} %", added)
        subtotal += added
    breaks = [each for each in piece.catalog.price_list.breaks if each.quantity <= piece.quantity]
    if breaks:
        best = max(breaks, key=lambda each: each.quantity)
        what = f"from {best.quantity} pieces, {float(best.percent):g} % off"
        yield Line("quantity_break", what, -Fraction(subtotal) * Fraction(best.percent) / 100)


def _step(piece: Piece, amount: Number) -> int:
    point = piece.catalog.price_list.point
    return point.step_minor if amount >= point.from_minor else point.step_below_minor


def to_price_point(piece: Piece, amount: Number) -> int:
    """Return the amount rounded up to the price point, minor units."""
    step = _step(piece, amount)
    return -(-Fraction(amount) // step) * step


def _point_words(piece: Piece, amount: Number) -> str:
    step = Fraction(_step(piece, amount), 10**piece.catalog.workshop.minor_digits)
    return f"to the next {float(step):g}"


def tax_minor(piece: Piece, total_minor: int) -> int:
    """Return the tax included in a total at the workshop's rate."""
    return tax_included(total_minor, Fraction(piece.catalog.workshop.vat_percent) / 100)


def tax_included(total_minor: int, rate: Fraction) -> int:
    """Return the tax included in a total, half even to the minor unit: total x rate / (1 + rate)."""
    return round(total_minor * rate / (1 + rate))


def deposit_minor(piece: Piece, total_minor: int) -> int:
    """Return the deposit, half even; nothing below the amount from which one is asked."""
    shop = piece.catalog.workshop
    if total_minor < shop.deposit_from_minor:
        return 0
    return round(total_minor * Fraction(shop.deposit_percent) / 100)


def subtotal_rows(indexes: Any, pattern: Pattern) -> Any:
    return None


def total_of(piece: Piece, amount: int, per: int) -> int:
    return 0
