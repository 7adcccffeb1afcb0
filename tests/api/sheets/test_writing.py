"""What is written is read back by two readers that are not ours, cell by cell."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import tempfile
from decimal import Decimal
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
import python_calamine
from hypothesis import example, given, settings
from hypothesis import strategies as st
from openpyxl.utils.escape import unescape

from api.sheets.guard import SIGNS, unguarded
from api.sheets.model import Form
from api.sheets.reading import open_sheet
from api.sheets.values import day, number, truth
from api.sheets.writing import writer

CSV_FORMS = [
    Form(),
    Form(encoding="utf-8-sig", delimiter=";", decimal_comma=True),
    Form(encoding="utf-16-le", delimiter="\t"),
    Form(encoding="utf-16-be"),
    Form(delimiter=";", sep_line=True, decimal_comma=True),
]
XLSX = Form("xlsx")
HEADER = ("reference", "=note", "c")
NASTY = [
    "", " ", '"', '""', "a,b;c\td", "x\r\ny", "\n", "\r", "'", "'=1", "=1+1", "+1+1", "-1-1", "@SUM(A1)", "\t=1",
    "\r=1", "-5", "+3,5", "-5 mm", "=cmd|' /C calc'!A0", "\U0001f98a\U0001f1e9\U0001f1ea", "1e5", "007", "_x0041_",
    "\u05d0\u05d1\u200f \u202eabc", "#N/A", "TRUE", "2026-04-03", "http://example.org", "mailto:a@example.org",
    "x" * 5_000,
]  # fmt: skip
TEXTS = st.one_of(
    st.text(st.characters(exclude_categories=["Cs", "Cn"], exclude_characters="\0")),
    st.sampled_from(NASTY),
    st.builds(lambda sign, rest: sign + rest, st.sampled_from("=+-@\t\r\n'\"; "), st.sampled_from(NASTY)),
)
ROWS = st.lists(st.tuples(TEXTS, TEXTS, TEXTS), max_size=6)
PLAIN_NUMBER = re.compile(r"[-+][0-9]+([.,][0-9]+)?")


def written(form: Form, rows, header=HEADER) -> tuple[bytes, list[str]]:
    """Return a sheet as bytes, and what is said of it."""
    out = io.BytesIO()
    with writer(form, out, header) as sheet:
        for row in rows:
            sheet.row(row)
    return out.getvalue(), sheet.notes


def safe(text: str) -> str:
    """Return what must stand in a CSV for a text, said anew."""
    risky = text[:1] in {"=", "+", "-", "@", "\t", "\r", "\n"} and not PLAIN_NUMBER.fullmatch(text)
    return "'" + text if risky else text


def decoded(content: bytes, form: Form) -> str:
    """Return the text of a CSV behind its mark and its line about the delimiter."""
    text = content.decode("utf-8-sig" if form.encoding.startswith("utf-8") else "utf-16")
    if form.sep_line:
        first, _, text = text.partition("\r\n")
        assert first == f"sep={form.delimiter}"
    return text


@pytest.mark.parametrize("form", CSV_FORMS, ids=str)
@settings(deadline=None)
@given(rows=ROWS)
@example(rows=[(text, text, "x") for text in NASTY])
def test_a_csv_is_read_back_by_two_readers_cell_by_cell(form: Form, rows) -> None:
    content, notes = written(form, rows)
    expected = [[safe(cell) for cell in row] for row in (HEADER, *rows)]
    text = decoded(content, form)
    assert list(csv.reader(io.StringIO(text, newline=""), delimiter=form.delimiter, strict=True)) == expected
    frame = pd.read_csv(
        io.StringIO(text, newline=""),
        sep=form.delimiter,
        header=None,
        dtype=str,
        na_filter=False,
        skip_blank_lines=False,
        lineterminator=None,
    )
    assert frame.to_numpy().tolist() == expected
    changed = sum(safe(cell) != cell for row in (HEADER, *rows) for cell in row)
    assert (str(changed) in notes[0].split()) if changed else notes == []


@pytest.mark.parametrize("form", [*CSV_FORMS, XLSX], ids=str)
@settings(deadline=None, max_examples=20)
@given(rows=ROWS)
def test_our_own_reader_gives_back_every_letter(form: Form, rows) -> None:
    content, _ = written(form, rows)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sheet"
        path.write_bytes(content)
        sheet = open_sheet(path)
        found = {at: [unguarded(cell or "") for cell in cells] for at, cells in sheet.rows()}
    assert sheet.header == tuple(safe(name) if form.kind == "csv" else name for name in HEADER)
    assert (sheet.form.kind, sheet.form.delimiter, sheet.form.encoding) == (form.kind, form.delimiter, form.encoding)
    for at, row in enumerate(rows, 2):
        assert found.get(at, [""] * 3) == [cell[1:] if quoted(cell) else cell for cell in row]


def quoted(text: str) -> bool:
    """Return whether a text began with our own quote before it was written: then the quote comes off."""
    return len(text) > 1 and text[0] == "'" and text[1] in SIGNS


@settings(deadline=None, max_examples=40)
@given(rows=ROWS)
@example(rows=[(text, text, "x") for text in NASTY])
def test_the_text_of_a_workbook_is_read_back_by_two_readers_cell_by_cell(rows) -> None:
    content, notes = written(XLSX, rows)
    expected = [list(row) for row in (HEADER, *rows)]
    while expected and not any(expected[-1]):
        expected.pop()  # rows at the end without a cell are in no workbook
    found = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(content)).get_sheet_by_index(0).to_python()
    assert found == expected
    book = openpyxl.load_workbook(io.BytesIO(content))
    again = [[unescape(cell) if cell else "" for cell in row] for row in book.active.iter_rows(values_only=True)]
    assert again[: len(expected)] == expected
    assert not any(cell for row in again[len(expected) :] for cell in row)
    assert {cell.data_type for row in book.active.iter_rows() for cell in row if cell.value} == {"s"}
    assert not any(cell.hyperlink for row in book.active.iter_rows() for cell in row)
    assert notes == []


MOMENT = dt.datetime(2026, 4, 3, 12, 30, 15)  # noqa: DTZ001 -- what a sheet holds has no time zone
VALUES = [
    12, -5, 0, 2.5, -0.125, Decimal("12.50"), Decimal(-3), True, False, dt.date(2026, 4, 3), dt.date(1900, 3, 1),
    MOMENT, None, "",
]  # fmt: skip


def test_values_of_a_workbook_stay_what_they_are_for_two_readers() -> None:
    content, _ = written(XLSX, [[value] for value in VALUES], ["v"])
    book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(content)).get_sheet_by_index(0)
    found = [row[0] for row in book.to_python()[1:]]
    while len(found) < len(VALUES):
        found.append("")
    again = [
        row[0] for row in openpyxl.load_workbook(io.BytesIO(content)).active.iter_rows(min_row=2, values_only=True)
    ]
    again += [None] * (len(VALUES) - len(again))
    for value, one, other in zip(VALUES, found, again, strict=True):
        if value is None or value == "":
            assert (one, other) == ("", None)
        elif isinstance(value, dt.date):
            assert one == value
            assert type(one) is type(value)
            assert other == (value if isinstance(value, dt.datetime) else dt.datetime.combine(value, dt.time()))
        else:
            assert (one, other) == (float(value), float(value))
            assert {type(one), type(other)} <= ({bool} if isinstance(value, bool) else {int, float})


def test_a_blank_is_no_cell_of_a_workbook() -> None:
    content, _ = written(XLSX, [["a", "", None], ["", None, "c"]])
    sheet = openpyxl.load_workbook(io.BytesIO(content)).active
    assert [[cell.value for cell in row] for row in sheet.iter_rows(min_row=2)] == [
        ["a", None, None],
        [None, None, "c"],
    ]


@pytest.mark.parametrize("value", [Decimal("1234567890.1234567"), 1_152_921_504_606_846_976])
def test_a_number_that_a_workbook_would_round_is_written_as_text(value: Decimal | int) -> None:
    content, _ = written(XLSX, [[value]], ["v"])
    assert openpyxl.load_workbook(io.BytesIO(content)).active["A2"].value == str(value)


def test_a_day_that_a_workbook_counts_wrongly_is_written_as_text() -> None:
    content, _ = written(XLSX, [[dt.date(1900, 2, 28)], [dt.datetime(1899, 1, 1, 1)]], ["v"])  # noqa: DTZ001
    sheet = openpyxl.load_workbook(io.BytesIO(content)).active
    assert (sheet["A2"].value, sheet["A3"].value) == ("1900-02-28", "1899-01-01 01:00:00")


def test_text_that_no_cell_of_a_workbook_can_hold_is_cut_short_and_said() -> None:
    content, notes = written(XLSX, [["x" * 32_767], ["x" * 40_000]], ["v"])
    sheet = openpyxl.load_workbook(io.BytesIO(content)).active
    assert (len(sheet["A2"].value), len(sheet["A3"].value)) == (32_767, 32_767)
    assert notes == ["1 cell was longer than the 32767 characters of a workbook's cell, and cut short."]


@pytest.mark.parametrize("form", CSV_FORMS, ids=str)
def test_values_of_a_csv_are_read_as_what_they_were(form: Form, tmp_path: Path) -> None:
    path = tmp_path / "sheet.csv"
    row = [Decimal("12.5"), -3, 0.25, True, dt.date(2026, 4, 3), None, 1e15, dt.datetime(2026, 4, 3, 12)]  # noqa: DTZ001
    path.write_bytes(written(form, [row], "abcdefgh")[0])
    sheet = open_sheet(path)
    (_, cells), *_ = sheet.rows()
    assert sheet.form == form
    assert cells[0] == ("12,5" if form.decimal_comma else "12.5")
    assert [number(cell, None) for cell in (*cells[:3], cells[6])] == [Decimal("12.5"), -3, Decimal("0.25"), 10**15]
    assert (truth(cells[3]), day(cells[4]), cells[5], day(cells[7])) == (True, row[4], "", row[4])


def test_a_number_is_never_given_a_quote() -> None:
    content, notes = written(Form(), [[-5, Decimal("-0.5"), -1e-7]], "abc")
    assert content == b"a,b,c\r\n-5,-0.5,-0.0000001\r\n"
    assert notes == []


def test_a_csv_is_written_after_the_standard() -> None:
    content, _ = written(Form(), [['say "x"', "a,b", "c\nd"]], "abc")
    assert content == b'a,b,c\r\n"say ""x""","a,b","c\nd"\r\n'


@pytest.mark.parametrize(("count", "says"), [(1, "1 cell of text begins with"), (2, "2 cells of text begin with")])
def test_how_many_cells_got_a_quote_is_said_once(count: int, says: str) -> None:
    _, notes = written(Form(), [["=1"]] * count, ["a"])
    assert len(notes) == 1
    assert notes[0].startswith(says)


@pytest.mark.parametrize("form", [Form(), Form(encoding="utf-16-le"), XLSX], ids=str)
def test_what_is_no_character_comes_out_as_one_that_says_so(form: Form, tmp_path: Path) -> None:
    path = tmp_path / "sheet"
    path.write_bytes(written(form, [["\ud800", "a\0b", "\uffff"]])[0])
    assert list(open_sheet(path).rows()) == [(2, ["\ufffd", "a\ufffdb", "\ufffd"])]


@pytest.mark.parametrize("form", [Form(), XLSX], ids=str)
@pytest.mark.parametrize("value", [float("nan"), float("inf"), Decimal("NaN"), Decimal("-Infinity")])
def test_a_number_that_is_none_is_refused(form: Form, value: float | Decimal) -> None:
    with pytest.raises(ValueError, match="finite"):
        written(form, [[value]])


@pytest.mark.parametrize("form", [Form(), XLSX], ids=str)
def test_more_cells_than_names_are_refused(form: Form) -> None:
    with pytest.raises(ValueError, match="4 cells for 3 columns"):
        written(form, [["a", "b", "c", "d"]])


@pytest.mark.parametrize("form", [Form(), XLSX], ids=str)
def test_what_is_written_to_stays_open_and_ends_once(form: Form) -> None:
    out = io.BytesIO()
    with writer(form, out, ["a"]) as sheet:
        sheet.row(["=1"])
        sheet.close()
    size = out.tell()
    sheet.close()
    assert not out.closed
    assert len(out.getvalue()) == size
    assert len(sheet.notes) == (form.kind == "csv")


@pytest.mark.parametrize("form", [*CSV_FORMS, XLSX], ids=str)
def test_the_same_cells_give_the_same_bytes(form: Form) -> None:
    rows = [["a", 1, dt.date(2026, 4, 3)]] * 3
    assert written(form, rows) == written(form, rows)


@pytest.mark.parametrize("form", CSV_FORMS, ids=str)
def test_a_csv_comes_back_byte_for_byte_in_the_form_in_which_it_came(form: Form, tmp_path: Path) -> None:
    content, _ = written(
        form, [["R1", "12,5" if form.decimal_comma else "12.5", 'x "y"'], ["", "", ""], ["-5", "", "z"]]
    )
    path = tmp_path / "sheet.csv"
    path.write_bytes(content)
    sheet = open_sheet(path)
    again, notes = written(sheet.form, (cells for _, cells in sheet.rows()), sheet.header)
    assert again == content
    assert notes == []
