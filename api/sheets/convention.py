"""How the numbers of a file are written: with a decimal comma or a decimal point.

1,300 may be one thousand three hundred or one and three tenths, and 1.300 as well. The cell alone cannot tell, the
file often can: where 3,5 stands somewhere, commas are decimal commas.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cached_property
from typing import Final, NamedTuple

from api.sheets.model import Cell, Form, Sheet

# Cells are joined with NUL, which no cell holds. A mark with three digits behind it counts only where no thousands
# could be meant: behind a zero, four digits or nothing. Nothing backtracks over a run of spaces.
_DECIMAL: Final = (
    r"(?<![^\0])\s*+[-+\u2212]?(?:[0-9]+{0}(?:[0-9]{{1,2}}|[0-9]{{4,}})|(?:0[0-9]*|[0-9]{{4,}}|){0}[0-9]{{3}})"
    r"\s*+(?:mm|cm|in|[\"\u2033\u201d])?+\s*+(?![^\0])"
)
_COMMA: Final = re.compile(_DECIMAL.format(","), re.IGNORECASE)
_POINT: Final = re.compile(_DECIMAL.format(r"\."), re.IGNORECASE)


class Evidence(NamedTuple):
    """Which decimal marks were seen in cells that are plainly numbers."""

    commas: bool
    points: bool


def evidence_in(rows: Iterable[tuple[int, Sequence[Cell]]]) -> Evidence:
    """Look for decimal marks in rows, until both were seen."""
    commas = points = False
    for _, cells in rows:
        joined = "\0".join([cell for cell in cells if isinstance(cell, str)])
        commas = commas or ("," in joined and _COMMA.search(joined) is not None)
        points = points or ("." in joined and _POINT.search(joined) is not None)
        if commas and points:
            break
    return Evidence(commas, points)


class Convention:
    """What a file as a whole says about the decimal mark.

    The file is read once more for it, and only when the first number that can be read two ways asks.

    Args:
        form: How the file is written. A semicolon between cells speaks for decimal commas: spreadsheet programs write
            it where the comma is taken (common practice, no source).
        rows: Gives the rows anew.
    """

    def __init__(self, form: Form, rows: Callable[[], Iterator[tuple[int, list[Cell]]]]) -> None:
        self._semicolons = form.kind == "csv" and form.delimiter == ";"
        self._rows = rows

    @classmethod
    def of(cls, sheet: Sheet) -> Convention:
        """Return the convention of a sheet."""
        return cls(sheet.form, sheet.rows)

    @cached_property
    def _seen(self) -> Evidence:
        return evidence_in(self._rows())

    @property
    def comma_is_decimal(self) -> bool:
        """Return whether 1,300 can only be one and three tenths: commas are in use as decimal marks, points are not.

        Raises:
            SheetError: the file cannot be read to its end.
        """
        return (self._semicolons or self._seen.commas) and not self._seen.points

    @property
    def point_is_decimal(self) -> bool:
        """Return whether 1.300 can only be one and three tenths: nothing speaks for decimal commas.

        Raises:
            SheetError: the file cannot be read to its end.
        """
        return not self._semicolons and not self._seen.commas

    @property
    def mark(self) -> str:
        """Return the decimal mark to propose."""
        return "." if self.point_is_decimal else ","
