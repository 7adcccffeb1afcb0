"""From exact base units to the figures that JSON shows."""

from __future__ import annotations

from decimal import Decimal

from catalog.model import Number, Span
from catalog.units import DM2_UM2, number_in


def figure(value: Number, unit: str) -> int | float:
    """Return a base-unit value in ``unit``, half even to 3 decimals; whole figures stay whole."""
    return number_in(value, unit)


def figure_or_none(value: Number | None, unit: str) -> int | float | None:
    """Return :func:`figure`, or None for None."""
    return None if value is None else figure(value, unit)


def mm(value_um: Number) -> int | float:
    """Return micrometers in mm."""
    return figure(value_um, "mm")


def span_mm(span: Span) -> dict[str, int | float]:
    """Return a range in mm."""
    return {"min": mm(span.min_um), "max": mm(span.max_um)}


def digits_of(amount: str) -> int:
    """Return how many digits after the point an amount is written with."""
    return len(amount.partition(".")[2])


def minor_units(amount: str) -> int:
    """Return an amount, as :func:`money` writes it, in minor units."""
    return int(amount.replace(".", ""))


def money(minor: int, digits: int) -> str:
    """Return an amount as decimal text with the currency's own number of digits."""
    return f"{Decimal(minor).scaleb(-digits):f}"


def um2(dm2: float) -> int:
    """Return an area in dm2 of at most 3 decimals in um2, exact."""
    return round(dm2 * 1000) * (DM2_UM2 // 1000)
