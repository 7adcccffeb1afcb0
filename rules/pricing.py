"""The price of a piece from the price list, exact until the price point.

The rows of the tariff (base by pattern and band of the outside, the other parts' shares of the gap
to the reference band, surcharges), then rush, the break for the quantity, then up to the price
point. No rounding before that. Lines are shown rounded half even to the minor unit; the rounding is
a line of its own, so that the lines sum to ``each``.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from catalog.model import Kind, Number
from rules.piece import Piece
from rules.tariff import Line, Tariff


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
    return kind.price_band in piece.indexes.tariff.base.get(piece.pattern.code, {})


def priced(piece: Piece) -> Price | None:
    """Return the price, or None while a part is missing or a band has no cell."""
    if "price" not in piece.memo:
        piece.memo["price"] = _price(piece)
    found: Price | None = piece.memo["price"]
    return found


def _price(piece: Piece) -> Price | None:
    pattern, tariff = piece.pattern, piece.indexes.tariff
    if pattern is None or not all(has_cell(piece, part.kind) for part in piece.parts.values()):
        return None
    lines = [line for row in tariff.rows[pattern.code] if (line := row.line(piece)) is not None]
    subtotal: Number = 0
    for line in lines:
        subtotal += line.amount_minor
    more, exact, each = settle(tariff, subtotal, rush=piece.spec.rush, quantity=piece.quantity)
    lines += more
    shown = [(line.code, line.what, round(line.amount_minor)) for line in lines]
    rest = each - sum(amount for _, _, amount in shown)
    if rest:
        shown.append(("round_up", tariff.point_words[_step(tariff, exact)], rest))
    return Price(tuple(lines), tuple(shown), each, piece.quantity)


def settle(tariff: Tariff, subtotal: Number, *, rush: bool, quantity: int) -> tuple[list[Line], Number, int]:
    """Return the lines for rush and quantity, the exact amount after them, and the price of one piece.

    All in minor units. ``subtotal`` is the sum of the tariff's rows for one piece.
    """
    lines = []
    if rush:
        lines.append(tariff.rush.line(subtotal))
        subtotal += lines[-1].amount_minor
    for least, percent in tariff.breaks:
        if quantity >= least:
            lines.append(percent.line(subtotal))
            subtotal += lines[-1].amount_minor
            break
    step = _step(tariff, subtotal)
    return lines, subtotal, -(-subtotal // step) * step


def _step(tariff: Tariff, amount: Number) -> int:
    point = tariff.point
    return point.step_minor if amount >= point.from_minor else point.step_below_minor


def tax_minor(piece: Piece, total_minor: int) -> int:
    """Return the tax included in a total at the workshop's rate."""
    return tax_included(total_minor, piece.indexes.tariff.tax_rate)


def tax_included(total_minor: int, rate: Fraction) -> int:
    """Return the tax included in a total, half even to the minor unit: total x rate / (1 + rate)."""
    return round(Fraction(total_minor * rate.numerator, rate.denominator + rate.numerator))


def deposit_minor(piece: Piece, total_minor: int) -> int:
    """Return the deposit, half even; nothing below the amount from which one is asked."""
    tariff = piece.indexes.tariff
    if total_minor < tariff.deposit_from_minor:
        return 0
    share = tariff.deposit_share
    return round(Fraction(total_minor * share.numerator, share.denominator))
