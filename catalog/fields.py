"""Reading fields of a document: every figure exact, every fault placed.

A reader never stops at a fault: it notes it and returns a stand-in of the right type, so one
load finds everything. Whoever builds a noun compares the number of faults before and after,
and drops a noun built on stand-ins.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final

from catalog.model import Number, Span
from catalog.strict_yaml import UNREADABLE, Document, Fault, Unreadable, did_you_mean
from catalog.units import UNITS

# No workshop comes near these. A measure of 1 km makes 10**18 square micrometers at most, so columns
# of areas fit into 64 bits; a price may be in a currency of many zeros.
LARGEST: Final = 100_000_000
LARGEST_MEASURE: Final = 1_000_000
LARGEST_PRICE: Final = 10_000_000_000
LONGEST_TEXT: Final = 400

_NUMBER_WITH_UNIT = re.compile(r"[-+]?[0-9]+(?:\.[0-9]+)?\s*[A-Za-z%]\S*", re.ASCII)
_DECIMAL_COMMA = re.compile(r"[-+]?[0-9]+,[0-9]+", re.ASCII)


@dataclass(slots=True)
class Report:
    """The faults of one load, in the order found."""

    faults: list[Fault] = field(default_factory=list)

    def __len__(self) -> int:
        """Return how many faults there are so far."""
        return len(self.faults)


@dataclass(frozen=True, slots=True)
class Node:
    """A value of a document, and how to complain about it.

    ``value`` is ``UNREADABLE`` where a fault is already noted; every reader is then silent.
    """

    document: Document
    path: tuple[str | int, ...]
    value: Any
    report: Report

    def fault(self, message: str, *, at_key: bool = False) -> None:
        """Note a fault at this value, or at its key."""
        self.report.faults.append(self.document.fault(self.path, message, at_key=at_key))

    def child(self, key: str | int) -> Node:
        """Return the node of a key or an index that is there."""
        return Node(self.document, (*self.path, key), self.value[key], self.report)

    @property
    def name(self) -> str:
        """Return the field's name for messages."""
        return str(next((key for key in reversed(self.path) if isinstance(key, str)), "the file"))

    @property
    def blank(self) -> bool:
        """Say whether nothing is written here (``null``)."""
        return self.value is None

    def _expected(self, what: str) -> None:
        if not isinstance(self.value, Unreadable):
            self.fault(f"{self.name}: expected {what}, found {_described(self.value)}")

    def record(self, required: Sequence[str], optional: Sequence[str] = ()) -> Record:
        """Return this mapping as a record, noting unknown and missing fields."""
        if not isinstance(self.value, dict):
            self._expected("fields (name: value)")
            return Record(self, {})
        known = (*required, *optional)
        for key in self.value:
            if key not in known:
                self.child(key).fault(f"unknown field '{key}'{did_you_mean(key, known)}", at_key=True)
        missing = [key for key in required if key not in self.value]
        if missing:
            self.fault("missing: " + ", ".join(missing), at_key=True)
        return Record(self, {key: self.child(key) for key in known if key in self.value})

    def entries(self) -> Iterator[tuple[str, Node]]:
        """Return the keys of this mapping with their values."""
        if not isinstance(self.value, dict):
            self._expected("a mapping (name: value), or {} where there is nothing to list")
            return iter(())
        return ((key, self.child(key)) for key in self.value)

    def items(self) -> list[Node]:
        """Return the items of this list."""
        if not isinstance(self.value, list):
            self._expected("a list")
            return []
        return [self.child(index) for index in range(len(self.value))]

    def text(self) -> str:
        """Return a text of 1 to 400 characters on one line."""
        if not isinstance(self.value, str):
            self._expected("a text")
            return ""
        words = self.value.strip()
        if not words or len(words) > LONGEST_TEXT or "\n" in words:
            self.fault(f"{self.name}: expected a text of 1 to {LONGEST_TEXT} characters on one line")
        return words

    def text_or_none(self) -> str | None:
        """Return a text, or None where ``null`` is written."""
        return None if self.blank else self.text()

    def texts(self) -> tuple[str, ...]:
        """Return a list of texts."""
        return tuple(item.text() for item in self.items())

    def flag(self) -> bool:
        """Return true or false."""
        if not isinstance(self.value, bool):
            self._expected("true or false")
            return False
        return self.value

    def day(self) -> date:
        """Return a calendar day."""
        if not isinstance(self.value, date):
            self._expected("a day such as 2026-02-16")
            return date.min
        return self.value

    def choice(self, options: Sequence[str]) -> str:
        """Return one of the words allowed."""
        if not isinstance(self.value, str):
            self._expected("one of " + ", ".join(options))
        elif self.value in options:
            return self.value
        else:
            near = did_you_mean(self.value, options)
            listed = "" if near else "; expected one of " + ", ".join(options)
            self.fault(f"{self.name}: '{self.value}' is not known here{near}{listed}")
        return options[0]

    def filled(self) -> list[Node]:
        """Return the items of this list, noting an empty one."""
        items = self.items()
        if self.value == []:
            self.fault(f"{self.name}: the list is empty", at_key=True)
        return items

    def some(self, options: Sequence[str]) -> tuple[str, ...]:
        """Return a list of words allowed, each once, at least one."""
        self.filled()
        return self.choices(options)

    def choices(self, options: Sequence[str]) -> tuple[str, ...]:
        """Return a list of words allowed, each once."""
        return self.distinct(tuple(item.choice(options) for item in self.items()))

    def distinct(self, words: tuple[str, ...]) -> tuple[str, ...]:
        """Return the words of this list, noting those that stand in it twice."""
        for index, word in enumerate(words):
            if word in words[:index]:
                self.child(index).fault(f"'{word}' is listed twice")
        return words

    def number(self, unit: str = "", *, above_zero: bool = False, largest: int = LARGEST) -> Number:
        """Return an exact number, 0 or more: an int where it is whole, else a Fraction.

        Args:
            unit: what to call the unit in messages, nothing for a plain number.
            above_zero: refuse 0 as well.
            largest: what is more must be a slip.
        """
        if not isinstance(self.value, int | Decimal) or isinstance(self.value, bool):
            self._expected(_number_expected(self.value, unit))
            return 1
        if self.value < 0 or (above_zero and self.value == 0):
            least = "more than 0" if above_zero else "0 or more"
            self.fault(f"{self.name}: {self.value} is too small; it must be {least}")
        elif self.value > largest:
            self.fault(f"{self.name}: {self.value} is more than any workshop has; check the unit")
        exact = Fraction(self.value)
        return exact.numerator if exact.denominator == 1 else exact

    def ratio(self, *, above_zero: bool = True, at_most: int | None = None) -> Fraction:
        """Return an exact ratio, noting one that is too large."""
        value = Fraction(self.number(above_zero=above_zero))
        if at_most is not None and value > at_most:
            self.fault(f"{self.name}: {self.value} is more than {at_most}")
        return value

    def percent(self) -> Number:
        """Return a percentage from 0 to 100."""
        value = self.number("%")
        if 100 < value <= LARGEST:
            self.fault(f"{self.name}: {self.value} is more than 100")
        return value

    def whole(self, *, at_least: int = 0, at_most: int = LARGEST) -> int:
        """Return a whole number within bounds."""
        value = self.number()
        if not isinstance(value, int):
            self.fault(f"{self.name}: expected a whole number, found {self.value}")
            return at_least
        if 0 <= value < at_least:
            self.fault(f"{self.name}: {value} is too small; at least {at_least}")
        elif at_most < value <= LARGEST:
            self.fault(f"{self.name}: {value} is too large; at most {at_most}")
        return value

    def base(self, unit: str, *, above_zero: bool = False) -> int:
        """Return a figure in base units: micrometers for mm and m, and so on (:mod:`catalog.units`)."""
        per = UNITS[unit].per
        found = self.number(UNITS[unit].words, above_zero=above_zero, largest=LARGEST_MEASURE)
        value = Fraction(found) * per
        if value.denominator != 1:
            step = Decimal(1) / per
            self.fault(f"{self.name}: {self.value} is finer than {step:f} {UNITS[unit].words}, the step held here")
        return int(value)

    def span(self) -> Span:
        """Return a range written ``{min: 0.9, max: 1.4}`` in mm, noting one that runs backward."""
        fields = self.record(("min", "max"))
        span = Span(fields["min"].base("mm"), fields["max"].base("mm"))
        if span.min_um > span.max_um:
            self.fault(f"{self.name}: min {fields['min'].value} is more than max {fields['max'].value}")
        return span

    def money(self, digits: int) -> int:
        """Return an amount in minor units of a currency with that many decimal digits."""
        value = Fraction(self.number("the shop's currency", largest=LARGEST_PRICE)) * 10**digits
        if value.denominator != 1:
            smallest = Decimal(1).scaleb(-digits)
            self.fault(f"{self.name}: {self.value} is finer than {smallest}, the currency's smallest unit")
        return int(value)


@dataclass(frozen=True, slots=True)
class Record:
    """The fields of a mapping. A field that is not there reads as a silent stand-in."""

    node: Node
    fields: dict[str, Node]

    def __getitem__(self, name: str) -> Node:
        """Return the field, or a silent node where it is missing."""
        if name in self.fields:
            return self.fields[name]
        return Node(self.node.document, (*self.node.path, name), UNREADABLE, self.node.report)

    def has(self, name: str) -> bool:
        """Say whether the field is written and not ``null``."""
        return name in self.fields and not self.fields[name].blank


def _described(value: object) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f"the text '{value[:60]}'"
    if isinstance(value, dict):
        return "a mapping"
    return "a list" if isinstance(value, list) else str(value)


def _number_expected(value: object, unit: str) -> str:
    what = f"a number in {unit}" if unit else "a number"
    if isinstance(value, str) and _NUMBER_WITH_UNIT.fullmatch(value):
        return f"{what} written without its unit"
    if isinstance(value, str) and _DECIMAL_COMMA.fullmatch(value):
        return f"{what} with a decimal point"
    return what
