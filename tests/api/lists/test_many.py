"""Rows of a sheet judged many together are told what each is told alone, faults and all, whatever the chunks."""

from __future__ import annotations

import csv
import io
import random
import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from support.desk import TODAY
from support.lists import body_of_spec, csv_of, row_of, xlsx_of

import rules
from api.lists.asking import SheetSource
from api.lists.columns import COLUMNS
from api.lists.judging import Judging, Terms
from api.lists.many import Chunk, Many
from api.lists.tally import Tally
from api.lists.telling import Teller
from api.lists.writing import write_sheet
from api.sheets.model import Form
from api.sheets.writing import writer
from api.visibility import Caller
from catalog.model import Catalog
from rules.sample import as_repeat, sample_specs
from rules.shop import Shop, open_shop
from rules.spec import Spec

FEW, MANY = 1_200, 20_000
#: What people write that is no such thing, or may be two, or is one written another way.
ODD: dict[str, tuple[str, ...]] = {
    "pattern": ("", "nobody-has-it", "TWOFOLD", " twofold ", "x" * 41),
    "outside": ("sh-gar", "SH-NONE", "#REF!", "x" * 50, "\u00a0SH-GAR"),
    "outside_side": ("Flesh", "inside out", ""),
    "lining": ("GO-BLK", "GO-NONE"),
    "thread": ("match", "th-p05-gar", "#N/A"),
    "mono_text": ("  ", "\u00e9", "e\u0301", "'=A", "A" * 101, "B.\tC", "LEA"),
    "mono_method": ("BLIND", "burned"),
    "mono_artwork": ("perhaps", "1"),
    "modifications": ("hidden_slot  hidden_slot", " ".join(f"m{place}" for place in range(21))),
    "lug_mm": ("1,300", "20.0005", "20,5", "-3", "0.8 in", "20 mm"),
    "cards": ("8.0", "8.5", "many", "1001"),
    "notes": ("USD:4 EUR50", "USD:x", "NOTE-NONE:2"),
    "business_cards": ("25",),
    "blade_width_mm": ("30",),
    "dog_kg": ("30,5", "0"),
    "quantity": ("0", "2", "2.0", "1000", "a dozen"),
    "ship_to": ("us-ca", "Germany", "DE"),
    "rush": ("Y", "n", "soon"),
    "ready_by": ("3.4.2026", "03/04/2026", "2026-13-01", "13/04/2026"),
    "reference": ("=1+1", "x" * 101, "-5", "a\x07b", "web-1"),
    "note": ("two\nlines", "y" * 2001, "plain"),
    "repeat_of": ("O1", "O2", "O-NONE"),
    "catalog_revision": ("R0", "R12"),
    "outside_lots": ("L103", "l103 L104", "L-NONE"),
    "notebook": ("NB-A7", "nb-none"),
    "notebook_width_mm": ("74", "4.1 in", "5"),
    "notebook_block_mm": ("2", "0"),
    "tools": ("TO-PEN TO-SPEC", "to-none"),
    "worn_in": ("BACK_POCKET", "a hat"),
    "marks_ok": ("no", "yes", "perhaps"),
    "mixed_metals_ok": ("no", "1"),
}


@pytest.fixture(scope="module")
def shop(oddlestone: Catalog) -> Shop:
    folder = Path(rules.__file__).parent / "book"
    return open_shop(oddlestone, {path.name: path.read_text(encoding="utf-8") for path in folder.glob("*.yaml")})


def cells_of(shop: Shop, seed: str, count: int) -> list[dict[str, str]]:
    """Random specs as cells; every third has one cell that is odd, every tenth two more; some rows are empty."""
    draw = random.Random(seed)
    found = []
    for place, spec in enumerate(sample_specs(shop.catalog, draw, TODAY, count)):
        cells = row_of(body_of_spec(shop, spec))
        if cells is None:
            continue
        for _ in range((place % 3 == 0) + 2 * (place % 10 == 0)):
            name = draw.choice(list(ODD))
            cells[name] = draw.choice(ODD[name])
        found.append(cells if place % 40 else {})
    found.append({"pattern": "twofold"})
    return found


def a_file(folder: Path, kind: str, rows: Sequence[dict[str, str]], draw: random.Random) -> Path:
    """A sheet with the columns in any order, one that is not known and one of ours of an earlier time."""
    names = [*COLUMNS, "Remarks", "qf_total"]
    draw.shuffle(names)
    path = folder / f"list.{kind}"
    cells = [
        [row.get(name, "as before" if name.startswith(("R", "qf")) and row else "") for name in names] for row in rows
    ]
    path.write_bytes(csv_of(names, cells) if kind == "csv" else xlsx_of(names, [_typed(row, draw) for row in cells]))
    return path


def _typed(cells: list[str], draw: random.Random) -> list[Any]:
    """Cells as a workbook may have them: numbers, truths and days as such now and then."""
    return [_typed_cell(cell, draw) for cell in cells]


def _typed_cell(cell: str, draw: random.Random) -> Any:
    kinds: list[Callable[[str], Any]] = [float, date.fromisoformat, {"yes": True, "no": False, "1": True}.__getitem__]
    for read in kinds:
        try:
            return read(cell) if draw.randrange(2) else cell
        except (ValueError, KeyError):
            continue
    return cell


def terms_of(shop: Shop) -> Terms:
    def known(spec: Spec) -> Spec:
        """Two orders are on file."""
        if spec.repeat_of not in ("O1", "O2"):
            return spec
        # What an order was cut from does not hang on the order in which a sheet names the parts.
        alike = replace(spec, parts=dict(sorted(spec.parts.items())))
        return replace(spec, repeats=as_repeat(alike, shop.catalog, random.Random(spec.repeat_of)).repeats)

    return Terms(shop, TODAY, lambda *_: shop, known)


def together(shop: Shop, path: Path, caller: Caller, size: int) -> tuple[list[Chunk], Tally]:
    source, tally = SheetSource(path, caller), Tally(shop)
    return list(Many(source, Judging(terms_of(shop)), teller_of(shop, caller), tally).chunks(size)), tally


def one_by_one(shop: Shop, path: Path, caller: Caller) -> tuple[list[tuple[str, ...]], Tally]:
    source, tally, judging, teller = (
        SheetSource(path, caller),
        Tally(shop),
        Judging(terms_of(shop)),
        teller_of(shop, caller),
    )
    found = []
    for asked in source.asked():
        answered = judging.alone(asked)
        tally.add(answered)
        found.append(teller.cells(answered))
    return found, tally


def teller_of(shop: Shop, caller: Caller) -> Teller:
    return Teller("independent", caller, shop.catalog, shop.warehouse.gap_um, TODAY)


def said(tally: Tally, caller: Caller) -> dict[str, Any]:
    return tally.as_json(caller, None, "count")


def compared(shop: Shop, path: Path, caller: Caller, size: int) -> list[tuple[str, ...]]:
    chunks, tally = together(shop, path, caller, size)
    alone, counted = one_by_one(shop, path, caller)
    ours = [cells for chunk in chunks for cells in chunk.ours]
    assert [(row, *each) for row, each in enumerate(zip(alone, ours, strict=True)) if each[0] != each[1]] == []
    assert said(tally, caller) == said(counted, caller)
    assert [cells for chunk in chunks for cells in chunk.rows] == [
        cells for _, cells in SheetSource(path, caller).rows()
    ]
    return ours


@pytest.mark.parametrize("caller", [Caller.SERVER, Caller.OWNER])
@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_rows_are_told_what_they_are_told_alone(shop: Shop, tmp_path: Path, kind: str, caller: Caller) -> None:
    path = a_file(tmp_path, kind, cells_of(shop, f"{kind} {caller}", FEW), random.Random(kind))
    ours = compared(shop, path, caller, 500)
    outcomes = {cells[0] for cells in ours}
    assert outcomes == {"buildable", "sign_off", "refused", ""}
    assert sum(cells[7] != "" for cells in ours) > FEW / 20, "faults are among them"


@pytest.mark.long
def test_very_many_rows_are_told_what_they_are_told_alone(shop: Shop, tmp_path: Path) -> None:
    path = a_file(tmp_path, "csv", cells_of(shop, "very many", MANY), random.Random("very many"))
    compared(shop, path, Caller.OWNER, 6_000)


@pytest.mark.parametrize("size", [1, 7, 99, 10**6])
def test_the_size_of_the_chunks_makes_no_difference(shop: Shop, tmp_path: Path, size: int) -> None:
    path = a_file(tmp_path, "csv", cells_of(shop, "sizes", 200), random.Random("sizes"))
    compared(shop, path, Caller.OWNER, size)


def test_long_rows_make_short_chunks(shop: Shop, tmp_path: Path) -> None:
    rows = [{"pattern": "twofold", "note": "y" * 2_000, "Remarks": "z" * 30_000} for _ in range(1_200)]
    path = a_file(tmp_path, "csv", rows, random.Random("long"))
    chunks, tally = together(shop, path, Caller.OWNER, 10**6)
    assert len(chunks) > 1
    assert tally.rows == len(rows)


def test_a_row_on_which_nothing_stands_is_told_nothing(shop: Shop, tmp_path: Path) -> None:
    path = a_file(tmp_path, "csv", [{"pattern": "twofold"}, {}, {"pattern": "belt"}], random.Random("empty"))
    chunks, tally = together(shop, path, Caller.OWNER, 10)
    assert [set(cells) for cells in chunks[0].ours][1] == {""}
    assert (tally.rows, tally.empty, tally.unreadable) == (3, 1, 0)


def test_columns_that_say_the_same_in_another_place_ask_the_same(shop: Shop, tmp_path: Path) -> None:
    rows = cells_of(shop, "order", 150)
    answers = []
    for seed in ("one order", "another"):
        folder = tmp_path / seed
        folder.mkdir()
        chunks, _ = together(shop, a_file(folder, "csv", rows, random.Random(seed)), Caller.OWNER, 64)
        answers.append([cells[:7] if not cells[7] else ("", "fault") for chunk in chunks for cells in chunk.ours])
    assert answers[0] == answers[1]


ODD_TEXTS = (
    "",
    "=1+1",
    "-5",
    "+3,5",
    "-5+1",
    "@x",
    "\tx",
    "\r\n",
    "'=x",
    "a=b",
    "a\r\n=b",
    'say "so"',
    "a;b,c",
    "\ud800",
)


@pytest.mark.parametrize("form", [Form(), Form(delimiter=";", decimal_comma=True), Form(encoding="utf-16-le")])
def test_texts_written_in_one_go_are_those_written_row_by_row(form: Form) -> None:
    draw = random.Random("texts")
    rows = [[draw.choice(ODD_TEXTS) for _ in range(1 + place % 4)] for place in range(300)]
    written = []
    for at_once in (True, False):
        out = io.BytesIO()
        with writer(form, out, "abcd") as sheet:
            if at_once:
                sheet.texts(rows)
            else:
                for cells in rows:
                    sheet.row(cells)
        written.append((out.getvalue(), sheet.notes))
    assert written[0] == written[1]
    assert written[0][1] != [], "some were guarded"
    with writer(form, io.BytesIO(), "abcd") as sheet, pytest.raises(ValueError, match="5 cells for 4 columns"):
        sheet.texts([["x"] * 5])


@pytest.mark.parametrize("delimiter", [",", ";"])
def test_totals_are_written_with_the_mark_of_the_file(shop: Shop, tmp_path: Path, delimiter: str) -> None:
    path = tmp_path / "list.csv"
    # A figure with a point would say that the file is written with points, whatever stands between its cells.
    written = (row for row in cells_of(shop, "written", 120) if row)
    rows = [row for row in written if not any(re.fullmatch(r"[0-9]+\.[0-9]+", cell) for cell in row.values())]
    path.write_bytes(
        csv_of(list(COLUMNS), [[row.get(name, "") for name in COLUMNS] for row in rows], delimiter=delimiter)
    )
    chunks, _ = together(shop, path, Caller.OWNER, 50)
    source, out = SheetSource(path, Caller.OWNER), io.BytesIO()
    ours = teller_of(shop, Caller.OWNER).columns
    write_sheet(source, ours, (each for chunk in chunks for each in zip(chunk.rows, chunk.ours, strict=True)), out)
    read = list(csv.DictReader(io.StringIO(out.getvalue().decode(), newline=""), delimiter=delimiter))
    mark = "," if delimiter == ";" else "."
    told = [cells for chunk in chunks for cells in chunk.ours]
    assert [row["qf_total"] for row in read] == [cells[3].replace(".", mark) for cells in told]
    assert [row["qf_headline"] for row in read] == [cells[1] for cells in told]
    assert any(mark in row["qf_total"] for row in read)


def test_a_day_is_told_as_it_is_promised(shop: Shop, tmp_path: Path) -> None:
    path = a_file(tmp_path, "csv", cells_of(shop, "days", 60), random.Random("days"))
    chunks, _ = together(shop, path, Caller.OWNER, 100)
    days = [date.fromisoformat(cells[5]) for chunk in chunks for cells in chunk.ours if cells[5]]
    assert days
    assert min(days) > TODAY + timedelta(days=6)
