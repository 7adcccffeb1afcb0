"""Units: the exact whole numbers inside, and what people read.

Lengths are held in micrometers whether shown in mm or m. The leather ounce is 1/64 inch
(exact: 1 in = 25.4 mm by the 1959 yard and pound agreement), so 0.396875 mm; trade tables
round it to 0.4. One square foot is 9.290304 dm2 exactly.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from catalog.model import Number

OUNCE_UM = Fraction(25_400, 64)
SQUARE_FOOT_UM2 = 304_800 * 304_800
DM2_UM2 = 10**10


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit people read, how many base units make one of it, and what it measures."""

    symbol: str
    per: int
    words: str
    measures: str


UNITS: dict[str, Unit] = {
    unit.symbol: unit
    for unit in (
        Unit("mm", 1_000, "mm", "length"),
        Unit("m", 1_000_000, "m", "length"),
        Unit("dm2", DM2_UM2, "dm2", "area"),
        Unit("ml", 1_000, "ml", "volume"),
        Unit("N", 1, "N", "force"),
        Unit("min", 1, "minutes", "time"),
        Unit("weeks", 1, "weeks", "weeks"),
        Unit("days", 1, "days", "days"),
        Unit("kG2mm2", 1, "kG2mm2", "flux index"),
        Unit("kg", 1, "kg", "weight"),
        Unit("g", 1, "g", "light weight"),
        Unit("percent", 1, "%", "percent"),
        Unit("ratio", 1, "", "number"),
        Unit("de00", 1_000, "delta E 2000", "color distance"),
        Unit("lightness", 1_000, "L*", "lightness"),
        Unit("count", 1, "", "number"),
        Unit("date", 1, "", "date"),
        Unit("money", 1, "", "money"),
    )
}


def thousandths(value: Number, unit: str) -> int:
    """Return ``value`` (base units) in thousandths of ``unit``, rounded half even: for show only."""
    whole, rest = divmod(value.numerator * 1000, per := value.denominator * UNITS[unit].per)
    return whole + (2 * rest > per or (2 * rest == per and whole % 2))


def shown(value: Number, unit: str) -> Decimal:
    """Return ``value`` (base units) in ``unit``, rounded half even to 3 decimals for show only."""
    return Decimal(thousandths(value, unit)).scaleb(-3)


def number_in(value: Number, unit: str) -> int | float:
    """Return ``value`` (base units) as a JSON number in ``unit``, at most 3 decimals."""
    figure = thousandths(value, unit)
    return figure / 1000 if figure % 1000 else figure // 1000


def text_in(value: Number, unit: str) -> str:
    """Return ``value`` (base units) in ``unit`` as people write it: no exponent, no trailing zeros."""
    figure = thousandths(value, unit)
    whole, rest = divmod(abs(figure), 1000)
    sign = "-" if figure < 0 else ""
    return f"{sign}{whole}.{rest:03d}".rstrip("0") if rest else f"{sign}{whole}"


def denier_of(tex: Number) -> Fraction:
    """Return a thread's mass in g per 9,000 m; tex is g per 1,000 m (ISO 1144)."""
    return Fraction(tex) * 9


def metric_number_of(tex: Number) -> Fraction:
    """Return a thread's length in m per g (metric number Nm)."""
    return Fraction(1000) / Fraction(tex)


def stitches_per_inch(pitch_um: int) -> Fraction:
    """Return stitches an inch for a pitch in um; 1 in = 25.4 mm."""
    return Fraction(25_400, pitch_um)
