"""CSV files of others, and what is in them. Sources in data/SOURCES.md."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from api.sheets.model import SheetError
from api.sheets.reading import open_sheet
from api.sheets.writing import writer

DATA = Path(__file__).parent / "data"
RFC = json.loads((DATA / "rfc4180_cases.json").read_text(encoding="utf-8"))
SPECTRUM = json.loads((DATA / "csv_spectrum_2_0_0.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("case", RFC, ids=lambda case: case["name"])
def test_the_examples_of_the_standard_are_read_as_it_says(case, tmp_path: Path) -> None:
    path = tmp_path / "case.csv"
    path.write_bytes(case["text"].encode())
    sheet = open_sheet(path)
    assert [list(sheet.header), *(cells for _, cells in sheet.rows())] == case["rows"]


@pytest.mark.parametrize("case", RFC, ids=lambda case: case["name"])
def test_the_examples_of_the_standard_are_written_so_that_it_says_the_same(case, tmp_path: Path) -> None:
    out = io.BytesIO()
    path = tmp_path / "case.csv"
    path.write_bytes(case["text"].encode())
    header, *rows = case["rows"]
    with writer(open_sheet(path).form, out, header) as sheet:
        for row in rows:
            sheet.row(row)
    assert out.getvalue().endswith(b"\r\n")
    path.write_bytes(out.getvalue())
    again = open_sheet(path)
    assert [list(again.header), *(cells for _, cells in again.rows())] == case["rows"]


@pytest.mark.parametrize("line", ['"aaa","b"bb","ccc"', '"aaa","bbb', '"aaa" ,"bbb","ccc"'])
def test_a_lone_quote_in_a_quoted_field_which_rule_7_forbids_is_refused(line: str, tmp_path: Path) -> None:
    path = tmp_path / "case.csv"
    path.write_text(f"x,y,z\r\n{line}\r\n", encoding="utf-8", newline="")
    with pytest.raises(SheetError, match="Row 2 "):
        list(open_sheet(path).rows())


@pytest.mark.parametrize("case", SPECTRUM, ids=lambda case: case["name"])
def test_the_files_of_a_published_set_are_read_as_it_says(case, tmp_path: Path) -> None:
    path = tmp_path / "case.csv"
    path.write_bytes(case["text"].encode())
    sheet = open_sheet(path)
    assert [dict(zip(sheet.header, cells, strict=True)) for _, cells in sheet.rows()] == case["rows"]
