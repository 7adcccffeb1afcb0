"""Figures and words as JSON carries them, shared by every schema."""

from __future__ import annotations

import re
from datetime import date
from fractions import Fraction
from typing import Annotated, Any, Final

from pydantic import AfterValidator, BeforeValidator, Field, StringConstraints, WithJsonSchema
from pydantic_core import PydanticCustomError

# No control characters (C0, DEL, C1): they break terminals, labels and some databases.
_LETTERS: Final = r"^[^\u0000-\u001f\u007f-\u009f]*[^\u0000-\u001f\u007f-\u009f\s][^\u0000-\u001f\u007f-\u009f]*$"
_PLAIN: Final = r"^[^\u0000-\u001f\u007f-\u009f]*$"
_LINES: Final = r"^[^\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f]*$"
_NAME: Final = r"^[A-Za-z0-9_.-]*$"
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", re.ASCII)
_TOLERANCE: Final = 1e-6

Code = Annotated[str, StringConstraints(min_length=1, max_length=40, pattern=_PLAIN)]
# Ids of rules; those of a house are its prefix and up to 40 signs.
RuleId = Annotated[str, StringConstraints(min_length=1, max_length=42, pattern=_PLAIN)]
# Names of parts and slots are keys and stand in JSON Pointers, so they are plainer than codes.
Slot = Annotated[str, StringConstraints(min_length=1, max_length=40, pattern=_NAME)]
# ISO 3166-1 alpha-2, or ISO 3166-2 with the region: another spelling of a place would slip past a law row.
Place = Annotated[str, StringConstraints(pattern=r"^[A-Za-z]{2}(-[A-Za-z0-9]{1,3})?$", max_length=6)]
# At least one sign that is no space.
Letters = Annotated[str, StringConstraints(min_length=1, max_length=100, pattern=_LETTERS)]
Line = Annotated[str, StringConstraints(min_length=1, max_length=100, pattern=_PLAIN)]
Prose = Annotated[str, StringConstraints(min_length=1, max_length=2000, pattern=_LINES)]


def _whole(value: Any) -> int:
    """JSON Schema's integer: 5 and 5.0, but neither true nor "5"."""
    if type(value) is int:
        return value
    if type(value) is float and value.is_integer():
        return int(value)
    raise PydanticCustomError("int_type", "a whole number is needed")


def _number(value: Any) -> float:
    if type(value) is int or type(value) is float:
        # An integer too long for a float is far beyond every bound; keep the message about bounds.
        return float(value) if abs(value) < 1e18 else (1e18 if value > 0 else -1e18)
    raise PydanticCustomError("float_type", "a number is needed")


def _thousandths(value: float) -> float:
    """At most 3 decimals; 0.1 + 0.2 as binary floats have it still passes."""
    thousandths = value * 1000
    if abs(thousandths - round(thousandths)) > _TOLERANCE:
        raise PydanticCustomError("too_fine", "at most 3 decimals")
    return value


def _truth(value: Any) -> bool:
    if type(value) is bool:
        return value
    raise PydanticCustomError("bool_type", "true or false is needed")


def _day(value: Any) -> date:
    if type(value) is str and _DAY.fullmatch(value):
        try:
            return date.fromisoformat(value)
        except ValueError:
            pass
    raise PydanticCustomError("wrong_date", "a date such as 2026-05-29 is needed")


#: A number, not text, with at most 3 decimals.
THOUSANDTHS: Final = (BeforeValidator(_number), AfterValidator(_thousandths))
# Bounds stand before the validators: only there does the JSON Schema show them.
WholeNumber = BeforeValidator(_whole)
Quantity = Annotated[int, Field(ge=1, le=1000), WholeNumber]
Count = Annotated[int, Field(ge=0, le=1000), WholeNumber]
Truth = Annotated[bool, BeforeValidator(_truth)]
Day = Annotated[date, BeforeValidator(_day), WithJsonSchema({"type": "string", "format": "date"})]
Millimeters = Annotated[
    float,
    Field(ge=0.001, le=10_000, json_schema_extra={"multipleOf": 0.001}),
    *THOUSANDTHS,
]
Kilograms = Annotated[
    float,
    Field(ge=0.001, le=1_000, json_schema_extra={"multipleOf": 0.001}),
    *THOUSANDTHS,
]

Area = Annotated[
    float,
    Field(ge=0, le=10_000, json_schema_extra={"multipleOf": 0.001}),
    *THOUSANDTHS,
]
Measure = Annotated[
    float,
    Field(ge=0, le=100_000, json_schema_extra={"multipleOf": 0.001}),
    *THOUSANDTHS,
]
Amount = Annotated[
    float,
    Field(ge=0, le=1_000_000, json_schema_extra={"multipleOf": 0.001}),
    *THOUSANDTHS,
]

# What goes out. Whole figures stay whole (4, not 4.0); money is text, so that no reader makes it a float.
Figure = Annotated[int | float, WithJsonSchema({"type": "number"})]
Money = Annotated[str, Field(json_schema_extra={"pattern": r"^-?[0-9]+(\.[0-9]{1,3})?$"})]
Ratio = Annotated[str, Field(json_schema_extra={"pattern": r"^[0-9]+(\.[0-9]+)?$"})]
IsoDate = Annotated[str, Field(json_schema_extra={"format": "date"})]


def um(millimeters: float) -> int:
    """Return whole micrometers; exact, since at most 3 decimals were let in."""
    return round(millimeters * 1000)


def exact(value: float) -> int | Fraction:
    """Return a figure of at most 3 decimals exactly."""
    found = Fraction(round(value * 1000), 1000)
    return found.numerator if found.denominator == 1 else found
