"""What a mill's stamp says, and ounces: old measures read exactly or refused.

``4/1`` is 4 1/4 square feet where mills count quarters; ``18.2`` is 18.2 where they count
tenths and 18 1/2 where they count quarters (Roberts and Etherington, Bookbinding and the
Conservation of Books, entry "footage"). So a stamp is read only by a convention that is named,
and nothing is guessed from its looks. Stock is never taken from a stamp: a quarter foot is
2.32 dm2, an eighth of a 2 sq ft shell.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Final

from catalog.model import Number
from catalog.units import DM2_UM2, OUNCE_UM, SQUARE_FOOT_UM2

QUARTERS: Final = "sqft_quarters"
TENTHS: Final = "sqft_tenths"
DECIMAL: Final = "sqft_decimal"
DM2: Final = "dm2"

_QUARTERS = re.compile(r"([0-9]{1,4})(?:[/.]([0-9]+))?", re.ASCII)
_TENTHS = re.compile(r"([0-9]{1,4})(?:\.([0-9]+))?", re.ASCII)
_PLAIN = re.compile(r"[0-9]{1,6}(?:\.[0-9]{1,3})?", re.ASCII)
_MOST_QUARTERS = 3


def stamp_um2(stamp: str, convention: str) -> Fraction:
    """Return the area that a stamp states, in square micrometers, exact.

    Args:
        stamp: the text as stamped, such as ``2/1`` or ``18.2``.
        convention: ``sqft_quarters`` (the figure after ``/`` or the point counts quarters),
            ``sqft_tenths`` (it counts tenths), ``sqft_decimal`` (a plain number, as electronic
            machines print it) or ``dm2`` (likewise).

    Raises:
        ValueError: for a convention not listed, and for a stamp that it cannot mean (``4/4``:
            there is no fourth quarter).
    """
    text = stamp.strip()
    if convention == QUARTERS:
        return _quarters(text) * SQUARE_FOOT_UM2
    if convention == TENTHS:
        return _tenths(text) * SQUARE_FOOT_UM2
    if convention == DECIMAL:
        return _plain(text, "square feet") * SQUARE_FOOT_UM2
    if convention == DM2:
        return _plain(text, "square decimeters") * DM2_UM2
    known = f"{QUARTERS}, {TENTHS}, {DECIMAL} or {DM2}"
    raise ValueError(f"'{convention}' is no way to read a stamp; say {known}, and ask the mill which it is")


def square_feet_to_dm2(square_feet: Number) -> Fraction:
    """Return square decimeters, exact: 1 sq ft = 9.290304 dm2 (1 in = 25.4 mm)."""
    return Fraction(square_feet) * Fraction(SQUARE_FOOT_UM2, DM2_UM2)


def ounces_to_um(ounces: Number) -> Fraction:
    """Return the thickness of leather in micrometers, exact: 1 oz = 1/64 in = 396.875 um."""
    return Fraction(ounces) * OUNCE_UM


def _quarters(text: str) -> Fraction:
    found = _QUARTERS.fullmatch(text)
    if found is None:
        raise ValueError(f"'{text[:40]}' is not feet and quarters, such as 2/1 for 2 1/4 sq ft")
    feet, quarters = int(found[1]), int(found[2] or 0)
    if quarters > _MOST_QUARTERS or len(found[2] or "") > 1:
        raise ValueError(f"'{text}' names {found[2]} quarters; a stamp in quarters ends in 0, 1, 2 or 3")
    return _some(feet + Fraction(quarters, 4), text)


def _tenths(text: str) -> Fraction:
    found = _TENTHS.fullmatch(text)
    if found is None:
        raise ValueError(f"'{text[:40]}' is not feet and tenths, such as 18.2")
    if len(found[2] or "") > 1:
        raise ValueError(f"'{text}' has more than one figure after the point; a stamp in tenths has one")
    return _some(Fraction(text), text)


def _plain(text: str, unit: str) -> Fraction:
    if not _PLAIN.fullmatch(text):
        raise ValueError(f"'{text[:40]}' is not a number of {unit}, such as 18.6")
    return _some(Fraction(text), text)


def _some(area: Fraction, text: str) -> Fraction:
    if area == 0:
        raise ValueError(f"'{text}' says that there is no leather")
    return area
