"""Tables of a house that give a figure: read, and proven to have neither gaps nor overlaps.

A table looks at some names of the vocabulary, its inputs, and gives the figure of the row that holds. Under the policy
``unique`` no two rows may hold at once; under ``first`` the uppermost counts, and each row must be reached by
something. What no row covers is a gap, unless ``otherwise`` says what then holds.

The proof is exact. Each input falls into pieces inside which no row changes its mind: single words, and for figures the
bounds named and the stretches between them. Every combination of pieces is looked at once, pieces that all rows treat
alike taken together (as for decision tables: Calvanese et al., arXiv 1603.07466). Whole numbers have no stretch
between one and the next, and most figures lie at or above zero.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate
from math import floor, prod
from operator import xor
from typing import Any, Final

from catalog.model import Threshold
from catalog.strict_yaml import Document, Fault, did_you_mean
from catalog.units import UNITS
from rules.conditions import MOST_ROWS, Beside, Conditions, Path
from rules.ir import AllOf, Compare, Constant, In, Interval, Lookup, LookupRow, TableCell
from rules.vocabulary import SUBJECTS, TERMS, Term, known_names
from rules.words import figure

MOST_TABLES: Final = 20
MOST_INPUTS: Final = 6
#: Combinations of pieces that one table may fall into.
MOST_PIECES: Final = 20_000
#: Gaps, overlaps and rows never reached that are told of one table.
_TOLD: Final = 5
_GIVES: Final = "gives"
_FIELDS: Final = ("says", "unit", "inputs", "rows", "otherwise", "policy")
_NAME: Final = re.compile(r"[a-z][a-z0-9_]{0,39}")
_UNITS: Final = tuple(unit for unit in UNITS if unit not in ("date", "money"))
_ELSE: Final = "any other"

Number = int | Fraction


def read_tables(
    document: Document, thresholds: Mapping[str, Threshold], faults: list[Fault], beside: Beside
) -> dict[str, Lookup]:
    """Return the tables of a house's file by name; those with a fault are left out."""
    raw = document.value.get("tables", {})
    found: dict[str, Lookup] = {}
    if not isinstance(raw, dict):
        faults.append(document.fault(("tables",), "'tables' is a map from names to tables"))
        return found
    for name, table in raw.items():
        before = len(faults)
        reader = _TableReader(document, ("tables", name), thresholds, faults, beside)
        lookup = reader.read(name, table)
        if lookup is not None and len(faults) == before:
            found[name] = lookup
    return found


class _TableReader:
    """Reads one table; faults are added to the list given."""

    def __init__(
        self, document: Document, path: Path, thresholds: Mapping[str, Threshold], faults: list[Fault], beside: Beside
    ) -> None:
        self._document = document
        self._path = path
        self._thresholds = thresholds
        self._faults = faults
        self._beside = beside

    def _fault(self, path: Path, message: str) -> None:
        self._faults.append(self._document.fault((*self._path, *path), message))

    def read(self, name: str, raw: Any) -> Lookup | None:
        """Return a table, or None where it has a fault that hides what it means."""
        before = len(self._faults)
        if not isinstance(raw, dict):
            self._fault((), f"a table has the fields {', '.join(_FIELDS)}")
            return None
        self._fields(name, raw)
        subject = self._inputs(raw.get("inputs"))
        if len(self._faults) > before or subject is None:
            return None
        inputs, unit = tuple(raw["inputs"]), str(raw["unit"])
        otherwise = None
        if "otherwise" in raw:
            parser = Conditions(self._document, subject, self._thresholds, self._faults, self._beside)
            otherwise = parser.figure(raw["otherwise"], unit, (*self._path, "otherwise"))
        rows = self._rows(raw.get("rows"), subject, inputs, unit)
        if len(self._faults) > before:
            return None
        lookup = Lookup(f"table.{name}", raw["says"], unit, inputs, tuple(row for row, _ in rows), otherwise)
        self._prove(lookup, [place for _, place in rows], first=raw.get("policy") == "first")
        return lookup

    def _fields(self, name: str, raw: dict[str, Any]) -> None:
        """Note faults of a table's name, unit and policy, and fields that there are not."""
        if not _NAME.fullmatch(name):
            self._fault((), f"a table's name is in small letters, digits and '_', at most 40: not {name[:60]!r}")
        for field in raw:
            if field not in _FIELDS:
                self._fault((field,), f"unknown field {field[:60]!r}{did_you_mean(field, _FIELDS)}")
        if not isinstance(raw.get("says"), str):
            self._fault((), "a table needs 'says' as text: what its figure is")
        if raw.get("unit") not in _UNITS:
            self._fault(("unit",), f"a table needs the unit of its figure, one of {', '.join(_UNITS)}")
        if raw.get("policy", "unique") not in ("unique", "first"):
            self._fault(("policy",), "a policy is 'unique' (one row at most holds) or 'first' (the uppermost counts)")

    def _inputs(self, raw: Any) -> str | None:
        """Return the subject of a table's inputs, ``piece`` where all are names of the whole piece."""
        path: Path = ("inputs",)
        if not isinstance(raw, list) or not 1 <= len(raw) <= MOST_INPUTS:
            self._fault(path, f"a table needs 'inputs', a list of 1 to {MOST_INPUTS} names")
            return None
        subjects = {str(name).partition(".")[0] for name in raw} - {"piece"}
        subject = min(subjects & SUBJECTS.keys(), default="piece")
        known = known_names(subject, ())
        for place, name in enumerate(raw):
            if name not in known:
                hint = did_you_mean(str(name), known)
                self._fault((*path, place), f"unknown name {str(name)[:60]!r} beside those of {subject!r}{hint}")
            elif name in raw[:place]:
                self._fault((*path, place), f"{name} stands there twice")
            elif TERMS[name].type == "words" or TERMS[name].unit == "date":
                self._fault((*path, place), f"{name} is no input: a table looks at words, truths and figures, no days")
        return subject

    def _rows(
        self, raw: Any, subject: str, inputs: tuple[str, ...], unit: str
    ) -> list[tuple[LookupRow, tuple[Document, Path]]]:
        """Return the rows with their places: those listed, or those of a CSV file."""
        path: Path = (*self._path, "rows")
        parser = Conditions(self._document, subject, self._thresholds, self._faults, self._beside)
        document, listed = self._document, list[tuple[Path, Any]]()
        if isinstance(raw, dict) and "rows_from" in raw:
            other = parser.document_of(raw, path)
            if other is None:
                return []
            document = other
            parser = Conditions(document, subject, self._thresholds, self._faults, self._beside)
            listed.extend(parser.csv_rows((_GIVES,)))
        elif isinstance(raw, list) and 1 <= len(raw) <= MOST_ROWS:
            listed.extend(((*path, place), row) for place, row in enumerate(raw))
        else:
            self._fault(("rows",), f"a table needs 'rows', a list of 1 to {MOST_ROWS} rows, or rows_from a CSV file")
            return []
        found = []
        for place, row in listed:
            if not isinstance(row, dict) or _GIVES not in row:
                parser.fault(place, f"a row says what it asks of the inputs, and {_GIVES!r}, its figure")
                continue
            gives = parser.figure(row[_GIVES], unit, (*place, _GIVES))
            cells = self._cells(parser, {name: test for name, test in row.items() if name != _GIVES}, place, inputs)
            if gives is not None:
                found.append((LookupRow(cells, gives), (document, place)))
        return found

    @staticmethod
    def _cells(
        parser: Conditions, asked: dict[str, Any], place: Path, inputs: tuple[str, ...]
    ) -> tuple[TableCell, ...]:
        cells: dict[str, TableCell] = {}
        for name, test in asked.items():
            if name not in inputs:
                parser.fault((*place, name), f"{name[:60]!r} is no input of the table{did_you_mean(name, inputs)}")
                continue
            before = parser.noted
            condition = parser.condition({name: test}, place)
            try:
                cells[name] = _cell_of(condition)
            except ValueError as bad:
                if parser.noted == before:
                    parser.fault((*place, name), f"{name}: {bad}")
        return tuple(cells.get(name) for name in inputs)

    def _prove(self, table: Lookup, places: list[tuple[Document, Path]], *, first: bool) -> None:
        pieces = [_pieces(table, place, self._beside) for place in range(len(table.inputs))]
        wide = prod(len(each) for each in pieces)
        if wide > MOST_PIECES:
            self._fault(
                ("rows",), f"the table falls into {wide} combinations, at most {MOST_PIECES} are looked at; split it"
            )
            return
        proof = _Proof(table, pieces, first=first)
        proof.walk()
        if table.otherwise is None:
            for witness in proof.gaps:
                self._fault(("rows",), f"no row holds where {witness}; add one, or say what holds 'otherwise'")
        for one, other, witness in proof.overlaps:
            document, path = places[other]
            line = places[one][0].position(places[one][1])[0]
            self._faults.append(
                document.fault(path, f"this row and that of line {line} both hold where {witness}; one row may")
            )
        for row in proof.never_reached() if first else ():
            document, path = places[row]
            self._faults.append(document.fault(path, "this row is never reached: rows above it hold wherever it does"))


def _cell_of(condition: AllOf) -> TableCell:
    """Return a test of one input as a cell. Raises ValueError for one that a table has no cell for."""
    cell: TableCell = None
    low: tuple[Number, bool] | None = None
    high: tuple[Number, bool] | None = None
    for each in condition.conditions:
        match each:
            case In(name=name, values=values) if TERMS[name].type == "number":
                numbers = [value for value in values if isinstance(value, int | Fraction)]
                if len(numbers) != 1:
                    raise ValueError("a row asks for one figure or one range; write another row for the other")
                low = high = numbers[0], True
            case In(values=values):
                cell = frozenset(value for value in values if isinstance(value, str | bool))
            case Compare(op=op, right=Constant(value=value)):
                if op in ("min", "above"):
                    low = value, op == "min"
                else:
                    high = value, op == "max"
            case _:
                raise ValueError("a row asks for values, or for a range between figures")
    if low is None and high is None:
        return cell
    if low is not None and high is not None and (low[0] > high[0] or (low[0] == high[0] and not (low[1] and high[1]))):
        raise ValueError("the range holds nothing")
    return Interval(
        None if low is None else low[0], None if high is None else high[0],
        low is None or low[1], high is None or high[1],
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Piece:
    """Values of one input that all rows treat alike: which rows admit them, as bits, and one of them in words."""

    admitted: int
    witness: str


def _pieces(table: Lookup, place: int, beside: Beside) -> list[_Piece]:
    """Return the pieces of an input, those that all rows treat alike taken together."""
    term = TERMS[table.inputs[place]]
    cells = [row.cells[place] for row in table.rows]
    found: dict[int, _Piece] = {}
    parted = _parted(term, cells) if term.type == "number" else _worded(term, cells, beside)
    for admitted, words in parted:
        found.setdefault(admitted, _Piece(admitted, f"{term.label} is {words}"))
    return list(found.values())


def _worded(term: Term, cells: list[TableCell], beside: Beside) -> Iterator[tuple[int, str]]:
    """Give every word or truth that an input may be, with the rows that admit it."""
    always, admitted = 0, dict[str | bool, int]()
    for row, cell in enumerate(cells):
        if isinstance(cell, frozenset):
            for value in cell:
                admitted[value] = admitted.get(value, 0) | 1 << row
        else:
            always |= 1 << row
    if term.type == "truth":
        yield from ((admitted.get(value, 0) | always, str(value).lower()) for value in (True, False))
        return
    codes = (beside.codes or {}).get(term.noun, ()) if term.noun != "place" else ()
    closed = term.levels or tuple(codes)
    yield from ((admitted.get(word, 0) | always, str(word)) for word in closed or sorted(map(str, admitted)))
    if not closed:
        yield always, _ELSE


def _parted(term: Term, cells: list[TableCell]) -> Iterator[tuple[int, str]]:
    """Give every bound that rows name, and one figure from each stretch between them, with the rows that admit it."""
    values = list(_figures(term, cells))
    changes = [0] * (len(values) + 1)
    for row, cell in enumerate(cells):
        low, high = 0, len(values)
        if isinstance(cell, Interval):
            if cell.low is not None:
                low = (bisect_left if cell.low_in else bisect_right)(values, cell.low)
            if cell.high is not None:
                high = (bisect_right if cell.high_in else bisect_left)(values, cell.high)
        if low < high:
            changes[low] ^= 1 << row
            changes[high] ^= 1 << row
    for value, admitted in zip(values, accumulate(changes, xor), strict=False):
        yield admitted, figure(value, term.unit)


def _figures(term: Term, cells: list[TableCell]) -> Iterator[Number]:
    """Give, in order, every bound that rows name, and one figure from each stretch between them."""
    ends = {end for cell in cells if isinstance(cell, Interval) for end in (cell.low, cell.high) if end is not None}
    least: Number | None = None if term.signed else 0
    bounds = sorted(end for end in ends if least is None or end > least)
    if least is None:
        yield (bounds[0] if bounds else 0) - 1
    bounds = bounds if least is None else [least, *bounds]
    whole = term.unit == "count"
    for place, bound in enumerate(bounds):
        after = bounds[place + 1] if place + 1 < len(bounds) else bound + 2
        between: Number = floor(bound) + 1 if whole else (Fraction(bound) + after) / 2
        if not whole or Fraction(bound).denominator == 1:
            yield bound
        if between < after:
            yield between


class _Proof:
    """Looks at every combination of pieces of a table's inputs once."""

    def __init__(self, table: Lookup, pieces: list[list[_Piece]], *, first: bool) -> None:
        self.gaps: list[str] = []
        self.overlaps: list[tuple[int, int, str]] = []
        self._rows = len(table.rows)
        self._pieces = pieces
        self._first = first
        self._reached = 0
        self._pairs: set[tuple[int, int]] = set()

    def walk(self) -> None:
        """Look at every combination."""
        self._walk(0, (1 << self._rows) - 1, ())

    def never_reached(self) -> list[int]:
        """Return the rows that none of the combinations comes to."""
        return [row for row in range(self._rows) if not self._reached >> row & 1][:_TOLD]

    def _walk(self, depth: int, rows: int, witness: tuple[str, ...]) -> None:
        if not rows:
            if len(self.gaps) < _TOLD:
                self.gaps.append(" and ".join(witness))
            return
        if depth == len(self._pieces):
            self._reached |= rows & -rows
            if not self._first and rows & (rows - 1):
                self._overlap(rows, " and ".join(witness))
            return
        for piece in self._pieces[depth]:
            self._walk(depth + 1, rows & piece.admitted, (*witness, piece.witness))

    def _overlap(self, rows: int, witness: str) -> None:
        one = (rows & -rows).bit_length() - 1
        rest = rows & (rows - 1)
        pair = one, (rest & -rest).bit_length() - 1
        if pair not in self._pairs and len(self.overlaps) < _TOLD:
            self._pairs.add(pair)
            self.overlaps.append((*pair, witness))
