"""The workbook of a template: a sheet to fill in, one about its columns, one of codes; values only, no macros."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any, Final

import xlsxwriter  # type: ignore[import-untyped] # it comes without types
from xlsxwriter.utility import xl_col_to_name  # type: ignore[import-untyped] # as above

from api.lists.columns import PARTS, Column
from api.lists.offered import Offered, Value

WISHES: Final = "wishes"
ABOUT: Final = "columns"
CODES: Final = "codes"
_LISTS: Final = "lists"
_NEEDED: Final = "pattern"
#: Rows of wishes that have drop-downs; below them a wish is read all the same.
_PROPOSED_ROWS: Final = 5000
_WIDEST: Final = 100
_ABOUT_HEADER: Final = ("column", "needed", "what it says", "written as", "example")
_CODES_HEADER: Final = ("noun", "code", "name", "family", "for the columns", "for the patterns", "color")


Row = Mapping[str, str | int | float]


@dataclass(frozen=True, slots=True)
class Facts:
    """What a template says: its columns, what is offered, the examples, and when and of what it was made."""

    columns: tuple[Column, ...]
    offered: Offered
    rows: tuple[Row, ...]
    today: date
    revision: str


def workbook(facts: Facts) -> bytes:
    """Return a template as a workbook."""
    return _Template(facts).made()


def named(column: str, code: str = "") -> str:
    """Return the name of the list that a column proposes; with a code, of the one that goes with it.

    A name of a range has no hyphen. Names are compared without regard to case, as codes are.
    """
    return f"{column}_{code.replace('-', '..')}" if code else f"all_{column}"


class _Template:
    """One workbook on its way."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self._out = io.BytesIO()
        self._book = xlsxwriter.Workbook(
            self._out,
            {"in_memory": True, "strings_to_formulas": False, "strings_to_numbers": False, "strings_to_urls": False},
        )
        self._book.set_properties({"title": "Wish list", "created": datetime.combine(facts.today, time())})
        self._head = self._book.add_format({"bold": True, "bottom": 1, "bg_color": "#ece7df"})
        self._needed = self._book.add_format({"bold": True, "bottom": 1, "bg_color": "#e8b04a"})
        self._wrapped = self._book.add_format({"text_wrap": True, "valign": "top"})
        # Text, or a code such as 1-2 would be made a date, and a monogram of digits a number.
        self._text = self._book.add_format({"num_format": "@"})
        self._day = self._book.add_format({"num_format": "yyyy-mm-dd"})
        self._sheets = {name: self._book.add_worksheet(name) for name in (WISHES, ABOUT, CODES, _LISTS)}
        self._placed: dict[tuple[Value, ...], str] = {}

    def made(self) -> bytes:
        self._name_lists()
        self._write_wishes()
        self._write_about()
        self._write_codes()
        self._sheets[_LISTS].hide()
        self._sheets[WISHES].activate()
        self._book.close()
        return self._out.getvalue()

    def _name_lists(self) -> None:
        """Name a range for every list of choices; lists that are the same share one."""
        offered = self._facts.offered
        lists = {named(column): values for column, values in offered.everywhere.items()}
        for column, by in offered.by_pattern.items():
            lists |= {named(column, pattern): values for pattern, values in by.items()}
        if any(column.codes == "lots" for column in self._facts.columns):
            lists |= {named("lots", leather): lots for leather, lots in offered.lots.items()}
        for name, values in lists.items():
            self._book.define_name(name, f"={self._range_of(values)}")

    def _range_of(self, values: tuple[Value, ...]) -> str:
        if values not in self._placed:
            at = len(self._placed)
            self._sheets[_LISTS].write_column(0, at, values)
            letter = xl_col_to_name(at, col_abs=True)
            self._placed[values] = f"{_LISTS}!{letter}$1:{letter}${len(values)}"
        return self._placed[values]

    def _write_wishes(self) -> None:
        sheet = self._sheets[WISHES]
        for at, column in enumerate(self._facts.columns):
            sheet.write_string(0, at, column.name, self._needed if column.name == _NEEDED else self._head)
            sheet.set_column(at, at, self._width(column), self._format(column))
            sheet.data_validation(0, at, 0, at, _prompt(column))
            source = self._source(column)
            if source is not None:
                sheet.data_validation(1, at, _PROPOSED_ROWS, at, _proposal(column, source))
        for down, row in enumerate(self._facts.rows, 1):
            for at, column in enumerate(self._facts.columns):
                if column.name in row:
                    sheet.write(down, at, row[column.name])
        sheet.freeze_panes(1, 2)

    def _width(self, column: Column) -> int:
        shown = [str(row.get(column.name, "")) for row in self._facts.rows]
        return max(len(column.name) + 3, *map(len, (*shown, self._example(column))), 10)

    def _format(self, column: Column) -> Any:
        match column.unit:
            case "text" | "code" | "codes":
                return self._text
            case "date":
                return self._day
            case _:
                return None

    def _source(self, column: Column) -> str | None:
        """Return the formula of the list that a cell proposes; of some columns it goes with another cell of the row."""
        offered = self._facts.offered
        if column.name in offered.everywhere:
            return f"={named(column.name)}"
        if offered.by_pattern.get(column.name):
            return self._with(column.name, _NEEDED)
        if column.codes == "lots":
            return self._with("lots", next(part for part in PARTS if column.path == ("lots", part)))
        return None

    def _with(self, name: str, other: str) -> str:
        at = next(at for at, column in enumerate(self._facts.columns) if column.name == other)
        return f'=INDIRECT("{name}_"&SUBSTITUTE(TRIM(${xl_col_to_name(at)}2),"-",".."))'

    def _example(self, column: Column) -> str:
        if column.example:
            return column.example
        if column.name == "catalog_revision":
            return self._facts.revision
        offered = self._facts.offered
        lists = [offered.everywhere.get(column.name, ()), *offered.by_pattern.get(column.name, {}).values()]
        lists += offered.lots.values() if column.codes == "lots" else ()
        return next((str(value) for values in lists for value in values), "")

    def _write_about(self) -> None:
        facts, sheet = self._facts, self._sheets[ABOUT]
        notes = (
            f"Made on {facts.today.isoformat()} from catalog revision {facts.revision}, of what was there on that day.",
            f"Put a wish a row into the sheet {WISHES}, in place of the examples. Only {_NEEDED} is always needed.",
            "A cell proposes what goes with the pattern of its row; anything else may be written, codes in any case.",
            f"The sheet {CODES} says what each code is. Columns of your own stay as they are.",
        )
        for down, note in enumerate(notes):
            sheet.write_string(down, 0, note)
        first = len(notes) + 1
        rows = [
            (column.name, "yes" if column.name == _NEEDED else "", column.says, column.unit, self._example(column))
            for column in facts.columns
        ]
        self._table(ABOUT, first, _ABOUT_HEADER, rows)
        sheet.freeze_panes(first + 1, 1)

    def _write_codes(self) -> None:
        offered, sheet = self._facts.offered, self._sheets[CODES]
        rows, swatches = [], []
        for noun, codes in offered.codes.items():
            for each in codes:
                columns = offered.columns_of(noun, each.code)
                if columns:  # what nobody may choose helps nobody
                    taken = noun.replace("_", " "), each.code, each.name, each.family, ", ".join(columns)
                    rows.append((*taken, self._patterns(noun, each.code), ""))
                    swatches.append(each.swatch)
        self._table(CODES, 0, _CODES_HEADER, rows)
        for down, swatch in enumerate(swatches, 1):
            if swatch is not None:
                fill = self._book.add_format({"bg_color": swatch.srgb})
                sheet.write_blank(down, len(_CODES_HEADER) - 1, None, fill)
        sheet.autofilter(0, 0, len(rows), len(_CODES_HEADER) - 1)
        sheet.freeze_panes(1, 2)

    def _patterns(self, noun: str, code: str) -> str:
        taken, every = self._facts.offered.patterns_of(noun, code), self._facts.offered.everywhere["pattern"]
        return "all" if len(taken) == len(every) else ", ".join(taken)

    def _table(self, name: str, first: int, header: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
        sheet = self._sheets[name]
        for at, title in enumerate(header):
            longest = max(len(row[at]) for row in (header, *rows))
            sheet.set_column(at, at, min(_WIDEST, longest + 4))
            sheet.write_string(first, at, title, self._head)
        for down, row in enumerate(rows, first + 1):
            for at, text in enumerate(row):
                sheet.write_string(down, at, text, self._wrapped)


def _prompt(column: Column) -> dict[str, Any]:
    """Return what is shown beside the name of a column while it is picked."""
    written = f" Written as: {column.unit}."
    return {"validate": "any", "input_title": column.name, "input_message": column.says + written}


def _proposal(column: Column, source: str) -> dict[str, Any]:
    """Return a list to choose from. It never blocks: a code may be typed in any case, and the service judges."""
    return {
        "validate": "list",
        "source": source,
        "error_type": "warning",
        "error_title": column.name,
        "error_message": "This is not among what was proposed on the day on which the sheet was made.",
        # Of several codes in one cell the list would hold none.
        "show_error": column.unit != "codes",
    }
