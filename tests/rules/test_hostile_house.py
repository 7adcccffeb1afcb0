"""Hostile files of a house: each refused, with file, line and column; what they cost is measured by the benchmark."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from support.hostile_house import ALL, CSV, LOOKUP, ROWS, RULE, RULES, TABLE, Hostile

from api.house import texts_in
from catalog.model import Catalog
from catalog.strict_yaml import Faults
from rules.book import load_book
from rules.house import HouseTexts
from rules.house_bounds import MOST_FAULTS
from rules.nouns import codes_of

_PLACED = re.compile(r"house-[a-z0-9-]+\.(?:yaml|csv):[1-9][0-9]*:[1-9][0-9]*: \S.*")


def test_there_are_many_hostile_files_and_each_has_a_name_of_its_own() -> None:
    assert len({each.name for each in ALL}) == len(ALL) >= 30


@pytest.mark.parametrize("hostile", ALL, ids=lambda each: each.name)
def test_a_hostile_file_is_refused_with_its_place(hostile: Hostile, tmp_path: Path, oddlestone: Catalog) -> None:
    for name, content in hostile.files.items():
        (tmp_path / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    with pytest.raises(Faults) as caught:
        load_book({}, oddlestone.thresholds, HouseTexts(texts_in(tmp_path), codes_of(oddlestone)))
    told = str(caught.value).splitlines()
    assert any(hostile.says in line for line in told), told[:5]
    assert [line for line in told if not _PLACED.fullmatch(line)] == []
    assert len(told) <= MOST_FAULTS
    assert all(len(line) < 500 for line in told)


@pytest.mark.parametrize(
    "files",
    [
        {RULES: RULE},
        {RULES: TABLE, ROWS: CSV.replace("goat,paint", "goat,raw\n-,paint")},
        {
            RULES: "tables:\n  most: {says: most, unit: mm, inputs: [piece.finish], rows: [{gives: 3 mm}]}\n"
            + LOOKUP.replace("piece.finish: raw", "piece.thickest: 4 mm, piece.finish: raw").replace(
                "{piece.finish: paint}", "{piece.thickest: 3 mm}"
            )
        },
    ],
)
def test_what_the_hostile_files_are_made_from_loads(files: dict[str, str], oddlestone: Catalog) -> None:
    if RULES in files and "allow_only" in files[RULES]:
        files = files | {RULES: _as_table(files[RULES])}
    house = HouseTexts(files, codes_of(oddlestone))
    assert list(load_book({}, oddlestone.thresholds, house).rules) == ["H-ONE"]


def _as_table(rules: str) -> str:
    """The rule with examples that suit its table."""
    head = rules.partition("    examples:\n")[0]
    return head + (
        "    examples:\n"
        "      - fails: {piece.pattern: twofold, piece.outside_kind: bridle, piece.finish: raw}\n"
        "      - passes: {piece.outside_kind: goat}\n"
    )
