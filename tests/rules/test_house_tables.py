"""Tables of a house: what a cell means, and the proof that a table has neither gaps nor overlaps."""

from __future__ import annotations

import random
from fractions import Fraction
from itertools import product
from typing import Any

import pytest

from catalog.model import Catalog
from catalog.strict_yaml import Fault, Faults
from rules.csv_rows import as_test, read_csv
from rules.house import HouseTexts, read_house
from rules.house_bounds import FILE
from rules.ir import AllOf, Clause, Interval, Limit, Lookup, Name, Rule, Step
from rules.nouns import codes_of
from rules.present import limits_now
from rules.vocabulary import TERMS
from rules.words import row_in_words

RULES = "rules: []\n"


def read(catalog: Catalog, table: str, **rows: str) -> Lookup:
    texts = {FILE: f"tables:\n  one: {table}\n{RULES}"} | {f"house-{name}.csv": text for name, text in rows.items()}
    found: list[Fault] = []
    house = read_house(HouseTexts(texts, codes_of(catalog)), catalog.thresholds, found)
    if house is None or found:
        raise Faults(tuple(found))
    return house.tables["one"]


def faults(catalog: Catalog, table: str) -> list[str]:
    with pytest.raises(Faults) as caught:
        read(catalog, table)
    return str(caught.value).splitlines()


def a_table(inputs: str, rows: str, more: str = "") -> str:
    return f"{{says: one, unit: mm, inputs: [{inputs}], rows: [{rows}]{more}}}"


def test_a_table_gives_the_exact_figure_of_the_row_that_holds(oddlestone: Catalog) -> None:
    table = read(
        oddlestone,
        a_table(
            "fold.stiff, fold.stack",
            "{fold.stiff: true, fold.stack: {max: 1.2 mm}, gives: 0.3333 mm},"
            "{fold.stiff: true, fold.stack: {above: 1.2 mm}, gives: 0.5 mm}, {fold.stiff: false, gives: 0 mm}",
        ),
    )
    assert table.figure((True, 1_200)) == Fraction(3333, 10)
    assert table.figure((True, Fraction(12_001, 10))) == 500
    assert table.figure((False, 9_000)) == 0
    assert table.figure((None, 9_000)) is None


def test_the_uppermost_row_counts_under_first_and_what_holds_otherwise_is_said(oddlestone: Catalog) -> None:
    rows = "{piece.quantity: {min: 2}, piece.finish: paint, gives: 1 mm}, {piece.quantity: {max: 4}, gives: 2 mm}"
    inputs = "piece.quantity, piece.finish"
    table = read(oddlestone, a_table(inputs, rows, ", policy: first, otherwise: 3 mm"))
    found = [table.figure((count, "paint")) for count in (1, 2, 5)]
    assert found == [2_000, 1_000, 1_000]
    assert [table.figure((count, "raw")) for count in (4, 5)] == [2_000, 3_000]
    assert any("both hold where" in line for line in faults(oddlestone, a_table(inputs, rows, ", otherwise: 3 mm")))


def test_a_file_as_spreadsheets_write_it_is_read(oddlestone: Catalog) -> None:
    table = "{says: one, unit: mm, inputs: [fold.stiff], rows: {rows_from: house-one.csv}}"
    plain = read(oddlestone, table, one="fold.stiff,gives\ntrue,1 mm\nfalse,2 mm\n")
    assert read(oddlestone, table, one="\ufefffold.stiff,gives\r\nTRUE,1 mm\r\nFALSE,2 mm\r\n") == plain
    with pytest.raises(Faults, match=r"'True' does not suit fold\.stiff"):
        read(oddlestone, table, one="fold.stiff,gives\nTrue,1 mm\nfalse,2 mm\n")


@pytest.mark.parametrize("rows", ["{gives: 3 mm}", "{piece.quantity: {max: 4}, gives: 3}"])
def test_a_table_of_counts_gives_counts(oddlestone: Catalog, rows: str) -> None:
    table = "{says: one, unit: count, inputs: [piece.quantity], rows: [ROWS], otherwise: OTHERWISE}"
    assert read(oddlestone, table.replace("ROWS", rows.replace(" mm", "")).replace("OTHERWISE", "5")).otherwise == 5
    told = faults(oddlestone, table.replace("ROWS", rows).replace("OTHERWISE", "3 kg"))
    assert any("a plain number is needed here: '3', not one in kg" in line for line in told)
    assert any("not one in mm" in line for line in told) is ("mm" in rows)


def test_rows_are_told_as_people_read_them_and_so_is_what_holds_otherwise(oddlestone: Catalog) -> None:
    table = read(
        oddlestone,
        a_table(
            "fold.kind, fold.stack",
            "{fold.kind: [goat, pig], fold.stack: {above: 1 mm, below: 2 mm}, gives: 0.5 mm},"
            "{fold.kind: bridle, fold.stack: 3 mm, gives: 2 mm}, {fold.kind: bridle, fold.stack: {above: 3 mm},"
            " gives: 4 mm}, {gives: 1 mm}",
            ", policy: first, otherwise: 9 mm",
        ),
    )
    kind, stack = TERMS["fold.kind"].label, TERMS["fold.stack"].label
    assert [row_in_words(table, row) for row in table.rows] == [
        f"where {kind} is goat or pig and {stack} is more than 1 mm and less than 2 mm",
        f"where {kind} is bridle and {stack} is 3 mm",
        f"where {kind} is bridle and {stack} is more than 3 mm",
        "always",
    ]
    verb = Limit(Name("fold.radius"), "min", (Step(table, "advise"),))
    rule = Rule("H-A", "house", "fold", "", "", "", "", "", "check", (Clause(AllOf(()), verb),), (), (), ())
    (limit,) = limits_now(rule, {})
    assert limit["unit"] == "mm"
    figures = [(each["of"], each["says"], each["figure"]) for each in limit["figures"]]
    assert figures[3:] == [("table", "always", 1), ("table", "otherwise", 9)]


def test_rows_in_a_file_are_the_same_as_rows_written_out(oddlestone: Catalog) -> None:
    table = "{says: one, unit: mm, inputs: [fold.kind, fold.stack], rows: {rows_from: house-one.csv}, otherwise: 1 mm}"
    text = 'fold.kind,fold.stack,gives\r\ngoat|pig,[1 mm .. 2 mm),"0.5 mm"\r\nbridle,-,2 mm\r\n"goat",> 3 mm,3 mm\r\n'
    written = a_table(
        "fold.kind, fold.stack",
        "{fold.kind: [goat, pig], fold.stack: {min: 1 mm, below: 2 mm}, gives: 0.5 mm},"
        "{fold.kind: bridle, gives: 2 mm}, {fold.kind: goat, fold.stack: {above: 3 mm}, gives: 3 mm}",
        ", otherwise: 1 mm",
    )
    assert read(oddlestone, table, one=text) == read(oddlestone, written)


GAPS = {
    "a point between": (
        "fold.stack",
        "{fold.stack: {below: 1 mm}, gives: 1 mm}, {fold.stack: {above: 1 mm}, gives: 1 mm}",
        "is 1 mm",
    ),
    "a stretch": (
        "fold.stack",
        "{fold.stack: {max: 1 mm}, gives: 1 mm}, {fold.stack: {min: 2 mm}, gives: 1 mm}",
        "is 1.5 mm",
    ),
    "above all": ("fold.stack", "{fold.stack: {max: 1 mm}, gives: 1 mm}", "thickness folded is"),
    "zero": ("fold.stack", "{fold.stack: {above: 0 mm}, gives: 1 mm}", "is 0 mm"),
    "a code": ("fold.kind", "{fold.kind: {not: x}, gives: 1 mm}", "the catalog has no kind 'x'"),
    "all other codes": (
        "fold.kind",
        "{fold.kind: goat, gives: 1 mm}",
        "kind of the leather outside of the fold is shell_smooth",
    ),
    "the other truth": ("fold.stiff", "{fold.stiff: true, gives: 1 mm}", "is false"),
    "one of two": (
        "fold.stiff, fold.stack",
        "{fold.stiff: true, gives: 1 mm}, {fold.stack: {max: 1 mm}, fold.stiff: false, gives: 1 mm}",
        "is false and thickness folded is",
    ),
    "any other word": ("piece.destination", "{piece.destination: [DE, US], gives: 1 mm}", "destination is any other"),
}


@pytest.mark.parametrize("name", GAPS)
def test_a_gap_is_shown_by_a_witness(name: str, oddlestone: Catalog) -> None:
    inputs, rows, said = GAPS[name]
    assert any(said in line for line in faults(oddlestone, a_table(inputs, rows))), name


def test_counts_have_nothing_between_one_and_the_next_and_lengths_have(oddlestone: Catalog) -> None:
    counts = "{piece.quantity: {max: 5}, gives: 1 mm}, {piece.quantity: {min: 6}, gives: 2 mm}"
    assert read(oddlestone, a_table("piece.quantity", counts)).figure((6,)) == 2_000
    lengths = "{piece.thickest: {max: 5 mm}, gives: 1 mm}, {piece.thickest: {min: 6 mm}, gives: 2 mm}"
    assert faults(oddlestone, a_table("piece.thickest", lengths))


@pytest.mark.parametrize("first", [False, True])
def test_random_tables_are_refused_where_a_search_of_every_figure_finds_a_fault(
    oddlestone: Catalog, *, first: bool
) -> None:
    """The proof against trying out every quarter of a millimeter, up to past the last bound, and each truth."""
    draw = random.Random(f"tables {first}")
    sound = 0
    for _ in range(250):
        rows = [_row(draw) for _ in range(draw.randrange(1, 5))]
        covered = draw.randrange(2) == 0
        text = ", ".join(_written(row) for row in rows)
        table = a_table(
            "fold.stiff, fold.stack",
            text,
            (", policy: first" if first else "") + (", otherwise: 9 mm" if covered else ""),
        )
        holding = [
            [place for place, row in enumerate(rows) if _holds(row, stiff, quarter)]
            for stiff, quarter in product((True, False), range(17))
        ]
        gap = not covered and any(not found for found in holding)
        overlap = not first and any(len(found) > 1 for found in holding)
        masked = first and {found[0] for found in holding if found} != set(range(len(rows)))
        if gap or overlap or masked:
            told = "\n".join(faults(oddlestone, table))
            assert ("no row holds" in told, "both hold" in told, "never reached" in told) == (gap, overlap, masked), (
                table
            )
        else:
            sound += 1
            read(oddlestone, table)
    assert 20 < sound < 230


Row = tuple[bool | None, tuple[int, bool] | None, tuple[int, bool] | None]


def _row(draw: random.Random) -> Row:
    """A row: a truth or any, and ends in half millimeters, each with whether it belongs to the range."""
    low, high = draw.randrange(0, 5), draw.randrange(2, 8)
    if low >= high:
        low, high = high - 1, low + 1
    return (
        draw.choice((True, False, None)),
        None if draw.randrange(3) == 0 else (low, draw.randrange(2) == 0),
        None if draw.randrange(3) == 0 else (high, draw.randrange(2) == 0),
    )


def _written(row: Row) -> str:
    stiff, low, high = row
    ends = [f"{'min' if low[1] else 'above'}: {low[0] / 2} mm"] if low else []
    ends += [f"{'max' if high[1] else 'below'}: {high[0] / 2} mm"] if high else []
    cells = [f"fold.stiff: {str(stiff).lower()}"] if stiff is not None else []
    cells += [f"fold.stack: {{{', '.join(ends)}}}"] if ends else []
    return "{" + ", ".join([*cells, "gives: 1 mm"]) + "}"


def _holds(row: Row, stiff: bool, quarter: int) -> bool:
    asked, low, high = row
    half = Fraction(quarter, 2)
    return (
        asked in (None, stiff)
        and (low is None or half > low[0] or (low[1] and half == low[0]))
        and (high is None or half < high[0] or (high[1] and half == high[0]))
    )


def test_an_interval_holds_its_ends_where_it_says_so() -> None:
    assert [Interval(1, 3, low_in=False).holds(value) for value in (1, 2, 3, 4)] == [False, True, True, False]
    assert Interval(None, None).holds(Fraction(1, 3))


@pytest.mark.parametrize(
    ("kind", "cell", "test"),
    [
        ("word", "goat|pig", ["goat", "pig"]),
        ("truth", "true", [True]),
        ("number", "1.2 mm", ["1.2 mm"]),
        ("number", "1|2", ["1", "2"]),
        ("number", ">= 1 mm", {"min": "1 mm"}),
        ("number", "<1 mm", {"below": "1 mm"}),
        ("number", "(1 mm..2 mm]", {"above": "1 mm", "max": "2 mm"}),
        ("words", "HW-SNAP20-BR", {"includes": "HW-SNAP20-BR"}),
    ],
)
def test_a_cell_is_a_test_of_its_name(kind: str, cell: str, test: Any) -> None:
    assert as_test(kind, cell) == test


def test_a_table_in_a_file_keeps_the_place_of_every_cell() -> None:
    document = read_csv('one,"two"\n"a, ""b""",-\n-,c\n', "house-x.csv")
    assert document.faults == ()
    assert document.value == {"header": ["one", "two"], "rows": [{"one": 'a, "b"'}, {"two": "c"}]}
    assert document.position(("header", 1)) == (1, 5)
    assert document.position(("rows", 0, "two")) == (2, 12)
    assert document.position(("rows", 1, "two")) == (3, 3)
