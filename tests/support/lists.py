"""Specs as rows of a sheet, files of each kind from them, and what comes back from the service."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import xlsxwriter
from python_calamine import CalamineWorkbook

from api.lists.columns import COLUMNS
from rules.echo import understood
from rules.shop import Shop
from rules.spec import Spec

KINDS = ("json", "ndjson", "csv", "xlsx")


def body_of_spec(shop: Shop, spec: Spec) -> dict[str, Any]:
    """Return a spec as JSON, codes as given."""
    return understood(shop.piece(spec))


def row_of(body: Mapping[str, Any]) -> dict[str, str] | None:
    """Return a spec's JSON as cells by column; None where no column says some of it."""
    left = json.loads(json.dumps(body))
    cells = {}
    for name, column in COLUMNS.items():
        found, at = left, column.path
        for step in at[:-1]:
            found = found.get(step, {}) if isinstance(found, dict) else {}
        value = found.pop(at[-1], None) if isinstance(found, dict) else None
        if value is not None:
            cells[name] = _said(name, value)
    for name in [name for name, value in left.items() if not _anything(value)]:
        left.pop(name)
    return None if left else cells


def _anything(value: Any) -> bool:
    return any(_anything(each) for each in value.values()) if isinstance(value, dict) else value not in (None, [])


def _said(name: str, value: Any) -> str:
    if name == "notes":
        return " ".join(f"{each['item']}:{each['count']}" for each in value)
    if name == "tools":
        return " ".join(each["item"] for each in value)
    if isinstance(value, list):
        return " ".join(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)


@dataclass(frozen=True)
class File:
    """A list as it is sent: the kind, the body, and headers or a form."""

    kind: str
    content: bytes

    def sent(self, client: Any, path: str, headers: Mapping[str, str], overrides: Any = None) -> Any:
        """Post it."""
        media = {"json": "application/json", "ndjson": "application/x-ndjson"}.get(self.kind)
        if media is not None:
            return client.post(path, content=self.content, headers={**headers, "content-type": media})
        form = {} if overrides is None else {"overrides": json.dumps(overrides)}
        return client.post(path, files={"file": (f"list.{self.kind}", self.content)}, data=form, headers=headers)


def file_of(kind: str, bodies: Sequence[Mapping[str, Any]], names: Sequence[str] = tuple(COLUMNS)) -> File:
    """Return specs as a file of a kind."""
    if kind == "json":
        return File(kind, json.dumps(list(bodies)).encode())
    if kind == "ndjson":
        return File(kind, b"".join(json.dumps(body).encode() + b"\n" for body in bodies))
    rows = [row_of(body) for body in bodies]
    assert None not in rows
    cells = [[(row or {}).get(name, "") for name in names] for row in rows]
    return File(kind, csv_of(names, cells) if kind == "csv" else xlsx_of(names, cells))


def csv_of(header: Sequence[str], rows: Iterable[Sequence[str]], *, delimiter: str = ",") -> bytes:
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=delimiter).writerows([header, *rows])
    return text.getvalue().encode()


def xlsx_of(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> bytes:
    out = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(out, options) as book:
        sheet = book.add_worksheet()
        for place, row in enumerate([header, *rows]):
            for at, cell in enumerate(row):
                if cell != "":
                    sheet.write(place, at, cell)
    return out.getvalue()


def rows_in(kind: str, content: bytes) -> list[dict[str, str]]:
    """Return the rows of a sheet that came back, cells as text."""
    if kind == "csv":
        text = content.decode("utf-8-sig")
        return list(csv.DictReader(io.StringIO(text, newline="")))
    header, *rows = CalamineWorkbook.from_filelike(io.BytesIO(content)).get_sheet_by_index(0).to_python()
    names = [str(name) for name in header]
    return [dict(zip(names, map(_text, row), strict=True)) for row in rows]


def _text(cell: Any) -> str:
    if isinstance(cell, float):
        return f"{cell:.2f}"
    return "" if cell is None else str(cell)


@dataclass(frozen=True)
class Verdict:
    """What is compared of a verdict, whatever kind of file it came in."""

    outcome: str
    headline: str
    rules: frozenset[str]
    total: str
    ready_on: str
    lots: str


def verdict_of_cells(row: Mapping[str, str]) -> Verdict:
    return Verdict(
        row["qf_outcome"], row["qf_headline"], frozenset(row["qf_rules"].split()), row["qf_total"],
        row["qf_ready_on"], row.get("qf_lots", ""),
    )  # fmt: skip


def verdict_of_answer(answer: Mapping[str, Any]) -> Verdict:
    lots: dict[str, list[str]] = {}
    for cut in answer.get("cut_from") or []:
        lots.setdefault(cut["part"], []).append(cut["lot"])
    price, promise = answer["price"], answer["promise"]
    return Verdict(
        answer["outcome"],
        answer["headline"],
        frozenset(finding["rule"] for finding in answer["findings"]),
        "" if price is None else price["total"],
        "" if promise is None else promise["ready_on"],
        " ".join(f"{part}:{','.join(codes)}" for part, codes in lots.items()),
    )


def verdicts_in(kind: str, content: bytes) -> list[Verdict]:
    """Return the verdicts of an answer, in order."""
    if kind == "json":
        return [verdict_of_answer(row["check"]) for row in json.loads(content)["rows"]]
    if kind == "ndjson":
        lines = [json.loads(line) for line in content.splitlines()]
        return [verdict_of_answer(line["check"]) for line in lines[:-1]]
    return [verdict_of_cells(row) for row in rows_in(kind, content)]
