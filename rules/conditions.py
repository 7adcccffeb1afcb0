"""Conditions, terms and tables of rules: from names and tests in YAML or CSV to the intermediate form."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fractions import Fraction
from math import prod
from typing import Any

from catalog.model import Threshold
from catalog.strict_yaml import Document, Fault, did_you_mean, suggest
from catalog.units import UNITS
from rules.csv_rows import as_test
from rules.ir import AllOf, Compare, Condition, Constant, In, Includes, Lookup, Name, Not, Plain, Value
from rules.nouns import Codes
from rules.vocabulary import TERMS, Type, known_names

Path = tuple[str | int, ...]
_QUANTITY = re.compile(r"(-?[0-9]{1,9}(?:\.[0-9]{1,9})?)(?: ([a-z0-9A-Z]+))?")
_NAME = re.compile(r"[a-z]+\.[a-z0-9_]+")
_NOTHING = AllOf(())
#: A table in a rule has at most so many rows, and stands for at most so many combinations of the values that it lists.
MOST_ROWS, MOST_COMBINATIONS = 500, 20_000


@dataclass(frozen=True, slots=True)
class Beside:
    """What a rule may name that does not stand in it.

    ``codes`` by noun (None: nobody looks codes up here; none at all: no code may be named), rows kept in CSV files by
    file, and tables that give figures, by name.
    """

    codes: Mapping[str, Codes] | None = None
    rows: Mapping[str, Document] = field(default_factory=dict)
    tables: Mapping[str, Lookup] = field(default_factory=dict)


#: What stands beside the trade's own rules: they speak of behavior, codes are the workshop's.
OF_THE_TRADE = Beside(codes={})


class Conditions:
    """Reads conditions over one subject; faults are added to the list given."""

    def __init__(
        self,
        document: Document,
        subject: str,
        thresholds: Mapping[str, Threshold],
        faults: list[Fault],
        beside: Beside = OF_THE_TRADE,
    ) -> None:
        self._document = document
        self._subject = subject
        self._thresholds = thresholds
        self._faults = faults
        self._beside = beside
        self._known = known_names(subject, ())

    @property
    def noted(self) -> int:
        """How many faults there are so far."""
        return len(self._faults)

    def fault(self, path: Path, message: str) -> None:
        """Note a fault at the place of ``path``."""
        line, column = self._document.position(path)
        self._faults.append(Fault(self._document.file, line, column, message))

    def _maps(self, raw: Any, path: Path, fields: frozenset[str]) -> list[dict[str, Any]]:
        """Return a list of maps that hold known fields only; anything else is a fault."""
        if not isinstance(raw, list):
            self.fault(path, "expected a list")
            return []
        found = []
        for place, each in enumerate(raw):
            if not isinstance(each, dict):
                self.fault((*path, place), "expected named fields")
                continue
            for name in each:
                if name not in fields:
                    self.fault((*path, place, name), f"unknown field {name!r}{did_you_mean(str(name), fields)}")
            found.append(each)
        return found

    def _table(self, raw: Any, path: Path) -> tuple[AllOf, ...]:
        """Return the rows of a table: one written alone, a list, or those of a CSV file."""
        if isinstance(raw, dict) and "rows_from" in raw:
            table = self._rows_from(raw, path)
        elif isinstance(raw, list):
            table = tuple(self.condition(row, (*path, place)) for place, row in enumerate(raw[: MOST_ROWS + 1]))
            if not raw:
                self.fault(path, "a table has at least one row")
        else:
            table = (self.condition(raw, path),)
        if len(table) > MOST_ROWS:
            self.fault(path, f"a table has at most {MOST_ROWS} rows; this one has more")
        wide = sum(prod(len(each.values) for each in row.conditions if isinstance(each, In)) for row in table)
        if wide > MOST_COMBINATIONS:
            self.fault(
                path, f"the table stands for {wide} combinations, at most {MOST_COMBINATIONS} are taken; split it"
            )
        return table

    def _rows_from(self, raw: dict[str, Any], path: Path) -> tuple[AllOf, ...]:
        document = self.document_of(raw, path)
        if document is None:
            return ()
        own = Conditions(document, self._subject, self._thresholds, self._faults, self._beside)
        return tuple(own.condition(row, place) for place, row in own.csv_rows(()))

    def document_of(self, raw: dict[str, Any], path: Path) -> Document | None:
        """Return the CSV file that ``rows_from`` names."""
        files = self._beside.rows
        for other in raw:
            if other != "rows_from":
                self.fault((*path, other), f"'rows_from' stands alone; {other!r} is not known beside it")
        if isinstance(raw["rows_from"], str) and raw["rows_from"] in files:
            return files[raw["rows_from"]]
        asked = str(raw["rows_from"])
        hint = did_you_mean(asked, files)
        self.fault((*path, "rows_from"), f"there is no file {asked[:60]!r} beside the rules{hint}")
        return None

    def csv_rows(self, more: tuple[str, ...]) -> list[tuple[Path, dict[str, Any]]]:
        """Return the rows of a CSV document as maps from names to tests, with their places.

        ``more`` are columns that are no names of the vocabulary; their cells stay texts.
        """
        found: list[tuple[Path, dict[str, Any]]] = []
        header = self._document.value["header"]
        for place, name in enumerate(header):
            if name not in more and self._name(name, ("header", place)) is None:
                return []
        for place, cells in enumerate(self._document.value["rows"]):
            row = {}
            for name, cell in cells.items():
                try:
                    row[name] = cell if name in more else as_test(TERMS[name].type, cell)
                except ValueError as bad:
                    self.fault(("rows", place, name), f"{name}: {bad}")
            found.append((("rows", place), row))
        return found

    def condition(self, raw: Any, path: Path) -> AllOf:
        """Return the conditions of a ``{name: test}`` map; all must hold."""
        if not isinstance(raw, dict):
            self.fault(path, "a condition is a map from names to tests")
            return _NOTHING
        found: list[Condition] = []
        for key, test in raw.items():
            here = (*path, key)
            name = self._name(key, here)
            if name is not None:
                found.extend(self._tests(name, test, here))
        return AllOf(tuple(found))

    def _tests(self, name: str, test: Any, path: Path) -> list[Condition]:
        if not isinstance(test, dict):
            return [self._in(name, test, path)]
        found: list[Condition] = []
        if not test:
            self.fault(path, f"{name}: a test asks for something")
        for key, value in test.items():
            if key == "not":
                found.append(Not(self._in(name, value, path)))
            elif key == "includes":
                self._is(name, "words", (*path, key))
                if not isinstance(value, str):
                    self.fault((*path, key), f"'includes' takes one text, found {_short(value)}")
                    continue
                self._known_code(name, value, (*path, key))
                found.append(Includes(name, str(value)))
            elif key in ("max", "min", "above", "below"):
                self._is(name, "number", (*path, key))
                right = self.term(value, (*path, key))
                if right is not None:
                    self._same_unit(Name(name), right, (*path, key))
                    found.append(Compare(Name(name), key, right))
            else:
                self.fault((*path, key), f"unknown test {key!r}: not, includes, max, min, above or below")
        return found

    def _in(self, name: str, raw: Any, path: Path) -> In:
        if TERMS[name].type == "words":
            self.fault(path, f"{name} holds several words: test it with 'includes'")
            return In(name, frozenset())
        values = raw if isinstance(raw, list) else [raw]
        if not values or "unknown" in values:
            self.fault(path, f"{name}: write the values to test for; 'unknown' is none")
            return In(name, frozenset())
        parsed = [self.value(name, each, path) for each in values]
        return In(name, frozenset(each for each in parsed if each is not None and not isinstance(each, frozenset)))

    def _is(self, name: str, kind: Type, path: Path) -> None:
        """Note a fault where a name is of another type than a test of it needs."""
        if TERMS[name].type != kind:
            self.fault(path, f"{name} is of type {TERMS[name].type}; {kind} is needed here")

    def _name(self, raw: Any, path: Path, thresholds: Iterable[str] = ()) -> str | None:
        """Return a name of the vocabulary; a threshold only where one may stand: as a limit."""
        known = [*self._known, *(f"threshold.{name}" for name in thresholds)]
        if raw in known:
            return str(raw)
        self.fault(path, f"unknown name {_short(raw)} for {self._subject!r}{did_you_mean(str(raw), known)}")
        return None

    def term(self, raw: Any, path: Path) -> Plain | None:
        """Return a name of a number or a constant; a constant of a quantity carries its unit."""
        if isinstance(raw, date):
            self.fault(path, f"a limit is no fixed day such as {raw}: days are compared with days of the spec only")
            return None
        if isinstance(raw, str) and raw.startswith("table."):
            return self._lookup(raw, path)
        if isinstance(raw, str) and _NAME.fullmatch(raw):
            name = self._name(raw, path, self._thresholds)
            if name is None:
                return None
            if name in TERMS:
                self._is(name, "number", path)
            return Name(name)
        number = self._quantity(raw, None, path)
        return None if number is None else Constant(number, self._written_unit(raw))

    def _lookup(self, raw: str, path: Path) -> Lookup | None:
        """Return the table meant, where the rule's subject has all that it looks at."""
        table = self._beside.tables.get(raw.removeprefix("table."))
        if table is None:
            hint = did_you_mean(raw, (f"table.{name}" for name in self._beside.tables))
            self.fault(path, f"there is no table {raw[:60]!r}{hint}")
            return None
        for name in table.inputs:
            if name not in self._known:
                self.fault(path, f"{raw} looks at {name}, which {self._subject!r} does not have")
        return table

    @staticmethod
    def _written_unit(raw: Any) -> str:
        match = _QUANTITY.fullmatch(str(raw))
        return (match[2] or "") if match is not None else ""

    def figure(self, raw: Any, unit: str, path: Path) -> int | Fraction | None:
        """Return a number written with its unit, in base units."""
        return self._quantity(raw, unit, path)

    def _quantity(self, raw: Any, unit: str | None, path: Path) -> int | Fraction | None:
        if isinstance(raw, bool) or not isinstance(raw, int | Decimal | str):
            self.fault(path, f"expected a number, found {_short(raw)}")
            return None
        match = _QUANTITY.fullmatch(str(raw))
        if match is None or (match[2] and match[2] not in UNITS) or match[2] == "date":
            self.fault(path, f"expected a number with its unit, found {_short(raw)}")
            return None
        if unit is not None and match[2] != unit and UNITS[unit].words:
            self.fault(path, f"give the unit: '{match[1]} {unit}'")
            return None
        if unit is not None and match[2] and UNITS[match[2]].measures != UNITS[unit].measures:
            self.fault(path, f"a plain number is needed here: '{match[1]}', not one in {match[2]}")
            return None
        exact = Fraction(match[1]) * (UNITS[match[2]].per if match[2] else UNITS[unit].per if unit else 1)
        return exact.numerator if exact.denominator == 1 else exact

    def _unit(self, term: Plain) -> str:
        if isinstance(term, Lookup):
            return term.unit
        if isinstance(term, Constant):
            return term.unit or "count"
        if term.name.startswith("threshold."):
            return self._thresholds[term.name.removeprefix("threshold.")].unit
        return TERMS[term.name].unit

    def _same_unit(self, left: Plain, right: Plain, path: Path) -> None:
        one, other = self._unit(left), self._unit(right)
        if one and other and UNITS[one].measures != UNITS[other].measures:
            self.fault(path, f"one side is in {one}, the other in {other}")
        if isinstance(left, Name) and isinstance(right, Constant):
            self._not_below_zero(left.name, right.value, path)

    def _not_below_zero(self, name: str, value: Value, path: Path) -> None:
        if isinstance(value, int | Fraction) and value < 0 and name in TERMS and not TERMS[name].signed:
            self.fault(path, f"{name} is never below zero")

    def value(self, name: str, raw: Any, path: Path) -> Value:
        """Return a fact's value by the type of its name; ``unknown`` is None."""
        if raw == "unknown":
            return None
        term = TERMS[name]
        match term.type:
            case "number" if term.unit == "date":
                return raw.toordinal() if isinstance(raw, date) else self._wrong(name, raw, path)
            case "number":
                number = self._quantity(raw, term.unit, path)
                self._not_below_zero(name, number, path)
                return number
            case "truth":
                return raw if isinstance(raw, bool) else self._wrong(name, raw, path)
            case "words":
                texts = isinstance(raw, list) and all(isinstance(each, str) for each in raw)
                for each in raw if texts else ():
                    self._known_code(name, each, path)
                return frozenset(raw) if texts else self._wrong(name, raw, path)
        if not isinstance(raw, str):
            return self._wrong(name, raw, path)
        if term.levels and raw not in term.levels:
            near = suggest(str(raw), term.levels)
            self.fault(path, f"{_short(raw)} is no value of {name}; did you mean {near or term.levels[0]!r}?")
        self._known_code(name, raw, path)
        return raw

    def _known_code(self, name: str, code: Any, path: Path) -> None:
        """Note a word that is no code of the noun that a name speaks of: the rule would never see it."""
        noun, codes = TERMS[name].noun, self._beside.codes
        if not noun or codes is None:
            return
        if noun not in codes:
            self.fault(path, f"{name}: codes are a workshop's own; a rule of the trade names none")
        elif code not in codes[noun]:
            self.fault(path, f"{name}: the catalog has no {noun} {_short(code)}{did_you_mean(str(code), codes[noun])}")

    def _wrong(self, name: str, raw: Any, path: Path) -> Value:
        self.fault(path, f"{_short(raw)} does not suit {name}, which is a {TERMS[name].type}")
        return None


def _short(raw: Any) -> str:
    """Return a value as a message shows it, as a file writes it: a file may hold a very long one."""
    match raw:
        case None:
            return "nothing"
        case bool():
            return str(raw).lower()
        case list():
            return "a list"
        case dict():
            return "a map"
        case date():
            return str(raw)
    shown = str(raw) if isinstance(raw, Decimal) else repr(raw)
    return shown if len(shown) <= 80 else f"{shown[:76]}..."
