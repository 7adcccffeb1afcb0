"""CSV files as people have them."""

from __future__ import annotations

import csv
import io
import itertools
import tracemalloc
from pathlib import Path

import pytest

from api.sheets.convention import Convention
from api.sheets.model import Form, Limits, Sheet, SheetError
from api.sheets.reading import open_sheet
from api.sheets.values import number


@pytest.fixture
def opened(tmp_path: Path):
    """Return a function that opens bytes or text as a sheet."""

    def opening(content: bytes | str, limits: Limits | None = None, name: str = "wishes.csv") -> Sheet:
        path = tmp_path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return open_sheet(path, limits=limits) if limits else open_sheet(path)

    return opening


def refusal(opened, content: bytes | str, **given_to: object) -> SheetError:
    """Return why a file is refused, when it is opened or while it is read."""
    with pytest.raises(SheetError) as caught:
        list(opened(content, **given_to).rows())
    assert str(caught.value) == caught.value.reason
    return caught.value


@pytest.mark.parametrize(
    ("content", "form"),
    [
        (b"a,b\r\n1,2\r\n", Form()),
        (b"a;b\n1;2\n", Form(delimiter=";", decimal_comma=True)),
        (b"a\tb\n1\t2", Form(delimiter="\t")),
        (b"\xef\xbb\xbfa,b\r\n1,2\r\n", Form(encoding="utf-8-sig")),
        ("\ufeffa\tb\r\n1\t2\r\n".encode("utf-16-le"), Form(delimiter="\t", encoding="utf-16-le")),
        ("\ufeffa,b\r\n1,2\r\n".encode("utf-16-be"), Form(encoding="utf-16-be")),
        (b"sep=;\r\na;b\r\n1;2\r\n", Form(delimiter=";", decimal_comma=True, sep_line=True)),
        (b'"a",b\n"1","2"\n', Form()),
    ],
)
def test_the_form_of_a_file_is_found(opened, content: bytes, form: Form) -> None:
    sheet = opened(content)
    assert sheet.form == form
    assert sheet.header == ("a", "b")
    assert list(sheet.rows()) == [(2, ["1", "2"])]
    assert sheet.notes == []


@pytest.mark.parametrize(
    ("content", "commas"),
    [
        ("a;b\n3,5;x\n", True),
        ("a;b\n3.5;x\n", False),
        ("a;b\nx;x\n", True),
        ("a;b\n3.5;3,5\n", True),
        ("a,b\n3.5,x\n", False),
        ('a,b\n"3,5",x\n', True),
        ("a\tb\n3,5\tx\n", True),
        ("a,b\n", False),
    ],
)
def test_the_decimal_mark_to_write_is_that_of_the_first_rows(opened, content: str, commas: bool) -> None:
    assert opened(content).form.decimal_comma is commas


def test_the_delimiter_is_looked_for_in_the_header_alone_and_outside_quotes(opened) -> None:
    sheet = opened('"a, b, c";d\n1,5;2,5\n')
    assert sheet.header == ("a, b, c", "d")
    assert list(sheet.rows()) == [(2, ["1,5", "2,5"])]


def test_a_header_may_go_over_several_lines(opened) -> None:
    sheet = opened('"width\r\n(mm)";b\r\n1;2\r\n')
    assert sheet.header == ("width\r\n(mm)", "b")
    assert list(sheet.rows()) == [(2, ["1", "2"])]


def test_a_single_column_is_a_sheet(opened) -> None:
    sheet = opened("reference\nR1\n")
    assert (sheet.header, list(sheet.rows())) == (("reference",), [(2, ["R1"])])


def test_the_name_of_a_file_decides_nothing(opened) -> None:
    assert list(opened("a,b\n1,2\n", name="wishes.xlsx").rows()) == [(2, ["1", "2"])]


def test_rows_are_numbered_as_a_person_sees_them_and_empty_ones_between_are_given(opened) -> None:
    sheet = opened('a,b\n\n"1\n1",2\n,\n\n3\n\n,\n')
    assert list(sheet.rows()) == [
        (2, ["", ""]), (3, ["1\n1", "2"]), (4, ["", ""]), (5, ["", ""]), (6, ["3", ""]),
    ]  # fmt: skip


def test_rows_can_be_read_again_and_by_several_at_once(opened) -> None:
    sheet = opened("a\n" + "".join(f"{n}\n" for n in range(5_000)))
    first, second = sheet.rows(), sheet.rows()
    assert list(itertools.islice(first, 3)) == list(itertools.islice(second, 3))
    assert list(first) == list(second)
    assert len(list(sheet.rows())) == 5_000


def test_empty_names_are_kept_with_what_stands_below_them(opened) -> None:
    sheet = opened("a,,b,\n1,2,3,4\n")
    assert sheet.header == ("a", "", "b", "")
    assert list(sheet.rows()) == [(2, ["1", "2", "3", "4"])]


def test_blank_cells_past_the_header_are_left_out_and_others_refused_with_their_row(opened) -> None:
    assert list(opened("a,b\n1,2,,\n").rows()) == [(2, ["1", "2"])]
    bad = refusal(opened, "a,b\n1,2\n\n3,5,4\n")
    assert (bad.row, bad.column) == (4, 3)
    assert "a comma" in bad.reason
    assert "a semicolon" in refusal(opened, "a;b\n1;2;3\n").reason


def test_a_quote_inside_a_cell_without_quotes_is_an_inch(opened) -> None:
    assert list(opened('a,b\n3/4",2\n').rows()) == [(2, ['3/4"', "2"])]


def test_the_same_name_twice_is_refused_and_said(opened) -> None:
    bad = refusal(opened, "a,thread,b, thread \n")
    assert bad.reason.startswith("Columns 2 and 4 have the same name, thread:")
    assert (bad.row, bad.column) == (1, "thread")


def test_a_long_name_is_cut_short_where_it_is_said(opened) -> None:
    name = '"' + "x\n" * 200 + '"'
    bad = refusal(opened, f"{name},{name}\n")
    assert len(bad.reason) < 200
    assert "\n" not in bad.reason


def test_a_cell_that_is_too_long_is_refused_with_its_column(opened) -> None:
    assert list(opened("a,b\n1," + "x" * 32_767).rows()) == [(2, ["1", "x" * 32_767])]
    bad = refusal(opened, "a,b\n1," + "x" * 32_768)
    assert (bad.row, bad.column) == (2, "b")


def test_many_long_cells_of_one_row_are_no_fault(opened) -> None:
    row = ["x" * 20_000] * 20
    assert list(opened(",".join(map(str, range(20))) + "\n" + ",".join(row)).rows()) == [(2, row)]


def test_limits_are_those_given(opened) -> None:
    few = Limits(columns=2, rows=3, cell_chars=5, row_bytes=1 << 16)
    assert refusal(opened, "a,b,c\n", limits=few).column == 3
    assert refusal(opened, "a\n1\n2\n3\n", limits=few).row == 4
    assert refusal(opened, "a\n123456\n", limits=few).row == 2
    assert "goes on" in refusal(opened, "a\n" + '"' + "1\n" * 100_000, limits=few).reason


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("row", [1, 2, 3_000, 70_000])
def test_the_row_of_a_nul_is_said_wherever_it_stands(opened, encoding: str, row: int) -> None:
    lines = ["a;b"] + ["\u0100;1"] * (row - 1)
    lines[-1] = "\u0100\0;2"
    content = "\ufeff" + "\n".join(lines) + "\n1;2\n"
    bad = refusal(opened, content.encode(encoding))
    assert "NUL" in bad.reason
    assert bad.row == row


def test_two_zero_bytes_of_two_characters_are_no_nul(opened) -> None:
    content = "\ufeffa;b\nx\u0100;\u0100x\n"
    for encoding in ("utf-16-le", "utf-16-be"):
        assert b"\0\0" in content.encode(encoding)
        assert list(opened(content.encode(encoding)).rows()) == [(2, ["x\u0100", "\u0100x"])]


@pytest.mark.parametrize("row", [1, 2, 2_999, 60_001])
@pytest.mark.parametrize("first", [b"", b"sep=;\n", b"\xef\xbb\xbf"])
def test_the_row_of_bytes_that_are_no_text_is_said_though_cells_hold_line_breaks(
    opened, first: bytes, row: int
) -> None:
    lines = [b"\xc3\xa4;b"] + [b'"1\n1";2'] * (row - 1)
    lines[-1] = b'"1\n\xe4";2'
    bad = refusal(opened, first + b"\n".join(lines) + b"\n1;2\n")
    assert bad.row == row
    assert "CSV UTF-8" in bad.reason


def test_a_file_that_is_refused_far_down_gives_the_rows_before(opened) -> None:
    sheet = opened(b"a,b\n" + b"1,2\n" * 50_000 + b"\xe4,2\n")
    read = []
    with pytest.raises(SheetError, match="Row 50002 "):
        read.extend(iter_numbers(sheet))
    assert len(read) > 40_000


def iter_numbers(sheet: Sheet):
    """Return the numbers of the rows."""
    for row, _ in sheet.rows():
        yield row


def test_a_million_rows_cost_no_memory(tmp_path: Path) -> None:
    path = tmp_path / "long.csv"
    with path.open("w", encoding="utf-8") as file:
        file.write("reference,outside,width_mm\n")
        file.writelines("R1,BR-HAZ,12.5\n" * 1_000 for _ in range(1_000))
    sheet = open_sheet(path)
    rows = sheet.rows()
    next(rows)
    tracemalloc.start()
    taken = sum(1 for _ in itertools.islice(rows, 100_000))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert 1 + taken + sum(1 for _ in rows) == 1_000_000
    assert peak < 1 << 20


def test_the_file_as_a_whole_decides_on_a_number_that_may_be_two(opened) -> None:
    sheet = opened("a,b\n" + "1,2\n" * 5_000 + '"3,5",2\n')
    assert str(number("1,300", Convention.of(sheet))) == "1.300"


def test_what_is_read_is_what_the_standard_reader_reads(opened) -> None:
    content = 'a,b,c\r\n"x ""y"" z",  , \r\n"1,2",\'=3,"\r"\r\n,,"4\r\n5"\r\n'
    rows = list(csv.reader(io.StringIO(content, newline="")))
    assert len(rows) == 4
    assert [cells for _, cells in opened(content).rows()] == rows[1:]
