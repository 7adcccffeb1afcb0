"""Templates of wish lists: what they propose is there, and what they hold as examples can be made."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from random import Random
from typing import Any

import openpyxl
import pytest
from openpyxl.worksheet.datavalidation import DataValidation
from support.desk import TODAY, WALLET, Desk, a_desk

from api.house import shop_from_files
from api.lists.columns import COLUMNS, body_of, columns_in, spec_in
from api.lists.offered import Offered, offered_on
from api.lists.template import Templates
from api.lists.written import cells_of
from api.schemas.spec import SpecIn, to_spec
from api.settings import Settings
from api.sheets.convention import Convention
from api.sheets.model import Form
from api.sheets.reading import open_sheet
from api.visibility import Caller
from rules.check import judge
from rules.echo import understood
from rules.sample import sample_specs
from rules.shop import Shop

EXAMPLES = json.loads((Path(__file__).parents[1] / "data" / "example-specs.json").read_text(encoding="utf-8"))
TINY = Path(__file__).parents[1] / "catalog" / "tiny"
PAGE_COLUMNS = [name for name, column in COLUMNS.items() if column.least is Caller.PAGE]
XLSX, CSV = "/v1/wishlist-template.xlsx", "/v1/wishlist-template.csv"
RETIRED = "CE-GRY"


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    with a_desk(f"sqlite:///{tmp_path_factory.mktemp('templates') / 'templates.sqlite3'}") as desk:
        yield desk


@pytest.fixture(scope="module")
def shop() -> Shop:
    return shop_from_files(Settings())


@pytest.fixture(scope="module")
def offered(shop: Shop) -> Offered:
    return offered_on(shop, TODAY)


@pytest.fixture(scope="module", params=["server", "staff", "owner"])
def who(request: pytest.FixtureRequest) -> str:
    found: str = request.param
    return found


@pytest.fixture(scope="module")
def book(desk: Desk, who: str) -> Any:
    return openpyxl.load_workbook(io.BytesIO(desk.get(XLSX, who).content))


def names_of(who: str) -> list[str]:
    return list(COLUMNS) if who in ("staff", "owner") else PAGE_COLUMNS


def rows_of(sheet: Any) -> list[list[Any]]:
    return [[cell.value for cell in row] for row in sheet.iter_rows()]


def proposals(book: Any) -> dict[str, DataValidation]:
    """Return the list that each column proposes."""
    sheet = book["wishes"]
    found = {}
    for each in sheet.data_validations.dataValidation:
        (area,) = each.sqref.ranges
        if each.type == "list":
            assert (area.min_col, area.min_row, area.max_row) == (area.max_col, 2, 5001)
            found[sheet.cell(1, area.min_col).value] = each
    return found


def ranges_of(book: Any) -> dict[str, tuple[Any, ...]]:
    """Return what every name of a range holds."""
    found = {}
    for name, defined in book.defined_names.items():
        ((title, area),) = defined.destinations
        found[name.casefold()] = tuple(cell.value for (cell,) in book[title][area])
    return found


def resolved(book: Any, ranges: Any, row: int, proposal: DataValidation) -> tuple[Any, ...]:
    """Return what a cell of a row proposes, as a spreadsheet works it out; () where there is no such list."""
    formula = proposal.formula1
    found = re.fullmatch(r'INDIRECT\("(\w+)"&SUBSTITUTE\(TRIM\(\$([A-Z]+)2\),"-","\.\."\)\)', formula)
    if found is None:
        return ranges[formula.casefold()]
    other = book["wishes"][f"{found[2]}{row}"].value or ""
    return ranges.get((found[1] + other.strip().replace("-", "..")).casefold(), ())


def test_the_first_sheet_has_a_header_of_every_column_that_the_key_may_send(book: Any, who: str) -> None:
    assert book.sheetnames == ["wishes", "columns", "codes", "lists"]
    assert book["lists"].sheet_state == "hidden"
    sheet = book["wishes"]
    assert [cell.value for cell in sheet[1]] == names_of(who)
    assert sheet.freeze_panes == "C2"
    for at, name in enumerate(names_of(who), 1):
        assert sheet.column_dimensions[openpyxl.utils.get_column_letter(at)].width >= len(name)


def test_what_is_always_needed_stands_out(book: Any) -> None:
    fills = {cell.value: cell.fill.fgColor.rgb for cell in book["wishes"][1]}
    others = {fill for name, fill in fills.items() if name != "pattern"}
    assert len(others) == 1
    assert fills["pattern"] not in others


def test_a_workbook_holds_values_only(book: Any) -> None:
    for sheet in book:
        for row in sheet.iter_rows():
            assert [cell.coordinate for cell in row if cell.data_type == "f"] == []
    assert book.vba_archive is None
    assert [sheet.title for sheet in book if sheet._images or sheet._charts] == []


def test_every_column_has_a_line_that_says_what_it_means(book: Any, who: str) -> None:
    rows = rows_of(book["columns"])
    first = next(at for at, row in enumerate(rows) if row[0] == "column")
    assert rows[first] == ["column", "needed", "what it says", "written as", "example"]
    lines = {row[0]: row[1:] for row in rows[first + 1 :]}
    assert list(lines) == names_of(who)
    for name, (needed, says, unit, example) in lines.items():
        assert (needed == "yes") is (name == "pattern")
        assert says == COLUMNS[name].says
        assert unit
        if name != "claims":  # this workshop refuses every promise that somebody might ask for
            assert example, name
    assert "2026-03-02" in rows[0][0]
    assert "R12" in rows[0][0]


def test_the_examples_of_all_columns_make_a_spec(book: Any, who: str) -> None:
    rows = rows_of(book["columns"])
    start = next(at for at, row in enumerate(rows) if row[0] == "column") + 1
    examples = {row[0]: row[4] for row in rows[start:] if row[4]}
    convention = Convention(Form(), lambda: iter(()))
    body = body_of(list(examples.values()), columns_in(list(examples), Caller.OWNER), convention)
    assert set(cells_of(body)) == set(examples)
    assert spec_in(body).pattern == "twofold"


@pytest.mark.parametrize("kind", ["xlsx", "csv"])
def test_three_examples_of_different_patterns_are_read_as_they_are_and_can_be_made(
    desk: Desk, who: str, kind: str, tmp_path: Path
) -> None:
    file = tmp_path / f"template.{kind}"
    file.write_bytes(desk.get(f"/v1/wishlist-template.{kind}", who).content)
    sheet = open_sheet(file)
    assert list(sheet.header) == names_of(who)
    placed = columns_in(sheet.header, Caller.STAFF if who != "server" else Caller.SERVER)
    assert len(placed) == len(sheet.header)
    rows, convention = [cells for _, cells in sheet.rows()], Convention.of(sheet)
    patterns = set()
    for row in rows:
        spec = to_spec(spec_in(body_of(row, placed, convention)))
        assert judge(desk.house.shop, spec, TODAY).outcome == "buildable"
        patterns.add(spec.pattern)
    assert len(rows) == len(patterns) == 3
    assert [note for note in sheet.notes if "wishes, was read" not in note] == []


def test_both_templates_hold_the_same_examples(desk: Desk, who: str, book: Any) -> None:
    told = [[str(cell or "") for cell in row] for row in rows_of(book["wishes"])]
    assert list(csv.reader(io.StringIO(desk.get(CSV, who).text))) == told


def test_a_cell_proposes_what_goes_with_the_pattern_of_its_row(book: Any, offered: Offered, who: str) -> None:
    lists, ranges = proposals(book), ranges_of(book)
    assert resolved(book, ranges, 2, lists["pattern"]) == offered.everywhere["pattern"]
    sheet = book["wishes"]
    at = {cell.value: cell.column for cell in sheet[1]}
    for pattern in offered.everywhere["pattern"]:
        for written in (pattern, str(pattern).upper(), f" {pattern} "):
            sheet.cell(2, at["pattern"], written)
            for column, by in offered.by_pattern.items():
                if column in lists:
                    assert resolved(book, ranges, 2, lists[column]) == by.get(pattern, ())
                else:
                    assert by == {}
    for column, values in offered.everywhere.items():
        assert resolved(book, ranges, 2, lists[column]) == values


def test_lots_go_with_the_leather_of_their_part_and_are_the_workshops_own(
    book: Any, desk: Desk, offered: Offered, who: str
) -> None:
    lists, ranges = proposals(book), ranges_of(book)
    assert [name for name in lists if name.endswith("_lots")] == [name for name in names_of(who) if "_lots" in name]
    everything = {str(cell) for sheet in book for row in rows_of(sheet) for cell in row}
    if who == "server":
        assert everything & set(desk.house.shop.catalog.lots) == set()
        return
    sheet = book["wishes"]
    at = {cell.value: cell.column for cell in sheet[1]}
    for leather, lots in offered.lots.items():
        sheet.cell(3, at["pockets"], leather)
        assert resolved(book, ranges, 3, lists["pockets_lots"]) == lots


def test_a_proposal_never_blocks_what_is_written(book: Any) -> None:
    for name, proposal in proposals(book).items():
        assert proposal.errorStyle == "warning"
        # Of several codes in one cell none is in the list.
        assert proposal.showErrorMessage is (COLUMNS[name].unit != "codes")


def test_every_range_holds_codes_that_are_alive_and_no_retired_one(book: Any, shop: Shop) -> None:
    catalog = shop.catalog
    dead = {code for code, leather in catalog.leathers.items() if leather.status == "retired"}
    dead |= {code for code, thread in catalog.threads.items() if thread.status != "active"}
    dead |= {code for code, edge in catalog.edges.items() if edge.status != "active"}
    dead |= {code for code, pattern in catalog.patterns.items() if pattern.status != "active"}
    assert RETIRED in dead
    ranges = ranges_of(book)
    for values in ranges.values():
        assert values
        assert None not in values
        assert not dead & set(values)
    assert set(ranges["thread_twofold"]) <= {*catalog.threads, "match"}
    assert set(ranges["outside_twofold"]) <= set(catalog.leathers)
    for sheet in book:
        assert not dead & {cell for row in rows_of(sheet) for cell in row}


def test_every_code_that_is_proposed_is_told_of(book: Any) -> None:
    header, *rows = rows_of(book["codes"])
    assert header == ["noun", "code", "name", "family", "for the columns", "for the patterns", "color"]
    told = {(column, row[1]) for row in rows for column in row[4].split(", ")}
    ranges = ranges_of(book)
    for name, values in ranges.items():
        column = next((c for c in COLUMNS if name == f"all_{c}" or name.startswith(f"{c}_")), None)
        if column is not None and COLUMNS[column].codes:
            assert {(column, value) for value in values} - {(column, "match")} <= told, name
    for row in rows:
        assert all(row[:5])


def test_the_color_of_a_leather_is_shown(book: Any, shop: Shop) -> None:
    _, *rows = book["codes"].iter_rows()
    shown = {row[1].value: row[6].fill.fgColor.rgb for row in rows if row[6].fill.fill_type == "solid"}
    catalog = shop.catalog
    nouns = {**catalog.leathers, **catalog.threads, **catalog.edges}
    assert {"SH-GAR", "TH-P05-GAR", "ED-PNT-GAR"} <= set(shown)
    for code, color in shown.items():
        assert color == f"FF{nouns[code].swatch.srgb[1:].upper()}"


@pytest.mark.parametrize(("path", "media"), [
    (XLSX, "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
    (CSV, "text/csv; charset=utf-8; header=present"),
])  # fmt: skip
def test_a_template_is_a_file_with_a_tag(desk: Desk, path: str, media: str) -> None:
    answer = desk.get(path, "server")
    assert answer.headers["content-type"] == media
    assert answer.headers["content-disposition"] == f'attachment; filename="{path[4:]}"'
    assert answer.headers["vary"] == "Authorization"
    headers = {"authorization": f"Bearer {desk.tokens['server']}", "if-none-match": answer.headers["etag"]}
    again = desk._client.get(path, headers=headers)
    assert (again.status_code, again.content) == (304, b"")
    headers["authorization"] = f"Bearer {desk.tokens['staff']}"
    other = desk._client.get(path, headers=headers)
    assert other.status_code == 200
    assert other.headers["etag"] != answer.headers["etag"]


@pytest.mark.parametrize("path", [XLSX, CSV])
def test_a_page_is_given_none(desk: Desk, path: str) -> None:
    for who in ("page", "sheet"):
        assert desk.get(path, who).status_code == 403
    assert desk.get(f"{path}?day=2026-03-02", "server").status_code == 422


@pytest.mark.parametrize("kind", ["xlsx", "csv"])
def test_the_same_stock_and_day_give_the_same_bytes(shop: Shop, kind: str) -> None:
    one, other = (Templates().get(kind, shop, TODAY, Caller.STAFF) for _ in range(2))
    assert one == other


def test_another_day_is_told(shop: Shop) -> None:
    templates = Templates()
    for day in (TODAY, date(2026, 3, 3), TODAY):
        made = openpyxl.load_workbook(io.BytesIO(templates.get("xlsx", shop, day, Caller.SERVER).body))
        assert day.isoformat() in made["columns"]["A1"].value


def test_what_is_used_up_is_no_longer_proposed(tmp_path: Path) -> None:
    with a_desk(f"sqlite:///{tmp_path / 'own.sqlite3'}") as desk:
        before = desk.get(XLSX, "server")
        assert "KA-BLK" in _proposed(before)
        desk.post("/v1/lots/L133/entries", {"kind": "scrap", "reason": "mold"})
        after = desk.get(XLSX, "server")
        assert "KA-BLK" not in _proposed(after)
        assert "GO-BLK" in _proposed(after)
        assert before.headers["etag"] != after.headers["etag"]


def test_examples_are_found_anew_where_the_first_can_no_longer_be_made(tmp_path: Path) -> None:
    with a_desk(f"sqlite:///{tmp_path / 'own.sqlite3'}") as desk:
        first = desk.get(CSV, "server").text
        for lot in ("L128", "L129"):  # all the black goat, of which every pattern's inside is by default
            assert desk.post(f"/v1/lots/{lot}/entries", {"kind": "scrap", "reason": "mold"}).status_code == 201
        rows = list(csv.DictReader(io.StringIO(desk.get(CSV, "server").text)))
        assert rows
        assert [row for row in rows if "GO-BLK" in row.values()] == []
        assert "GO-BLK" in first
        for row in rows:
            assert desk.post("/v1/checks", _body(row), "server").json()["outcome"] == "buildable"


def _proposed(answer: Any) -> set[Any]:
    book = openpyxl.load_workbook(io.BytesIO(answer.content))
    return {value for values in ranges_of(book).values() for value in values}


def _body(row: dict[str, str]) -> dict[str, Any]:
    header = list(row)
    convention = Convention(Form(), lambda: iter(()))
    return body_of([row[name] for name in header], columns_in(header, Caller.SERVER), convention)


def _unproposed(offered: Offered, row: dict[str, Any]) -> list[tuple[str, Any]]:
    """Return what a row holds that its pattern is not proposed."""
    pattern = next(each for each in offered.everywhere["pattern"] if each.casefold() == row["pattern"].casefold())
    found = []
    for name, cell in row.items():
        by = offered.by_pattern.get(name)
        proposed = offered.everywhere.get(name) if by is None else by.get(pattern)
        # Uses are proposed as the pattern names them; another one is for the maker to judge.
        if proposed and name != "use":
            words = str(cell).split() if COLUMNS[name].unit == "codes" else [cell]
            words = [word.partition(":")[0] for word in words] if name == "notes" else words
            known = {str(each).casefold() for each in proposed}
            found += [(name, word) for word in words if str(word).casefold() not in known]
    return found


def test_whatever_an_example_spec_chooses_that_is_not_refused_is_proposed(offered: Offered) -> None:
    accepted = [each["spec"] for each in EXAMPLES if each["expect"]["outcome"] != "refused"]
    assert len(accepted) > 20
    for spec in accepted:
        assert _unproposed(offered, cells_of(spec)) == []


def test_whatever_a_random_spec_chooses_that_is_not_refused_is_proposed(shop: Shop, offered: Offered) -> None:
    accepted = 0
    for spec in sample_specs(shop.catalog, Random(20260302), TODAY, 1000):
        verdict = judge(shop, spec, TODAY)
        if verdict.outcome != "refused":
            accepted += 1
            assert _unproposed(offered, cells_of(understood(verdict.case.piece))) == []
    assert accepted > 200


def test_another_workshop_has_a_template_too() -> None:
    shop = shop_from_files(Settings(catalog=TINY))
    book = openpyxl.load_workbook(io.BytesIO(Templates().get("xlsx", shop, TODAY, Caller.STAFF).body))
    ranges = ranges_of(book)
    assert set(ranges["all_pattern"]) <= set(shop.catalog.patterns)
    assert shop.catalog.workshop.catalog_revision in book["columns"]["A1"].value


def test_a_spec_survives_the_way_into_a_row_and_back() -> None:
    for example in EXAMPLES:
        row = {name: str(value) for name, value in cells_of(example["spec"]).items()}
        convention = Convention(Form(), lambda: iter(()))
        body = body_of(list(row.values()), columns_in(list(row), Caller.OWNER), convention)
        assert spec_in(body) == SpecIn.model_validate(example["spec"])
    assert cells_of(WALLET)["pattern"] == "twofold"
