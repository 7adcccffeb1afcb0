"""What a workbook's XML says before its cells are read: which sheets there are, how far one reaches, what to tell.

Cells are looked over with patterns at the speed of a search. A sheet that is written so oddly that the patterns see
nothing is not let through by that: the process that reads it has its own limits.
"""

from __future__ import annotations

import posixpath
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final
from xml.parsers import expat

from api.sheets.model import Limits, SheetError, too_many, too_wide
from api.sheets.parcel import DAMAGED, Parcel

_MOST_ERRORS: Final = 100_000
_MOST_LISTED: Final = 8 << 20
_MOST_HELD: Final = 1 << 20
_ROOT: Final = re.compile(rb"<(\w+:)?worksheet[\s>]")
# Bounded, so that tags which never end cost no more than others. A cell that is closed at once is a blank with a
# format, and takes no room.
_USED: Final = re.compile(rb' r="([A-Z]{1,3})[0-9]{1,9}"[^>/]{0,99}>')
_USED_ROW: Final = re.compile(rb' r="[A-Z]{1,3}([0-9]{1,9})"[^>/]{0,99}>')
_TAIL: Final = 1 << 16


@dataclass(frozen=True)
class Listed:
    """One sheet that a workbook lists."""

    name: str
    part: str
    visible: bool
    cells: bool


def sheets_of(parcel: Parcel) -> list[Listed]:
    """Return the sheets of a workbook in its order; ``cells`` is false for charts and alike.

    Raises:
        SheetError: what lists them cannot be read.
    """
    book = next((target for kind, target in _links(parcel, "").values() if kind == "officeDocument"), "")
    links, found = _links(parcel, book), []
    for each in _elements(parcel, book, "sheet"):
        link = next((value for name, value in each.items() if name.endswith(":id")), "")
        kind, part = links.get(link, ("", ""))
        visible = each.get("state", "visible") == "visible"
        found.append(Listed(each.get("name", ""), part, visible, cells=kind == "worksheet"))
    if len({each.name for each in found}) < len(found):
        raise SheetError(DAMAGED)
    return found


def _links(parcel: Parcel, part: str) -> dict[str, tuple[str, str]]:
    """Return what a part links to, or the whole archive: kinds and names of parts, by the link's id."""
    folder, _, name = part.rpartition("/")
    return {
        each.get("Id", ""): (
            each.get("Type", "").rpartition("/")[2],
            posixpath.normpath(posixpath.join("/", folder, each.get("Target", ""))).lstrip("/").lower(),
        )
        for each in _elements(parcel, posixpath.join(folder, "_rels", f"{name}.rels"), "Relationship")
    }


def _elements(parcel: Parcel, part: str, name: str) -> list[dict[str, str]]:
    """Return the attributes of the elements of one name, whatever its prefix."""
    found: list[dict[str, str]] = []
    size = 0
    if part not in parcel:
        raise SheetError(DAMAGED)

    def begin(element: str, attributes: dict[str, str]) -> None:
        if element.rpartition(":")[2] == name:
            found.append(attributes)

    # The parcel lets no document type through, so that there are no entities to expand.
    parser = expat.ParserCreate()
    parser.StartElementHandler = begin
    try:
        for block in parcel.blocks(part):
            size += len(block)
            if size > _MOST_LISTED:
                raise SheetError(DAMAGED)
            parser.Parse(block, False)  # noqa: FBT003 -- the parser takes no keyword
        parser.Parse(b"", True)  # noqa: FBT003
    except expat.ExpatError as bad:
        raise SheetError(DAMAGED) from bad
    return found


@dataclass
class Outline:
    """What was seen of the cells of one sheet.

    Attributes:
        cells: How many cells there are, however they are written.
        area: Rows times columns in use.
        errors: Errors of the spreadsheet program, by the row's number and the column counted from 0.
        formulas: There is a formula.
        unvalued: Formulas without a stored value.
        merged: Cells are merged.
        hidden: Rows or columns are hidden.
    """

    cells: int = 0
    area: int = 0
    errors: dict[int, dict[int, str]] = field(default_factory=dict)
    formulas: bool = False
    unvalued: int = 0
    merged: bool = False
    hidden: bool = False

    def notes(self) -> list[str]:
        """Return what is to be told once."""
        told = []
        if self.formulas:
            told.append("Formulas were read as their stored values.")
        if self.unvalued:
            told.append(
                f"Formulas without a stored value were read as empty, {self.unvalued} of them: open the workbook in a"
                " spreadsheet program, save it, and send it again."
            )
        if self.merged:
            told.append("The value of merged cells was read in the first of them only.")
        if self.hidden:
            told.append("Hidden rows and columns were read too.")
        return told


def outline_of(parcel: Parcel, part: str, limits: Limits) -> Outline:
    """Look a sheet over.

    Raises:
        SheetError: cells lie too far out, there are too many, or it cannot be read.
    """
    found, last, width, errors = Outline(), 0, 0, 0
    patterns: _Patterns | None = None
    for block in _whole_cells(parcel.blocks(part)):
        patterns = patterns or _Patterns(block)
        for letters in set(_USED.findall(block)):
            width = max(width, _column(letters))
        last = max(last, _last_row(block))
        _check_extent(last, width, limits)
        found.area = last * width
        errors += patterns.look(block, found)
        if errors > _MOST_ERRORS:
            raise SheetError(f"More than {_MOST_ERRORS} cells hold errors of the spreadsheet: correct its formulas.")
    return found


def _whole_cells(blocks: Iterator[bytes]) -> Iterator[bytes]:
    """Cut blocks anew, so that no cell is parted; one that is too long for a cell is."""
    held = b""
    for block in blocks:
        held += block
        cut = max(held.rfind(b"<c "), held.rfind(b":c "), 0)
        if not cut and len(held) > _MOST_HELD:
            cut = len(held)
        if cut:
            yield held[:cut]
            held = held[cut:]
    yield held


def _last_row(block: bytes) -> int:
    """Return the row of the last used cell of a block, 0 if there is none."""
    # Rows come in order, so that the end of the block tells, unless a long text or many blanks stand there.
    found = _USED_ROW.findall(block, max(0, len(block) - _TAIL)) or _USED_ROW.findall(block)
    return max(map(int, found), default=0)


def _check_extent(last: int, width: int, limits: Limits) -> None:
    if width > limits.columns:
        raise too_wide(width, limits)
    if last > limits.rows:
        raise too_many(last, limits)
    if last * width > limits.cells:
        raise SheetError(
            f"The sheet is in use down to row {last} and over {width} columns, more than {limits.cells} cells: delete"
            ' what lies far out, send fewer rows at a time, or save it as "CSV UTF-8".',
            row=last,
        )


class _Patterns:
    """What to look for in the cells of a sheet, with the prefix that its elements have."""

    def __init__(self, first: bytes) -> None:
        root = _ROOT.search(first)
        given = (root[1] or b"") if root else b""
        p = re.escape(given)
        stored = rb"(?:<" + p + rb"v\s*/>|<" + p + rb"v>\s*</" + p + rb"v>)?"
        formula = rb"<" + p + rb"f\b[^>]{0,199}(?:/>|>[^<]*+</" + p + rb"f>)\s*"
        cell = rb"<" + p + rb"c\s"
        self._cell_sign = b"<" + given + b"c"
        self._formula_sign = b"<" + given + b"f"
        self._merge_sign = b"<" + given + b"mergeCell "
        self._formula = re.compile(rb"<" + p + rb"f[\s>/]")
        self._unvalued = re.compile(
            cell + rb'(?![^>]{0,99}\bt="str")[^>]{0,99}>\s*' + formula + stored + rb"\s*</" + p + rb"c>"
        )
        self._error = re.compile(
            cell
            + rb'(?=[^>]{0,99}\bt="e")[^>]{0,99}?\br="([A-Z]{1,3})([0-9]{1,7})"[^>]{0,99}>\s*(?:'
            + formula
            + rb")?<"
            + p
            + rb"v>([^<]{1,40})<"
        )

    def look(self, block: bytes, found: Outline) -> int:
        """Add what a block shows; return how many errors it holds."""
        found.cells += block.count(self._cell_sign)
        if self._formula_sign in block and self._formula.search(block):
            found.formulas = True
            found.unvalued += sum(1 for _ in self._unvalued.finditer(block))
        found.merged = found.merged or self._merge_sign in block
        found.hidden = found.hidden or b' hidden="1"' in block
        errors = 0
        if b't="e"' in block:
            for letters, row, said in self._error.findall(block):
                found.errors.setdefault(int(row), {})[_column(letters) - 1] = said.decode("utf-8", "replace")
                errors += 1
        return errors


def _column(letters: bytes) -> int:
    """Return the number of a column, A being 1."""
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number
