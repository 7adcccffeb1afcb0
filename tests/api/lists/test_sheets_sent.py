"""Sheets as people have them: the caller's own columns come back as they were, ours after them."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from typing import Any

import pytest
from support.desk import WALLET, Desk
from support.lists import csv_of, row_of, rows_in, xlsx_of

from api.lists.columns import ANSWERS, COLUMNS, LOTS, TOOK

PATH = "/v1/wishlists"
CELLS = row_of(WALLET)
assert CELLS is not None
NAMES = tuple(CELLS)
WORTH = [CELLS[name] for name in NAMES]


@pytest.fixture
def post(desk: Desk) -> Callable[..., Any]:
    def posted(content: bytes, query: str = "", who: str = "owner", name: str = "list.csv") -> Any:
        headers = {"authorization": f"Bearer {desk.tokens[who]}"}
        return desk._client.post(f"{PATH}{query}", files={"file": (name, content)}, headers=headers)

    return posted


def notes_of(answer: Any) -> list[str]:
    found: list[str] = json.loads(answer.headers.get("wish-list-notes", "[]"))
    return found


def test_own_columns_come_back_untouched_and_in_order_then_ours(post: Callable[..., Any]) -> None:
    header = ["my no", *NAMES, "Remark"]
    answer = post(csv_of(header, [["007", *WORTH, " two  spaces, a comma\nand a line "]]))
    assert answer.headers["content-type"] == "text/csv; charset=utf-8; header=present"
    (names, row) = list(csv.reader(io.StringIO(answer.text, newline="")))
    assert names == [*header, *ANSWERS, *LOTS]
    assert row[: len(header)] == ["007", *WORTH, " two  spaces, a comma\nand a line "]
    assert row[len(header)] == "buildable"


@pytest.mark.parametrize(
    ("query", "who", "ours"),
    [
        ("", "server", ANSWERS),
        ("?mode=together", "server", (*ANSWERS, *TOOK)),
        ("?mode=best", "staff", (*ANSWERS, *TOOK, *LOTS)),
    ],
)
def test_which_columns_are_ours_depends_on_mode_and_key(
    post: Callable[..., Any], query: str, who: str, ours: tuple[str, ...]
) -> None:
    answer = post(csv_of(NAMES, [WORTH]), query, who)
    assert tuple(next(csv.reader(io.StringIO(answer.text)))) == (*NAMES, *ours)


def test_an_unknown_column_is_kept_and_reported_once(post: Callable[..., Any]) -> None:
    answer = post(csv_of([*NAMES, "Outsied", ""], [[*WORTH, "x", "y"]] * 3))
    assert notes_of(answer) == ["column 'Outsied' is not known and was not read; is it outside?"]
    assert [(row["Outsied"], row[""]) for row in rows_in("csv", answer.content)] == [("x", "y")] * 3


def test_a_bad_row_gets_an_error_and_the_others_are_answered(post: Callable[..., Any]) -> None:
    header = [*NAMES, "quantity", "ready_by", "cards"]
    answer = post(
        csv_of(
            header,
            [
                [*WORTH, "two", "", ""],
                [*WORTH, "1", "03/04/2026", ""],
                [*WORTH, "0", "", ""],
                [*WORTH, "1", "2026-05-29", "4"],
                [""] * len(header),
                ["", *WORTH[1:], "1", "", ""],
            ],
        )
    )
    rows = rows_in("csv", answer.content)
    assert [row["qf_error"].partition(":")[0] for row in rows] == [
        "quantity",
        "ready_by",
        "quantity",
        "",
        "",
        "pattern",
    ]
    assert [row["qf_outcome"] for row in rows] == ["", "", "", "buildable", "", ""]
    assert rows[2]["qf_error"] == "quantity: at least 1"
    assert rows[5]["qf_error"] == "pattern: this field is needed"


def test_text_that_a_spreadsheet_would_run_is_made_harmless_and_reported_once(post: Callable[..., Any]) -> None:
    answer = post(csv_of([*NAMES, "remark", "mono_text"], [[*WORTH, "=1+1", ""], [*WORTH, "-5", "@x"]]))
    rows = rows_in("csv", answer.content)
    assert [row["remark"] for row in rows] == ["'=1+1", "-5"]
    assert [note for note in notes_of(answer) if "formula" in note] == [
        "2 cells of text begin with a sign that a spreadsheet program would take for a formula: a ' was put before it."
    ]
    again = post(answer.content)
    assert [row["remark"] for row in rows_in("csv", again.content)] == ["'=1+1", "-5"]


def test_an_answer_sent_again_is_answered_alike(post: Callable[..., Any]) -> None:
    first = post(csv_of(NAMES, [WORTH, WORTH]))
    second = post(first.content)
    assert second.content == first.content
    assert notes_of(second)[0] == "column 'qf_outcome' is one of ours: what stood there was left out"


def test_decimal_commas_come_back_as_decimal_commas(post: Callable[..., Any]) -> None:
    answer = post(csv_of([*NAMES, "width_mm"], [[*WORTH, "25,5"]], delimiter=";"))
    (row,) = csv.DictReader(io.StringIO(answer.text), delimiter=";")
    assert (row["width_mm"], row["qf_total"]) == ("25,5", "455,00")


def test_a_number_that_may_be_two_is_refused_with_both(post: Callable[..., Any]) -> None:
    answer = post(csv_of(["pattern", "length_mm"], [["lead", "1.300"], ["lead", "1300,5"]], delimiter=";"))
    first, second = csv.DictReader(io.StringIO(answer.text), delimiter=";")
    assert first["qf_outcome"] == ""
    assert "1300" in first["qf_error"]
    assert "1,3" in first["qf_error"]
    assert second["qf_error"] == ""


def test_lots_are_read_from_the_workshops_own_sheets_only(post: Callable[..., Any]) -> None:
    content = csv_of([*NAMES, "outside_lots"], [[*WORTH, "L105"]])
    (staff,) = rows_in("csv", post(content, who="staff").content)
    assert staff["qf_lots"].split()[0] == "outside:L105"
    other = post(content, who="server")
    (row,) = rows_in("csv", other.content)
    assert row["qf_outcome"] == "buildable"  # as if the column were not there
    assert "qf_lots" not in row
    assert "staff" in notes_of(other)[0]


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_the_template_is_accepted_as_it_is(desk: Desk, post: Callable[..., Any], kind: str) -> None:
    template = desk.get(f"/v1/wishlist-template.{kind}")
    assert template.status_code == 200
    answer = post(template.content, name=f"template.{kind}")
    assert answer.status_code == 200, answer.text
    rows = rows_in(kind, answer.content)
    assert [row["qf_outcome"] for row in rows] == ["buildable"] * 3
    assert {row["qf_error"] for row in rows} == {""}
    assert set(rows[0]) == {*COLUMNS, *ANSWERS, *LOTS}


def test_a_workbook_comes_back_as_a_workbook_with_numbers_and_dates(post: Callable[..., Any]) -> None:
    answer = post(xlsx_of([*NAMES, "quantity"], [[*WORTH, 2]]), name="list.xlsx")
    assert answer.headers["content-disposition"] == 'attachment; filename="checked.xlsx"'
    (row,) = rows_in("xlsx", answer.content)
    assert (row["quantity"], row["qf_outcome"], row["qf_total"]) == ("2.00", "buildable", "910.00")
    assert row["qf_as_of"] == "2026-03-02"


def test_a_column_of_ones_own_may_begin_as_ours_do(post: Callable[..., Any]) -> None:
    answer = post(csv_of([*NAMES, "qf_mine"], [[*WORTH, "keep me"]]))
    assert rows_in("csv", answer.content)[0]["qf_mine"] == "keep me"


def test_names_in_notes_are_cut_short_and_what_is_left_out_is_counted(post: Callable[..., Any]) -> None:
    unknown = [f"strange column {place}" for place in range(150)]
    answer = post(csv_of([*NAMES, "x" * 5000, *unknown], [[*WORTH, *[""] * 151]]))
    notes = notes_of(answer)
    assert len(answer.headers["wish-list-notes"]) <= 4000
    assert notes[0].startswith("column 'xxx")
    assert notes[-1] == f"and {151 - (len(notes) - 1)} more"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"Pattrn,outside\ntwofold,SH-GAR\n", "no column pattern; is it 'Pattrn'?"),
        (b"pattern,pattern\na,b\n", "same name"),
        (b"pattern,Pattern \na,b\n", "are the same, pattern"),
        (b"pattern,outside,\xe2\x80\x8bOUTSIDE\na,b,c\n", "are the same, outside"),
        (b'pattern\n"twofold\n', "never closed"),
        (b"pattern\ntwo\x00fold\n", "NUL"),
        ("pattern\nKöln\n".encode("latin-1"), "UTF-8"),
        (b"PK\x03\x04nothing", ""),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "old workbook"),
    ],
)
def test_a_file_that_is_no_list_is_a_clear_problem(post: Callable[..., Any], content: bytes, words: str) -> None:
    answer = post(content)
    assert answer.status_code == 422
    assert answer.json()["type"] == "/problems/list-unreadable"
    assert words in answer.json()["detail"]
    assert answer.json()["errors"][0]["pointer"] == "/file"


def test_a_body_of_no_kind_that_is_read_is_415(desk: Desk) -> None:
    headers = {"authorization": f"Bearer {desk.tokens['owner']}", "content-type": "text/plain"}
    answer = desk._client.post(PATH, content=b"pattern", headers=headers)
    assert answer.status_code == 415
    assert "multipart/form-data" in answer.headers["accept"]


@pytest.mark.parametrize("data", [{}, {"file": "text"}, {"other": "x"}])
def test_a_form_without_a_file_says_so(desk: Desk, data: dict[str, str]) -> None:
    headers = {"authorization": f"Bearer {desk.tokens['owner']}"}
    form = {name: (None, value) for name, value in data.items()} or {"x": (None, "y")}
    answer = desk._client.post(PATH, files=form, headers=headers)
    assert answer.status_code == 422
    assert answer.json()["type"] == "/problems/list-unreadable"


def test_lines_that_are_no_spec_get_an_error_each(desk: Desk) -> None:
    headers = {"authorization": f"Bearer {desk.tokens['owner']}", "content-type": "application/jsonl"}
    lines = [
        json.dumps(WALLET),
        "",
        "{",
        "[]",
        '{"pattern": "twofold", "colour": 1}',
        "x" * 200_000,
        json.dumps(WALLET),
    ]
    answer = desk._client.post(PATH, content="\n".join(lines), headers=headers)
    *rows, end = [json.loads(line) for line in answer.text.splitlines()]
    assert [row["row"] for row in rows] == [1, 3, 4, 5, 6, 7]
    assert [row["error"] is None for row in rows] == [True, False, False, False, False, True]
    assert rows[3]["error"]["pointer"] == "/colour"
    assert (end["complete"], end["summary"]["unreadable"], end["summary"]["buildable"]) == (True, 4, 2)


def test_a_list_larger_than_the_workshop_takes_is_413(desk: Desk) -> None:
    headers = {"authorization": f"Bearer {desk.tokens['owner']}", "content-type": "application/jsonl"}
    answer = desk._client.post(PATH, content=b" " * (65 << 20), headers=headers)
    assert answer.status_code == 413


def test_rows_follow_who_sees_what(desk: Desk) -> None:
    seen = {}
    for who in ("server", "staff", "owner"):
        (row,) = desk.post(PATH, [WALLET], who).json()["rows"]
        seen[who] = row["check"]
        assert row["check"] == desk.post("/v1/checks", WALLET, who).json()
    assert "cut_from" not in seen["server"]
    assert "cut_from" in seen["staff"]
    assert desk.post(PATH, [WALLET], "page").status_code == 403
    assert desk.post(PATH, [WALLET], "sheet").status_code == 403
    assert "short" not in desk.post(PATH, [WALLET] * 9, "server").json()["summary"]
    short, *_ = desk.post(PATH, [WALLET] * 9, "staff").json()["summary"]["short"]
    assert (short["leather"], short["free_dm2"]) == ("GO-BLK", 62)


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b'[{"pattern": NaN}]',
        b'{"specs": [], "specs": []}',
        b"[" * 100_000,
        "[]".encode("utf-16"),
        b"[" + b"9" * 5000 + b"]",
    ],
)
def test_a_body_that_is_no_json_is_400(desk: Desk, body: bytes) -> None:
    headers = {"authorization": f"Bearer {desk.tokens['owner']}", "content-type": "application/json"}
    answer = desk._client.post(PATH, content=body, headers=headers)
    assert answer.status_code == 400
    assert answer.json()["type"] == "/problems/unparsable-body"


@pytest.mark.parametrize("kind", ["application/json", "application/x-ndjson"])
def test_odd_rows_get_an_error_with_a_pointer(desk: Desk, kind: str) -> None:
    deep = "[" * 400 + "]" * 400
    rows = [
        r'{"pattern": "\ud800"}', deep, '{"pattern": "twofold", "parts": {"outside": {"foo": 1}}}',
        '{"pattern": "twofold", "monogram": {"text": 5}}', "3", json.dumps(WALLET),
    ]  # fmt: skip
    body = f"[{','.join(rows)}]" if kind.endswith("/json") else "\n".join(rows)
    headers = {"authorization": f"Bearer {desk.tokens['owner']}", "content-type": kind}
    answer = desk._client.post(PATH, content=body, headers=headers)
    assert answer.status_code == 200, answer.text
    found = (
        answer.json()["rows"]
        if kind.endswith("/json")
        else [json.loads(line) for line in answer.text.splitlines()][:-1]
    )
    pointers = [row["error"] and row["error"]["pointer"] for row in found]
    assert pointers == ["/pattern", "", "/parts/outside/foo", "/monogram/text", "", None]


def test_one_json_value_of_more_than_four_megabytes_is_413(desk: Desk) -> None:
    headers = {"authorization": f"Bearer {desk.tokens['owner']}", "content-type": "application/json"}
    for size, status in ((4 << 20, 200), ((4 << 20) + 1, 413)):
        answer = desk._client.post(PATH, content=b"[]" + b" " * (size - 2), headers=headers)
        assert answer.status_code == status


def test_a_json_body_in_another_encoding_is_415(desk: Desk) -> None:
    for kind in ("application/json", "application/jsonl"):
        headers = {"authorization": f"Bearer {desk.tokens['owner']}", "content-type": f"{kind}; charset=latin-1"}
        assert desk._client.post(PATH, content=b"[]", headers=headers).status_code == 415
