"""Colors as the bench sees them: sRGB to CIELAB under D65, and CIEDE2000.

Lab is relative to D65 (no adaptation to D50), since sRGB's white is D65 (IEC 61966-2-1) and
the difference formula only compares two values of one white. CIEDE2000 after Sharma, Wu and
Dalal, Color Res. Appl. 30(1), 2005, doi 10.1002/col.20070, with kL = kC = kH = 1. Floats serve
only inside: what leaves for a verdict is whole thousandths.
"""

from __future__ import annotations

import re
from decimal import ROUND_HALF_EVEN, Decimal
from functools import lru_cache

from coloraide import Color

from catalog.model import Lab, Swatch

_HEX = re.compile(r"#[0-9a-fA-F]{6}", re.ASCII)

# Math libraries differ in the last bits; nine decimals hide that and keep every thousandth exact.
_STABLE_DECIMALS = 9


@lru_cache(maxsize=4096)
def swatch(srgb: str) -> Swatch:
    """Return the swatch of a color.

    Args:
        srgb: ``#`` and six hexadecimal digits, as a monitor takes them.

    Raises:
        ValueError: for any other text.
    """
    if not _HEX.fullmatch(srgb):
        raise ValueError(f"expected a color such as \"#4a1420\", found '{srgb[:40]}'")
    coords = Color(srgb).convert("lab-d65").coords()
    lightness, a, b = (round(float(value), _STABLE_DECIMALS) for value in coords)
    return Swatch(srgb=srgb.lower(), lab=(lightness, a, b), lightness_milli=_milli(lightness))


def de00(a: Lab, b: Lab) -> float:
    """Return the CIEDE2000 difference of two Lab colors of one white."""
    first, second = Color("lab-d65", a), Color("lab-d65", b)
    return round(float(first.delta_e(second, method="2000")), _STABLE_DECIMALS)


@lru_cache(maxsize=65_536)
def de00_milli(a: Swatch, b: Swatch) -> int:
    """Return the CIEDE2000 difference of two swatches in thousandths, rounded half even."""
    return _milli(de00(a.lab, b.lab))


def _milli(value: float) -> int:
    return int((Decimal(repr(value)) * 1000).quantize(Decimal(1), ROUND_HALF_EVEN))
