"""What a plain (unquoted) YAML scalar means.

The YAML 1.2 core schema, with exceptions, each for a form that has silently changed somebody's
data in a YAML 1.1 reader, or that would hide a slip of the pen:

* ``yes``, ``no``, ``on``, ``off`` are refused; ``NO`` and ``ON`` are text, being places;
* octal, hexadecimal, zero-led, exponent, infinite and not-a-number figures are refused, and
  figures of more than 24 digits;
* a number with a point becomes a ``Decimal``, never a binary float;
* ``2026-02-16`` becomes a ``date``.
"""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal
from typing import Final

Scalar = None | bool | int | Decimal | date | str

MAX_DIGITS: Final = 24

_NULL = frozenset({"", "~", "null", "Null", "NULL"})
_BOOLEAN = {word: word.lower() == "true" for word in ("true", "True", "TRUE", "false", "False", "FALSE")}
_WOULD_BE_BOOLEAN = frozenset({"yes", "Yes", "no", "No", "on", "On", "off", "Off"})
_INTEGER = re.compile(r"[-+]?[0-9]+", re.ASCII)
_POINTED = re.compile(r"[-+]?(?:[0-9]+\.[0-9]*|\.[0-9]+)", re.ASCII)
_EXPONENT = re.compile(r"[-+]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)[eE][-+]?[0-9]+", re.ASCII)
_ZERO_LED = re.compile(r"[-+]?0[0-9]+", re.ASCII)
_OTHER_RADIX = re.compile(r"[-+]?0[oOxXbB][0-9a-fA-F]+", re.ASCII)
_ENDLESS = re.compile(r"[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN)")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", re.ASCII)


def resolve(word: str) -> Scalar:
    """Return the value of a plain (unquoted) scalar.

    Raises:
        ValueError: saying what to write instead, for the forms refused (see the head of this module).
    """
    if word in _NULL:
        return None
    if word in _BOOLEAN:
        return _BOOLEAN[word]
    if word in _WOULD_BE_BOOLEAN:
        meant = "true" if word.lower() in {"yes", "on"} else "false"
        raise ValueError(f'write true or false instead of {word} (here: {meant}), or quote the text: "{word}"')
    if _DAY.fullmatch(word):
        return _day(word)
    return _number(word)


def _number(word: str) -> int | Decimal | str:
    _refuse_odd_number(word)
    if _INTEGER.fullmatch(word):
        return int(word)
    if _POINTED.fullmatch(word):
        return Decimal(word)
    return word


def _refuse_odd_number(word: str) -> None:
    if _ENDLESS.fullmatch(word):
        raise ValueError(f"{word} is not a figure; write a number, or quote the text")
    if _ZERO_LED.fullmatch(word) or _OTHER_RADIX.fullmatch(word):
        raise ValueError(f"{word[:40]} could be read as another number; write it plainly, or quote the text")
    if _EXPONENT.fullmatch(word):
        raise ValueError(f"write the number {word[:40]} out in full, or quote the text")
    if len(word) > MAX_DIGITS and (_INTEGER.fullmatch(word) or _POINTED.fullmatch(word)):
        raise ValueError(f"a number of more than {MAX_DIGITS} digits; is that meant?")


def _day(word: str) -> date:
    try:
        return date.fromisoformat(word)
    except ValueError:
        raise ValueError(f"there is no day {word}") from None
