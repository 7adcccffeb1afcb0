"""Color families: what a bench calls a color, from the sRGB figures of its swatch.

Exact: whole numbers and ratios of them, so that no rounding puts a leather on the other side of a bound. The bounds are
common practice, no source; a workshop that sorts its shelves otherwise names leathers instead.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Final

from catalog.model import Swatch

FAMILIES: Final = ("black", "gray", "white", "red", "brown", "orange", "tan", "yellow", "green", "blue", "purple")
#: Below this spread of the three channels (0 to 255) a color is a gray.
_GRAY_BELOW: Final = 14
#: L* in thousandths: darker is black, paler is white.
_BLACK_BELOW, _WHITE_FROM = 20_000, 85_000
#: Oranges darker than this are brown; paler and duller ones are tan. L* in thousandths, and the channels' spread.
_BROWN_BELOW, _ORANGE_FROM = 50_000, 130
#: Where each family ends, in sixths of the circle of hues counted from red (60 degrees each).
_HUES: Final = (
    (Fraction(1, 4), "red"),
    (Fraction(3, 4), "orange"),
    (Fraction(7, 6), "yellow"),
    (Fraction(8, 3), "green"),
    (Fraction(17, 4), "blue"),
    (Fraction(11, 2), "purple"),
    (Fraction(6), "red"),
)


def family_of(swatch: Swatch) -> str:
    """Return the color family of a swatch, one of :data:`FAMILIES`."""
    red, green, blue = (int(swatch.srgb[place : place + 2], 16) for place in (1, 3, 5))
    most, least = max(red, green, blue), min(red, green, blue)
    spread, lightness = most - least, swatch.lightness_milli
    if spread < _GRAY_BELOW:
        return "black" if lightness < _BLACK_BELOW else "white" if lightness >= _WHITE_FROM else "gray"
    hue = next(name for end, name in _HUES if _sixths(red, green, blue) <= end)
    if hue != "orange":
        return hue
    if lightness < _BROWN_BELOW:
        return "brown"
    return "orange" if spread >= _ORANGE_FROM else "tan"


def _sixths(red: int, green: int, blue: int) -> Fraction:
    """Return the hue in sixths of the circle, 0 up to 6, red at 0: the hexagon of the sRGB cube."""
    most, spread = max(red, green, blue), max(red, green, blue) - min(red, green, blue)
    if most == red:
        return Fraction(green - blue, spread) % 6
    if most == green:
        return Fraction(blue - red, spread) + 2
    return Fraction(red - green, spread) + 4
