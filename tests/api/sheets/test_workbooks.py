"""Workbooks as people have them, and the process that reads them."""

from __future__ import annotations

import datetime as dt
import itertools
import os
import subprocess
import sys
import threading
from pathlib import Path

import openpyxl
import pytest
from support.books import GOOD_ROWS, book, relations, sheet, text, workbook

from api.sheets import workbook as reader
from api.sheets.convention import Convention
from api.sheets.model import Form, Limits, SheetError
from api.sheets.reading import open_sheet
from api.sheets.values import CellError, day, number
from api.sheets.values import text as code

TWO_SHEETS = '<sheet name="Notes" sheetId="2" {} r:id="rId2"/><sheet name="Wishes" sheetId="1" r:id="rId1"/>'
BOTH = relations("worksheets/sheet1.xml", "worksheets/sheet2.xml")
OTHER = {"xl/worksheets/sheet2.xml": sheet(f'<row r="1">{text("A1", "other")}</row>')}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Return where a workbook may be put."""
    return tmp_path / "wishes.xlsx"


def saved(path: Path, rows: list[list[object]]) -> Path:
    """Write a workbook with a library that is not ours."""
    made = openpyxl.Workbook()
    for row in rows:
        made.active.append(row)
    made.save(path)
    return path


def test_a_workbook_gives_its_values_as_what_they_are(path: Path) -> None:
    noon = dt.datetime(2026, 4, 3, 12, 30)  # noqa: DTZ001 -- what a sheet holds has no time zone
    rows = [["R1", 2, 2.5, True, dt.date(2026, 4, 3), noon, None], [None, 0, -1, False, None, None, " x "]]
    found = open_sheet(saved(path, [list("abcdefg"), *rows]))
    assert found.form == Form("xlsx")
    assert found.header == tuple("abcdefg")
    assert list(found.rows()) == [(2, rows[0]), (3, rows[1])]
    assert [type(cell) for cell in next(found.rows())[1]] == [str, float, float, bool, dt.date, dt.datetime, type(None)]
    assert found.notes == []


def test_spans_and_times_of_day_are_read_as_text(path: Path) -> None:
    rows = [["a", "b"], [dt.time(3, 4), dt.timedelta(hours=30, minutes=5)]]
    assert list(open_sheet(saved(path, rows)).rows()) == [(2, ["03:04:00", "30:05:00"])]


def test_a_header_of_numbers_and_days_is_read_as_a_person_sees_it(path: Path) -> None:
    assert open_sheet(saved(path, [["a", 12, 2.5, dt.date(2026, 4, 3), None, "z"]])).header == (
        "a", "12", "2.5", "2026-04-03", "", "z",
    )  # fmt: skip


def test_empty_rows_between_are_given_and_those_at_the_end_are_not(path: Path) -> None:
    rows = (
        '<row r="1">'
        + text("A1", "a")
        + '</row><row r="4"><c r="A4"><v>0</v></c></row><row r="9"><c r="A9" s="1"/></row>'
    )
    book(path, sheet=sheet(rows))
    assert list(open_sheet(path).rows()) == [(2, [None]), (3, [None]), (4, [0.0])]


def test_columns_that_are_empty_on_the_left_are_kept(path: Path) -> None:
    book(path, sheet=sheet(f'<row r="1">{text("B1", "b")}</row><row r="2">{text("C2", "x")}</row>'))
    found = open_sheet(path)
    assert found.header == ("", "b", "")
    assert list(found.rows()) == [(2, [None, None, "x"])]


def test_the_first_visible_sheet_is_read_and_the_others_are_said(path: Path) -> None:
    book(path, OTHER, workbook=workbook(TWO_SHEETS.format('state="hidden"')), relations=BOTH)
    found = open_sheet(path)
    assert found.header == ("reference", "count")
    assert found.notes == ["Only the first visible sheet, Wishes, was read; not read: Notes."]
    book(path, OTHER, workbook=workbook(TWO_SHEETS.format("")), relations=BOTH)
    assert open_sheet(path).header == ("other",)


def test_many_other_sheets_are_counted(path: Path) -> None:
    more = "".join(f'<sheet name="s{n}" sheetId="{n}" r:id="rId1"/>' for n in range(9))
    book(path, workbook=workbook(more))
    assert open_sheet(path).notes == ["Only the first visible sheet, s0, was read; not read: s1, s2, s3 and 5 more."]


def test_a_list_of_sheets_may_stand_elsewhere_and_have_prefixes(path: Path) -> None:
    prefixed = sheet(GOOD_ROWS).replace("<", "<x:").replace("<x:/", "</x:").replace("xmlns=", "xmlns:x=")
    listed = workbook().replace("<", "<x:").replace("<x:/", "</x:").replace("xmlns=", "xmlns:x=")
    book(path, sheet=prefixed, workbook=listed)
    assert list(open_sheet(path).rows()) == [(2, ["R1", 3.0])]


def test_formulas_are_said_once_and_those_without_a_value_are_counted(path: Path) -> None:
    cells = '<c r="A2"><f>1+1</f><v>2</v></c><c r="B2"><f>1+2</f><v></v></c><c r="C2"><f>1</f></c>'
    more = '<c r="D2" t="str"><f>""</f><v></v></c><c r="E2"><f ca="1"/></c>'
    book(path, sheet=sheet(f'<row r="1">{text("A1", "a")}</row><row r="2">{cells}{more}</row>'))
    found = open_sheet(path)
    assert [note.split(",")[0] for note in found.notes] == [
        "Formulas were read as their stored values.",
        "Formulas without a stored value were read as empty",
    ]
    assert "3 of them" in found.notes[1]
    assert next(found.rows())[1][0] == 2.0


def test_formulas_of_another_library_are_read_as_empty_and_said(path: Path) -> None:
    found = open_sheet(saved(path, [["a", "b"], ["=1+1", 1]]))
    assert list(found.rows()) == [(2, [None, 1.0])]
    assert "1 of them" in found.notes[1]


def test_errors_of_the_spreadsheet_are_no_empty_cells(path: Path) -> None:
    cells = '<c r="A2" t="e"><v>#N/A</v></c><c r="C2" s="1" t="e"><f>1/0</f><v>#DIV/0!</v></c>'
    last = '<c r="B3"><v>1</v></c><c t="e" r="D3"><v>#REF!</v></c>'
    book(path, sheet=sheet(f'<row r="1">{text("A1", "a")}</row><row r="2">{cells}</row><row r="3">{last}</row>'))
    rows = list(open_sheet(path).rows())
    assert rows == [(2, ["#N/A", None, "#DIV/0!", None]), (3, [None, 1.0, None, "#REF!"])]
    with pytest.raises(CellError, match="error of the spreadsheet"):
        code(rows[0][1][0])


def test_merged_and_hidden_cells_are_said(path: Path) -> None:
    hidden = GOOD_ROWS.replace('<row r="2">', '<row r="2" hidden="1">')
    book(path, sheet=sheet(hidden, '<mergeCells count="1"><mergeCell ref="A1:B1"/></mergeCells>'))
    found = open_sheet(path)
    assert len(list(found.rows())) == 1
    assert found.notes == [
        "The value of merged cells was read in the first of them only.",
        "Hidden rows and columns were read too.",
    ]


def test_a_number_that_is_none_is_text(path: Path) -> None:
    book(path, sheet=sheet(f'<row r="1">{text("A1", "a")}</row><row r="2"><c r="A2"><v>NaN</v></c></row>'))
    ((_, (cell,)),) = open_sheet(path).rows()
    assert isinstance(cell, str)
    with pytest.raises(CellError, match="no number"):
        number(cell, Convention(Form("xlsx"), lambda: iter(())))


def test_text_cells_decide_on_the_decimal_mark_of_a_workbook(path: Path) -> None:
    found = open_sheet(saved(path, [["a", "b"], ["3,5", 0.8], ["1,300", 1.3]]))
    assert [str(number(cells[0], Convention.of(found))) for _, cells in found.rows()] == ["3.5", "1.300"]


def test_a_bare_number_where_a_day_is_meant_is_refused_and_a_formatted_one_read(path: Path) -> None:
    ((_, cells),) = open_sheet(saved(path, [["a", "b"], [dt.date(2026, 4, 3), 46115]])).rows()
    assert day(cells[0]) == dt.date(2026, 4, 3)
    with pytest.raises(CellError, match="format it as a date"):
        day(cells[1])


def test_rows_can_be_read_again_by_several_threads_at_once(path: Path) -> None:
    rows = [[f"R{n}", n, None] for n in range(4_000)]
    found = open_sheet(saved(path, [["a", "b", "c"], *rows]))
    counts: list[int] = []

    def count() -> None:
        counts.append(sum(cells == [f"R{at - 2}", at - 2, None] for at, cells in found.rows()))

    threads = [threading.Thread(target=count) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert counts == [4_000] * 3


def test_no_process_is_left_to_whoever_stops_reading(path: Path) -> None:
    found = open_sheet(saved(path, [["a"], *([n] for n in range(3_000))]))
    assert len(list(itertools.islice(found.rows(), 2))) == 2
    with pytest.raises(ChildProcessError):
        os.waitpid(-1, os.WNOHANG)


def test_the_temporary_file_ends_with_the_sheet(path: Path) -> None:
    found = open_sheet(saved(path, [["a"], [1]]))
    file = found._spool.file
    assert list(found.rows()) == [(2, [1.0])]
    del found
    assert file.closed


def test_an_archive_is_told_by_its_content_and_not_by_its_name(tmp_path: Path) -> None:
    assert open_sheet(saved(tmp_path / "wishes.csv", [["a"], [1]])).form.kind == "xlsx"


@pytest.mark.parametrize(
    ("limits", "says"),
    [
        (Limits(file_bytes=100), "larger than"),
        (Limits(parts=3), "more than 3 parts"),
        (Limits(columns=1), "2 columns"),
        (Limits(rows=1), "more than 1 rows"),
        (Limits(cells=3), "more than 3 cells"),
        (Limits(cell_chars=5), "at most 5"),
        (Limits(memory_bytes=1 << 20), "more memory"),
        (Limits(expanded_bytes=1_000), "grows"),
    ],
)
def test_limits_are_those_given(path: Path, limits: Limits, says: str) -> None:
    book(path)
    with pytest.raises(SheetError, match=says):
        open_sheet(path, limits=limits)


@pytest.mark.parametrize(
    ("doing", "says"),
    [
        ("while True: pass", "more time"),
        ("b'x' * (1 << 40)", "memory|damaged"),
        ("import os; os.kill(os.getpid(), 11)", "damaged"),
        ("import os; os.kill(os.getpid(), 9)", "more memory"),
        ("open(1, 'wb', closefd=False).write(b'x' * (300 << 20))", "more room"),
        ("raise RuntimeError", "damaged"),
    ],
)
def test_whatever_happens_to_the_reader_is_one_refusal(path: Path, doing: str, says: str) -> None:
    """Another program is started in place of the reader, under the limits of the real one."""
    book(path)
    start = (
        "import sys; sys.path.insert(0, sys.argv[1]); from api.sheets import child; import json; from"
        " api.sheets.model import Limits; child.confine(Limits(**json.loads(sys.argv[2])));"
    )
    failing = f"\ntry:\n    {doing}\nexcept MemoryError:\n    sys.exit(4)\nexcept OSError:\n    sys.exit(5)\n"
    spool = reader._Spool()
    seconds = 1 if doing.startswith("while") else 20  # a slow disk must not run out of time before it runs out of room
    with pytest.raises(SheetError, match=says):
        reader._read_into(spool.file, path, Limits(seconds=seconds), start + failing)


def test_the_reader_takes_nothing_from_the_caller_but_the_file(path: Path, tmp_path: Path) -> None:
    """Neither the folder nor the variables of the caller decide what the reader imports."""
    (tmp_path / "json.py").write_text("raise SystemExit(9)", encoding="utf-8")
    book(path)
    program = (
        f"import sys, os; sys.path.insert(0, {str(reader._ROOT)!r})\n"
        "from pathlib import Path\nfrom api.sheets.reading import open_sheet\n"
        f"os.chdir({str(tmp_path)!r}); os.environ['PYTHONPATH'] = {str(tmp_path)!r}\n"
        f"print(list(open_sheet(Path({str(path)!r})).rows()))"
    )
    done = subprocess.run(
        [
            sys.executable,
            "-I",
            "-c",
            program,
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout.strip() == "[(2, ['R1', 3.0])]"
