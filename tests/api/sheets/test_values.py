"""What a cell says, and what it is refused for."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from math import isfinite

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.sheets.convention import Convention, evidence_in
from api.sheets.guard import SIGNS, guarded
from api.sheets.model import Form
from api.sheets.values import CellError, day, length_mm, letters, number, plain, text, truth, whole

NOON = dt.datetime(2026, 4, 3, 12, 30)  # noqa: DTZ001 -- what a sheet holds has no time zone
MIDNIGHT = dt.datetime(2026, 4, 3)  # noqa: DTZ001


def convention(*cells: object, delimiter: str = ",") -> Convention:
    """The convention of a file that holds these cells."""
    return Convention(Form(delimiter=delimiter), lambda: iter([(2, list(cells))]))


PLAIN = convention("a", "12")
COMMAS = convention("3,5")
POINTS = convention("3.5")
BOTH = convention("3,5", "0.8")
SEMICOLONS = convention("a", delimiter=";")
SEMICOLONS_AND_POINTS = convention("0.8", delimiter=";")
ALL = (PLAIN, COMMAS, POINTS, BOTH, SEMICOLONS, SEMICOLONS_AND_POINTS)


def refusal(read, *given_to: object) -> str:
    """Return why a cell is refused."""
    with pytest.raises(CellError) as caught:
        read(*given_to)
    assert str(caught.value) == caught.value.reason
    assert caught.value.reason.endswith(".")
    return caught.value.reason


@pytest.mark.parametrize("cell", [None, "", "  ", "\u00a0", "\ufeff", "\t\n"])
def test_an_empty_cell_is_none_everywhere(cell: str | None) -> None:
    assert text(cell) is None
    assert truth(cell) is None
    assert day(cell) is None
    assert [read(cell, PLAIN) for read in (number, whole, length_mm)] == [None, None, None]


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ("  BR-HAZ ", "BR-HAZ"),
        ("\u00a0GO-BLK\u202f\ufeff", "GO-BLK"),
        ("\u200b BR", "BR"),
        ("'=1+1", "=1+1"),
        (" '-x", "-x"),
        ("'plain", "'plain"),
        ("'", "'"),
        (8.0, "8"),
        (8, "8"),
        (0.1, "0.1"),
        (0.1 + 0.2, "0.3"),
        (1e20, "100000000000000000000"),
        (1e-7, "0.0000001"),
        (True, "TRUE"),
        (dt.date(2026, 4, 3), "2026-04-03"),
        (MIDNIGHT, "2026-04-03"),
        (NOON, "2026-04-03 12:30:00"),
    ],
)
def test_a_code_is_read_as_a_person_sees_it(cell: object, said: str) -> None:
    assert text(cell) == said


def test_letters_keep_their_spaces_and_lose_the_quote_alone() -> None:
    assert letters("  A  B ") == "  A  B "
    assert letters("'+A+") == "+A+"
    assert letters("'tis") == "'tis"
    assert letters(7.0) == "7"
    assert letters("") is None


def test_letters_that_a_spreadsheet_made_a_date_of_are_refused() -> None:
    assert "format the cell as text" in refusal(letters, dt.date(2026, 4, 3))


@pytest.mark.parametrize("read", [text, letters, truth, day])
@pytest.mark.parametrize("error", ["#N/A", "#DIV/0!", "#REF!"])
def test_an_error_of_the_spreadsheet_is_refused_as_one(read, error: str) -> None:
    assert "error of the spreadsheet" in refusal(read, error)


@given(st.text(min_size=1))
def test_the_quote_before_a_formula_comes_off_again(written: str) -> None:
    if not (written[0] == "'" and written[1:2] and written[1] in SIGNS):
        assert letters(guarded(written)) == written


@given(st.text())
def test_no_guarded_text_begins_as_a_formula_unless_it_is_plainly_a_number(written: str) -> None:
    safe = guarded(written)
    if safe and safe[0] in SIGNS:
        assert isfinite(float(safe.replace(",", ".")))


# ---- numbers


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("12", "12"), ("12.5", "12.5"), ("12,5", "12.5"), ("-3,25", "-3.25"), ("+7", "7"), ("\u22125", "-5"),
        (" 4 ", "4"), ("0,300", "0.3"), ("0.800", "0.8"), (".5", "0.5"), (",125", "0.125"), ("1234,500", "1234.5"),
        ("1,2340", "1.234"), ("007", "7"), ("'-5", "-5"), (3, "3"), (2.5, "2.5"), (0.1 + 0.2, "0.3"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("file", ALL)
def test_what_is_plainly_a_number_is_read_in_every_file(cell: object, value: str, file: Convention) -> None:
    assert number(cell, file) == Decimal(value)


@pytest.mark.parametrize(
    ("cell", "file", "value"),
    [
        ("1,300", COMMAS, "1.3"),
        ("1,300", SEMICOLONS, "1.3"),
        ("1.300", PLAIN, "1.3"),
        ("1.300", POINTS, "1.3"),
        ("-12.345", POINTS, "-12.345"),
    ],
)
def test_three_digits_behind_a_mark_are_decimals_where_the_file_leaves_no_doubt(
    cell: str, file: Convention, value: str
) -> None:
    assert number(cell, file) == Decimal(value)


@pytest.mark.parametrize(
    ("cell", "file", "says"),
    [
        ("1,300", PLAIN, "may be 1300 or 1.3: write 1300 or 1.3."),
        ("1,300", POINTS, "may be 1300 or 1.3: write 1300 or 1.3."),
        ("1,300", BOTH, "may be 1300 or 1.3: write 1300 or 1,3."),
        ("1,300", SEMICOLONS_AND_POINTS, "may be 1300 or 1.3: write 1300 or 1,3."),
        ("1.300", COMMAS, "may be 1300 or 1.3: write 1300 or 1,3."),
        ("1.300", SEMICOLONS, "may be 1300 or 1.3: write 1300 or 1,3."),
        ("-1.234", COMMAS, "may be -1234 or -1.234: write -1234 or -1,2340."),
        ("12,000", PLAIN, "may be 12000 or 12: write 12000 or 12."),
    ],
)
def test_a_number_that_may_be_two_is_refused_with_both(cell: str, file: Convention, says: str) -> None:
    assert says in refusal(number, cell, file)
    assert says in refusal(length_mm, cell, file)


@pytest.mark.parametrize("said", ["1300", "1,3", "1.3", "1234", "1,2340"])
@pytest.mark.parametrize("file", ALL)
def test_what_is_proposed_is_read(said: str, file: Convention) -> None:
    assert number(said, file) == Decimal(said.replace(",", "."))


@pytest.mark.parametrize(
    "cell", ["1 300", "1'300", "1.300,5", "1,300.5", "1,300,000", "1\u00a0300", "1\u2019300", "-1 300"]
)
@pytest.mark.parametrize("file", ALL)
def test_marks_between_thousands_are_refused(cell: str, file: Convention) -> None:
    assert "thousands" in refusal(number, cell, file)


@pytest.mark.parametrize(
    "cell", ["x", "1e5", "5 %", "(5)", "1..2", "--1", "-", ".", "5.", "\u0663", "1/2", "NaN", "inf", "0x10", "=1", "5-"]
)
def test_what_is_no_number_is_refused(cell: str) -> None:
    assert "no number" in refusal(number, cell, PLAIN)


def test_yes_and_days_are_no_numbers() -> None:
    assert "yes or no" in refusal(number, True, PLAIN)
    assert "date" in refusal(number, dt.date(2026, 4, 3), PLAIN)
    assert "no number" in refusal(number, float("inf"), PLAIN)
    assert "more than 20 digits" in refusal(number, "1" * 21, PLAIN)


@pytest.mark.parametrize(("cell", "value"), [("2", 2), ("2.0", 2), ("2,00", 2), (2.0, 2), (-3, -3), ("0", 0)])
def test_a_whole_number_may_have_noughts_behind_its_mark(cell: object, value: int) -> None:
    found = whole(cell, PLAIN)
    assert (found, type(found)) == (value, int)


@pytest.mark.parametrize("cell", ["2.5", 2.5, "0,1"])
def test_a_number_that_is_not_whole_is_refused_as_whole(cell: object) -> None:
    assert "must be whole" in refusal(whole, cell, PLAIN)


@given(st.decimals(-(10**9), 10**9, places=3), st.sampled_from(",."))
def test_a_number_with_four_decimals_is_read_back_from_either_mark(value: Decimal, mark: str) -> None:
    assert number(f"{value:.4f}".replace(".", mark), PLAIN) == value


def test_the_file_is_read_again_only_when_a_number_may_be_two_and_only_once() -> None:
    reads = []

    def rows():
        reads.append(1)
        yield 2, ["3,5"]

    file = Convention(Form(), rows)
    assert number("12,5", file) == Decimal("12.5")
    assert not reads
    assert [number("1,300", file), number("2,400", file)] == [Decimal("1.3"), Decimal("2.4")]
    assert "may be" in refusal(number, "1.300", file)
    assert len(reads) == 1


@pytest.mark.parametrize(
    ("cell", "commas", "points"),
    [
        ("3,5", True, False), ("3,25", True, False), ("3,2500", True, False), ("0,300", True, False),
        (" 12,5 mm ", True, False), ("-3,5", True, False), ("0.8 in", False, True), ('1.5"', False, True),
        ("1,300", False, False), ("1.300", False, False), ("a 3,5", False, False), ("3,5,7", False, False),
        ("3.4.2026", False, False), ("1,5 x", False, False), ("12", False, False), ("5,", False, False),
    ],
)  # fmt: skip
def test_only_cells_that_are_plainly_numbers_tell_the_mark(cell: str, commas: bool, points: bool) -> None:
    assert evidence_in([(2, ["a", cell, "b"])]) == (commas, points)


def test_cells_full_of_spaces_and_digits_are_judged_at_once() -> None:
    long = ["1" + " " * 30_000 + "x", " " * 30_000, "9" * 30_000, "1," * 15_000]
    assert evidence_in([(2, long)]) == (False, False)
    for cell in (*long[:1], *long[2:]):
        refusal(length_mm, cell, PLAIN)
        refusal(day, cell)


# ---- lengths


@pytest.mark.parametrize(
    ("cell", "mm"),
    [
        ("30", "30"), ("30,5", "30.5"), ("30 mm", "30"), ("30MM", "30"), ("3 cm", "30"), ("3,25cm", "32.5"),
        ("0.8 in", "20.32"), ("3/4 in", "19.05"), ('1 1/2"', "38.1"), ('1/64"', "0.397"), ("1/3 in", "8.467"),
        ("2 IN", "50.8"), ("1 \u2033", "25.4"), ("1\u201d", "25.4"), (12.5, "12.5"), (12, "12"), ("-3 mm", "-3"),
        ("0.0001 cm", "0.001"), ("'-3 mm", "-3"),
    ],
)  # fmt: skip
def test_a_length_is_in_millimeters_unless_its_unit_is_written(cell: object, mm: str) -> None:
    assert length_mm(cell, PLAIN) == Decimal(mm)


@pytest.mark.parametrize(
    ("cell", "mm"), [("0.00001 in", "0.000"), ("0.0125 in", "0.318"), ("0.00002 in", "0.001"), ("1/400 in", "0.064")]
)
def test_inches_are_rounded_to_a_thousandth_of_a_millimeter(cell: str, mm: str) -> None:
    assert length_mm(cell, PLAIN) == Decimal(mm)


@pytest.mark.parametrize(("cell", "mm"), [("0.0025 in", "0.064"), ("0.0075 in", "0.190"), ("3/400 in", "0.190")])
def test_half_a_thousandth_is_rounded_to_the_even_side(cell: str, mm: str) -> None:
    """0.0025 in is 63.5 um, 0.0075 in is 190.5 um."""
    assert length_mm(cell, PLAIN) == Decimal(mm)


@pytest.mark.parametrize("cell", ["12.3456", "1.23456 cm", 12.3456, "0,0001"])
def test_more_than_three_decimals_of_a_millimeter_are_refused(cell: object) -> None:
    assert "at most 3 decimals" in refusal(length_mm, cell, PLAIN)


@pytest.mark.parametrize("cell", ["6 ft", "3 m", "5 inches", "4 Zoll", "2 pt", "3 x"])
def test_other_units_are_refused(cell: str) -> None:
    assert 'write mm, cm, in or "' in refusal(length_mm, cell, PLAIN)


@pytest.mark.parametrize("cell", ["3/4", "3/4 mm", "1 1/2 cm"])
def test_a_fraction_needs_inches(cell: str) -> None:
    assert "with inches only" in refusal(length_mm, cell, PLAIN)


def test_a_fraction_over_nothing_is_refused() -> None:
    assert "0 below the line" in refusal(length_mm, "1/0 in", PLAIN)


def test_a_unit_alone_is_no_length() -> None:
    assert "no number" in refusal(length_mm, "mm", PLAIN)
    assert "no number" in refusal(length_mm, '"', PLAIN)


# ---- yes and no


@pytest.mark.parametrize("cell", ["yes", "YES", "y", "True", "1", "1.0", " yes ", True, 1, 1.0])
def test_yes_is_said_in_many_ways(cell: object) -> None:
    assert truth(cell) is True


@pytest.mark.parametrize("cell", ["no", "N", "FALSE", "0", "0.0", False, 0, 0.0])
def test_no_is_said_in_many_ways(cell: object) -> None:
    assert truth(cell) is False


@pytest.mark.parametrize("cell", ["x", "2", 2, 0.5, "ja", "1.0.0", dt.date(2026, 4, 3)])
def test_what_is_neither_yes_nor_no_is_refused(cell: object) -> None:
    assert refusal(truth, cell) == "Write yes or no."


# ---- days


@pytest.mark.parametrize(
    "cell",
    [
        "2026-04-03", "2026-4-3", "2026/04/03", "2026.04.03", "3.4.2026", "03.04.2026", "3. 4. 2026", " 2026-04-03 ",
        "2026-04-03 12:30", "2026-04-03T12:30:59.5", dt.date(2026, 4, 3), MIDNIGHT, NOON,
    ],
)  # fmt: skip
def test_a_day_that_can_only_be_one_is_read(cell: object) -> None:
    found = day(cell)
    assert (found, type(found)) == (dt.date(2026, 4, 3), dt.date)


@pytest.mark.parametrize(
    ("cell", "found"),
    [
        ("25/12/2026", dt.date(2026, 12, 25)),
        ("12/25/2026", dt.date(2026, 12, 25)),
        ("25-12-2026", dt.date(2026, 12, 25)),
        ("04/04/2026", dt.date(2026, 4, 4)),
    ],
)
def test_strokes_are_read_where_only_one_reading_is_a_day(cell: str, found: dt.date) -> None:
    assert day(cell) == found


@pytest.mark.parametrize("cell", ["03/04/2026", "3/4/2026", "3-4-2026"])
def test_a_day_that_may_be_two_is_refused_with_both_in_words(cell: str) -> None:
    assert refusal(day, cell) == ("The day may be 3 April 2026 or 4 March 2026: write 2026-04-03 or 2026-03-04.")


@pytest.mark.parametrize("cell", ["3.4.26", "03/04/26", "25-12-26"])
def test_a_year_of_two_digits_is_refused(cell: str) -> None:
    assert "four" in refusal(day, cell)


@pytest.mark.parametrize("cell", ["46150", 46150, 46150.5, "20260403", "46150,5"])
def test_a_bare_number_is_no_day(cell: object) -> None:
    assert "format it as a date" in refusal(day, cell)


@pytest.mark.parametrize("cell", ["31.2.2026", "2026-02-30", "13/14/2026", "0.1.2026", "1.13.2026", "2026-00-01"])
def test_a_day_that_is_in_no_calendar_is_refused(cell: str) -> None:
    assert "no such day" in refusal(day, cell)


@pytest.mark.parametrize("cell", ["x", "3 April 2026", "April", "2026", True, "3.4", "2026-04-03 at noon", "3/4-2026"])
def test_what_is_no_day_is_refused(cell: object) -> None:
    assert "2026-04-03" in refusal(day, cell)


@given(st.dates(dt.date(1000, 1, 1)))
def test_every_day_is_read_back_as_written_with_points_and_by_iso(found: dt.date) -> None:
    assert day(found.isoformat()) == day(f"{found.day}.{found.month}.{found.year}") == found


@given(st.text())
def test_any_text_gives_a_value_or_a_reason(written: str) -> None:
    for read in (text, letters, truth, day, lambda cell: number(cell, PLAIN), lambda cell: length_mm(cell, PLAIN)):
        try:
            read(written)
        except CellError as bad:
            assert bad.reason  # noqa: PT017 -- either may happen


def test_cells_are_shown_as_a_person_sees_them() -> None:
    assert [plain(cell) for cell in (None, 2.0, float("inf"), False)] == ["", "2", "inf", "FALSE"]
