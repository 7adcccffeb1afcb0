"""Exact numbers and the few words that every noun shares."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

Number = int | Fraction
Grade = Literal["fine", "sign_off", "refuse"]
Side = Literal["grain", "flesh"]
Lab = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Span:
    """A closed range in micrometers."""

    min_um: int
    max_um: int
