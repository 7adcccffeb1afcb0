"""From a cell to a value: codes, letters, numbers, lengths, yes and no, days.

An empty cell is None everywhere. What can be read two ways is refused with both readings, never guessed. Reasons are
made for the telephone: they say what would do, and repeat nothing of a cell but the number or day that it may mean.
"""

from __future__ import annotations

import math
import re
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Final

from api.sheets.convention import Convention
from api.sheets.guard import unguarded
from api.sheets.model import ERRORS, Cell

# str.strip knows the spaces, no-break ones too; these have no width and come along with copied text.
_UNSEEN: Final = "\ufeff\u200b\u200e\u200f\u2060"
_UM_OF_INCH: Final = 25_400
_NUMBER: Final = re.compile(r"([-+]?)([0-9]*)(?:([.,])([0-9]+))?")
_THOUSANDS: Final = re.compile(r"[-+]?[0-9]{1,3}(?:[\s.,'\u2019_][0-9]{3})+(?:[.,][0-9]+)?")
_MOST_DIGITS: Final = 20
_UNIT: Final = re.compile(r"(?:mm|cm|in|[\"\u2033\u201d])\Z", re.IGNORECASE)
_FRACTION: Final = re.compile(r"(?:([0-9]{1,4})\s+)?([0-9]{1,4})/([0-9]{1,4})")
_YEAR_FIRST: Final = re.compile(
    r"([0-9]{4})([-/.])([0-9]{1,2})\2([0-9]{1,2})(?:[ T](?:[01][0-9]|2[0-3]):[0-5][0-9](?::[0-5][0-9](?:\.[0-9]+)?)?)?"
)
_YEAR_LAST: Final = re.compile(r"([0-9]{1,2})([-/.]) ?([0-9]{1,2})\2 ?([0-9]{4}|[0-9]{2})")
_BARE: Final = re.compile(r"[0-9]+(?:[.,][0-9]+)?")
_MONTHS: Final = (
    "January February March April May June July August September October November December".split()  # noqa: SIM905
)
_TRUTH: Final = dict.fromkeys(("yes", "y", "true", "1", "1.0"), True) | dict.fromkeys(
    ("no", "n", "false", "0", "0.0"), False
)


class CellError(ValueError):
    """A cell that cannot be read as what its column holds; ``reason`` says what would do."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


def text(cell: Cell) -> str | None:
    """Read a code or other text: trimmed; numbers of a workbook as a person sees them, 8.0 as 8.

    Raises:
        CellError: the cell holds an error of the spreadsheet program.
    """
    if isinstance(cell, str):
        found = trimmed(cell)
        if found in ERRORS:
            raise CellError("The cell holds an error of the spreadsheet: correct its formula, or write the value.")
        return found or None
    return None if cell is None else plain(cell)


def letters(cell: Cell) -> str | None:
    """Read text to be kept letter by letter, such as that of a monogram: nothing is trimmed.

    Raises:
        CellError: the cell holds an error of the spreadsheet program, or a date that it made of what was typed.
    """
    if isinstance(cell, str):
        text(cell)
        return unguarded(cell) or None
    if isinstance(cell, date):
        raise CellError("The cell holds a date: format the cell as text and write it again.")
    return text(cell)


def number(cell: Cell, convention: Convention) -> Decimal | None:
    """Read a number, with a decimal comma or a decimal point.

    Args:
        cell: The cell.
        convention: Decides on 1,300 and 1.300.

    Raises:
        CellError: it is no number, or may be two.
        SheetError: the convention could not be found out.
    """
    if isinstance(cell, bool):
        raise CellError("The cell holds yes or no: write a number, such as 12 or 12.5.")
    if isinstance(cell, date):
        raise CellError("The cell holds a date: format the cell as a number and write it again.")
    if isinstance(cell, int | float):
        return _of_sheet(cell)
    found = text(cell)
    return None if found is None else _decimal(found, convention)


def whole(cell: Cell, convention: Convention) -> int | None:
    """Read a whole number; 2.0 is one.

    Raises:
        CellError: it is none, or may be two numbers.
        SheetError: the convention could not be found out.
    """
    found = number(cell, convention)
    if found is None:
        return None
    if found != int(found):
        raise CellError("The number must be whole: write it without a fraction, such as 2.")
    return int(found)


def length_mm(cell: Cell, convention: Convention) -> Decimal | None:
    """Read a length in millimeters, with 3 decimals.

    A bare number is in mm; mm, cm, in and " may be written behind it, and fractions before in and ". One inch is
    25.4 mm exactly (the yard and pound agreement of 1959); inches are rounded half even to 0.001 mm.

    Raises:
        CellError: it is no length, has another unit or more than 3 decimals in mm, or may be two.
        SheetError: the convention could not be found out.
    """
    found = text(cell) if isinstance(cell, str) else None
    if found is None:
        bare = number(cell, convention)
        return None if bare is None else _whole_um(Fraction(bare) * 1000)
    written = _UNIT.search(found)
    amount = found[: written.start()].rstrip() if written else found
    unit = written[0].lower() if written else "mm"
    if unit in {"mm", "cm"}:
        return _whole_um(Fraction(_amount(amount, convention)) * (1000 if unit == "mm" else 10_000))
    fraction = _FRACTION.fullmatch(amount)
    inches = _fraction(fraction) if fraction else Fraction(_amount(amount, convention))
    return Decimal(round(inches * _UM_OF_INCH)).scaleb(-3)


def truth(cell: Cell) -> bool | None:
    """Read yes or no: yes, y, true, 1, no, n, false, 0 in any case.

    Raises:
        CellError: it is neither.
    """
    if isinstance(cell, bool):
        return cell
    found = text(cell)
    if found is None:
        return None
    if found.casefold() not in _TRUTH:
        raise CellError("Write yes or no.")
    return _TRUTH[found.casefold()]


def day(cell: Cell) -> date | None:
    """Read a day: 2026-04-03, 3.4.2026, a date of a workbook, or 25/12/2026 where only one reading is a day.

    Days with points are taken day first, those that begin with the year month first: nobody writes them otherwise
    (common practice, no source). A time of day behind an ISO date is left out.

    Raises:
        CellError: it is no day, or may be two.
    """
    if isinstance(cell, date):
        return cell.date() if isinstance(cell, datetime) else cell
    found = text(cell)
    if found is None:
        return None
    if parts := _YEAR_FIRST.fullmatch(found):
        return _date(int(parts[1]), int(parts[3]), int(parts[4]))
    if parts := _YEAR_LAST.fullmatch(found):
        first, mark, second, year = int(parts[1]), parts[2], int(parts[3]), int(parts[4])
        if len(parts[4]) == 2:
            raise CellError("The year has two digits: write four, such as 2026-04-03.")
        if mark == "." or first == second or first > 12:
            return _date(year, second, first)
        if second > 12:
            return _date(year, first, second)
        one, other = _date(year, second, first), _date(year, first, second)
        raise CellError(
            f"The day may be {_in_words(one)} or {_in_words(other)}: write {one.isoformat()} or {other.isoformat()}."
        )
    if _BARE.fullmatch(found):
        raise CellError("The cell holds a number, not a date: format it as a date, or write it such as 2026-04-03.")
    raise CellError("The cell holds no day: write it such as 2026-04-03.")


def plain(cell: Cell) -> str:
    """Return a cell as text, as a person sees it: no .0, no exponent, days as 2026-04-03."""
    match cell:
        case None:
            return ""
        case bool():
            return "TRUE" if cell else "FALSE"
        case float() if math.isfinite(cell):
            return f"{_of_sheet(cell):f}"
        case datetime():
            return cell.date().isoformat() if cell.time() == datetime.min.time() else cell.isoformat(" ")
        case date():
            return cell.isoformat()
        case _:
            return str(cell)


def trimmed(cell: str) -> str:
    """Take spaces and the quote that keeps a formula from running off a text."""
    before = None
    while before != cell:
        before, cell = cell, cell.strip().strip(_UNSEEN)
    return unguarded(cell).strip()


def _of_sheet(cell: float) -> Decimal:
    """Return a number of a workbook with the 15 digits that spreadsheet programs keep (DBL_DIG of IEEE 754 doubles)."""
    if isinstance(cell, int):
        return Decimal(cell)
    if not math.isfinite(cell):
        raise CellError("The cell holds no number: write it again.")
    return Decimal(f"{Decimal(f'{cell:.15g}'):f}")


def _decimal(found: str, convention: Convention) -> Decimal:
    found = found.replace("\u2212", "-")
    parts = _NUMBER.fullmatch(found)
    if parts is None or not (parts[2] or parts[4]):
        if _THOUSANDS.fullmatch(found):
            raise CellError("Marks between thousands are not read: write the digits without them, such as 1300.")
        raise CellError("The cell holds no number: write digits, such as 12 or 12.5.")
    sign, units, mark, fraction = parts[1].strip("+"), parts[2] or "0", parts[3], parts[4] or ""
    if len(units) + len(fraction) > _MOST_DIGITS:
        raise CellError(f"The number has more than {_MOST_DIGITS} digits: write a shorter one.")
    if len(fraction) == 3 and len(parts[2]) in {1, 2, 3} and units[0] != "0":
        sure = convention.comma_is_decimal if mark == "," else convention.point_is_decimal
        if not sure:
            raise CellError(_two_readings(sign + units, fraction, convention.mark))
    return Decimal(f"{sign}{units}.{fraction or 0}")


def _two_readings(units: str, fraction: str, mark: str) -> str:
    """Return what is said of 1,300 or 1.300."""
    short = fraction.rstrip("0")
    small = f"{units}.{short}" if short else units
    # Three digits behind the mark could be read two ways again, so a 0 goes behind them.
    written = f"{units}{mark}{short}{'0' if len(short) == 3 else ''}" if short else units
    return f"The number may be {units}{fraction} or {small}: write {units}{fraction} or {written}."


def _amount(found: str, convention: Convention) -> Decimal:
    """Return the number of a length."""
    if "/" in found:
        raise CellError('A fraction is read with inches only, such as 3/4 in or 1 1/2".')
    if found and found[-1].isalpha():
        raise CellError('The unit is not known here: write mm, cm, in or " behind the number, or nothing for mm.')
    return _decimal(found, convention)


def _fraction(parts: re.Match[str]) -> Fraction:
    if not int(parts[3]):
        raise CellError("A fraction cannot have 0 below the line.")
    return int(parts[1] or 0) + Fraction(int(parts[2]), int(parts[3]))


def _whole_um(um: Fraction) -> Decimal:
    if um.denominator != 1:
        raise CellError("A length has at most 3 decimals in mm: write a rounded one.")
    return Decimal(um.numerator).scaleb(-3)


def _date(year: int, month: int, day_of_month: int) -> date:
    try:
        return date(year, month, day_of_month)
    except ValueError:
        raise CellError("There is no such day: write one such as 2026-04-03.") from None


def _in_words(found: date) -> str:
    return f"{found.day} {_MONTHS[found.month - 1]} {found.year}"
