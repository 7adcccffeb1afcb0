"""The columns of a sheet: one name for each thing that a row may ask, and where it stands in a spec.

The one table behind lists, single cells, templates and the command line.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final, NamedTuple

from pydantic import ValidationError

from api.errors import violation_of
from api.schemas.spec import SpecIn
from api.sheets import values
from api.sheets.convention import Convention
from api.sheets.model import Cell
from api.sheets.values import CellError
from api.visibility import Caller

Read = Callable[[Cell, Convention], Any]


class RowError(ValueError):
    """A row that is no spec. ``column`` is the one at fault, ``reason`` says what would do."""

    def __init__(self, column: str, reason: str) -> None:
        """Keep where and why."""
        super().__init__(f"{column}: {reason}")
        self.column = column
        self.reason = reason


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name, the path of what it says in a spec's JSON, how a cell is read.

    ``slot`` is the member of a spec that it belongs to; ``codes`` names the nouns of the catalog that it
    takes; ``least`` is the least class of key that may send it.
    """

    name: str
    path: tuple[str, ...]
    read: Read
    says: str
    example: str = ""
    codes: str = ""
    least: Caller = Caller.PAGE

    @property
    def unit(self) -> str:
        """Return how a cell of it is written, in a word or two."""
        return _UNITS.get(self.read, "code" if self.codes else "text")

    @property
    def slot(self) -> str:
        """Return the member of a spec that the column says something of."""
        return self.path[0]


def _code(cell: Cell, _: Convention) -> str | None:
    return values.text(cell)


def _word(cell: Cell, _: Convention) -> str | None:
    said = values.text(cell)
    return None if said is None else said.lower()


def _words(cell: Cell, _: Convention) -> list[str] | None:
    said = values.text(cell)
    return None if said is None else said.split()


def _letters(cell: Cell, _: Convention) -> str | None:
    return values.letters(cell)


def _length(cell: Cell, convention: Convention) -> float | None:
    length = values.length_mm(cell, convention)
    return None if length is None else float(length)


def _number(cell: Cell, convention: Convention) -> float | None:
    number = values.number(cell, convention)
    return None if number is None else float(number)


def _items(cell: Cell, convention: Convention) -> list[dict[str, Any]] | None:
    return [{"item": item} for item in _words(cell, convention) or ()] or None


def _truth(cell: Cell, _: Convention) -> bool | None:
    return values.truth(cell)


def _day(cell: Cell, _: Convention) -> str | None:
    found = values.day(cell)
    return None if found is None else found.isoformat()


def _notes(cell: Cell, convention: Convention) -> list[dict[str, Any]] | None:
    found = []
    for each in _words(cell, convention) or ():
        item, _, count = each.partition(":")
        found.append({"item": item, "count": values.whole(count or "1", convention)})
    return found or None


#: How the cells are written that hold neither one code nor plain text.
_UNITS: Final[Mapping[Read, str]] = MappingProxyType(
    {
        _length: "mm",
        _number: "kg",
        _truth: "yes or no",
        _day: "date",
        _words: "codes",
        _notes: "codes",
        _items: "codes",
        values.whole: "whole number",
    }
)


def _sided(part: str, what: str) -> tuple[Column, Column]:
    leather = Column(
        part, ("parts", part, "leather"), _code, f"Code of the leather of {what}.", codes="leathers",
    )  # fmt: skip
    side = Column(
        f"{part}_side", ("parts", part, "side"), _word, f"Which side of {what} shows: grain or flesh; grain if empty.",
    )  # fmt: skip
    return leather, side


#: The parts that a column may be about, with the words for each.
PARTS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "outside": "the outside",
        "inside": "the inside",
        "pockets": "the pockets",
        "lining": "the lining",
        "gusset": "the gusset",
        "welt": "the welt",
    }
)


def _columns() -> Iterator[Column]:
    yield Column("reference", ("reference",), _code, "Your own name for the row; it comes back as it is.", "web-20391")
    yield Column("pattern", ("pattern",), _code, "Code of the pattern. The only one always needed.", codes="patterns")
    for part, what in PARTS.items():
        yield from _sided(part, what)
    yield Column("thread", ("thread",), _code, "Code of the thread, or match.", codes="threads")
    yield Column("stitch", ("stitch",), _word, "How it is sewn; the pattern's first way if empty.", codes="stitches")
    yield Column("edge", ("edge",), _code, "Code of the edge, or match.", codes="edges")
    for slot in ("closure", "clip", "buckle", "hook", "ring", "rivet"):
        yield Column(slot, ("hardware", slot), _code, f"Code of the {slot}.", codes="hardware")
    yield Column("mono_text", ("monogram", "text"), _letters, "The letters, exactly as they are to stand.", "A.B.")
    yield Column("mono_method", ("monogram", "method"), _word, "blind, foil, ink or laser.", codes="methods")
    yield Column("mono_typeface", ("monogram", "typeface"), _code, "Code of the typeface.", codes="typefaces")
    yield Column("mono_zone", ("monogram", "zone"), _code, "Code of the place on the pattern.", codes="zones")
    yield Column("mono_foil", ("monogram", "foil"), _code, "Code of the foil, for the method foil.", codes="foils")
    yield Column("mono_artwork", ("monogram", "artwork"), _truth, "yes if a drawing is asked for instead of type.")
    yield Column(
        "modifications", ("modifications",), _words, "Codes of small changes, with spaces between.",
        codes="modifications",
    )  # fmt: skip
    yield Column("lug_mm", ("sizes", "lug_mm"), _length, "Watch strap: width between the lugs.", "20")
    yield Column("taper_mm", ("sizes", "taper_mm"), _length, "Watch strap: how much narrower the buckle end is.", "2")
    yield Column("width_mm", ("sizes", "width_mm"), _length, "Width of the strap.", "25")
    yield Column("length_mm", ("sizes", "length_mm"), _length, "Length of the lead.", "1300")
    yield Column(
        "waist_to_hole_mm", ("sizes", "waist_to_hole_mm"), _length,
        "Belt: from the fold at the buckle to the middle hole, never a strap length.", "950",
    )  # fmt: skip
    yield Column("cards", ("carry", "cards"), values.whole, "Payment cards to be carried.", "8")
    yield Column(
        "notes", ("carry", "notes"), _notes, "Banknotes as ITEM:count, with spaces between.", "USD:4", codes="notes"
    )  # fmt: skip
    yield Column(
        "business_card", ("carry", "business_cards", "item"), _code, "Size of business card.", codes="business_cards"
    )  # fmt: skip
    yield Column("business_cards", ("carry", "business_cards", "count"), values.whole, "How many business cards.", "25")
    yield Column(
        "passport_thickness_mm", ("carry", "passport", "thickness_mm"), _length, "Thickness of the passport.", "4.5"
    )  # fmt: skip
    for side, example in (("width", "28"), ("thickness", "3"), ("length", "120")):
        says = f"{side.capitalize()} of the blade."
        yield Column(f"blade_{side}_mm", ("carry", "blade", f"{side}_mm"), _length, says, example)
    yield Column("notebook", ("carry", "notebook", "item"), _code, "Size of notebook by its code.", codes="notebooks")
    for side, what, example in (
        ("width", "Width of the notebook, closed.", "105"),
        ("height", "Height of the notebook, standing.", "148"),
        ("block", "Thickness of the notebook's pages, pressed flat.", "9"),
    ):
        yield Column(f"notebook_{side}_mm", ("carry", "notebook", f"{side}_mm"), _length, what, example)
    yield Column(
        "tools", ("carry", "tools"), _items, "Pens, combs, spectacles by code, with spaces between.", codes="tools"
    )
    yield Column("worn_in", ("carry", "worn_in"), _word, "Pocket that the piece is worn in.", codes="worn_in")
    yield Column("use", ("purpose", "use"), _word, "What it is for; needed where a load is borne.", codes="uses")
    yield Column(
        "claims", ("purpose", "claims"), _words, "Properties to be promised, with spaces between.", codes="claims"
    )  # fmt: skip
    yield Column("dog_kg", ("purpose", "dog_kg"), _number, "Weight of the dog in kg, for leads and collars.", "30")
    yield Column("child_under_3", ("purpose", "child_under_3"), _truth, "yes if it is for a child under 3 years.")
    yield Column("quantity", ("quantity",), values.whole, "Pieces; 1 if empty.", "1")
    yield Column("ship_to", ("ship_to",), _code, "Country by ISO 3166, or its region; home if empty.", "US-CA")
    yield Column("rush", ("rush",), _truth, "yes to have it made out of turn.")
    yield Column("ready_by", ("ready_by",), _day, "The date on which it is wanted.", "2026-05-29")
    yield Column("note", ("note",), _letters, "Free text for the maker, who reads it first.", "A gift: no invoice.")
    yield Column("repeat_of", ("repeat_of",), _code, "Id of an earlier order that this one repeats.", "O17")
    yield Column("catalog_revision", ("catalog_revision",), _code, "Catalog revision that the row was made with.")
    yield Column("marks_ok", ("marks_ok",), _truth, "no if small healed marks in the leather are not wanted.")
    yield Column("mixed_metals_ok", ("mixed_metals_ok",), _truth, "no if fittings of two tones are not wanted.")
    for part, what in PARTS.items():
        yield Column(
            f"{part}_lots", ("lots", part), _words, f"Lots to cut {what} from, with spaces between.",
            codes="lots", least=Caller.STAFF,
        )  # fmt: skip


#: Every column by name, in the order of a template.
COLUMNS: Final[Mapping[str, Column]] = MappingProxyType({column.name: column for column in _columns()})
#: What is asked of every row, and what only some callers and modes are told.
ANSWERS: Final = (
    "qf_outcome", "qf_headline", "qf_rules", "qf_total", "qf_currency", "qf_ready_on", "qf_as_of", "qf_error",
)  # fmt: skip
TOOK: Final = ("qf_took", "qf_ran_out")
LOTS: Final = ("qf_lots",)
OURS: Final = frozenset((*ANSWERS, *TOOK, *LOTS))


def key_of(name: str) -> str:
    """Return a header as the name of a column is compared: without regard to case and to what is unseen around it."""
    return values.trimmed(name).casefold()


class Placed(NamedTuple):
    """A column and the place of its cell in a row."""

    at: int
    column: Column


def columns_in(header: Sequence[str], caller: Caller) -> tuple[Placed, ...]:
    """Return the columns that a header names, in its order, without what is unknown or not the caller's to send."""
    found = (Placed(at, COLUMNS[key_of(name)]) for at, name in enumerate(header) if key_of(name) in COLUMNS)
    return tuple(each for each in found if caller >= each.column.least)


def body_of(cells: Sequence[Cell], placed: Sequence[Placed], convention: Convention) -> dict[str, Any]:
    """Return a row as the JSON of a spec. Empty cells say nothing.

    Raises:
        RowError: a cell that cannot be read.
    """
    body: dict[str, Any] = {}
    for at, column in placed:
        cell = cells[at]
        if cell is None or cell == "":
            continue
        try:
            value = column.read(cell, convention)
        except CellError as bad:
            raise RowError(column.name, str(bad)) from None
        if value is not None:
            _put(body, column.path, value)
    return body


def _put(body: dict[str, Any], path: tuple[str, ...], value: Any) -> None:
    *within, last = path
    for name in within:
        body = body.setdefault(name, {})
    body[last] = value


def spec_in(body: Mapping[str, Any]) -> SpecIn:
    """Return the spec of a row's JSON.

    Raises:
        RowError: what the schema of a spec does not take, by the column that says it.
    """
    try:
        return SpecIn.model_validate(body)
    except ValidationError as bad:
        loc, entry = _first_fault(bad)
        raise RowError(_column_at(loc), entry["detail"]) from None


def spec_in_json(body: Any) -> SpecIn:
    """Return the spec of a row that came as JSON.

    Raises:
        RowError: what the schema of a spec does not take, with a JSON Pointer in place of a column.
    """
    try:
        return SpecIn.model_validate(body)
    except ValidationError as bad:
        _, entry = _first_fault(bad)
        raise RowError(entry["pointer"], entry["detail"]) from None


def _first_fault(bad: ValidationError) -> tuple[tuple[str, ...], Mapping[str, str]]:
    """Return the place of the first fault, and what the service says of it."""
    loc = bad.errors(include_url=False, include_input=False)[0]["loc"]
    return tuple(str(each) for each in loc), violation_of(bad).errors[0]


def _column_at(loc: tuple[str, ...]) -> str:
    """Return the name of the column that is meant by a place in a spec's JSON, or the place itself."""
    for column in COLUMNS.values():
        if column.path == loc[: len(column.path)]:
            return column.name
    return ".".join(loc)
