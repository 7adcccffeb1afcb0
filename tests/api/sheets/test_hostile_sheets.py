"""Sheets made to do harm: each is one clear refusal, or is read as what it holds."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest
from support.hostile_sheets import ALL, Hostile

from api.sheets.model import SheetError
from api.sheets.reading import open_sheet


@pytest.mark.parametrize("hostile", [each for each in ALL if not each.slow], ids=lambda each: each.name)
def test_a_hostile_sheet_is_refused_clearly_or_read_as_what_it_holds(hostile: Hostile, tmp_path: Path) -> None:
    _come_to_what_it_must(hostile, tmp_path)


@pytest.mark.long
@pytest.mark.parametrize("hostile", [each for each in ALL if each.slow], ids=lambda each: each.name)
def test_a_hostile_sheet_that_takes_long_to_make_comes_to_the_same(hostile: Hostile, tmp_path: Path) -> None:
    _come_to_what_it_must(hostile, tmp_path)


def _come_to_what_it_must(hostile: Hostile, folder: Path) -> None:
    path = folder / "sheet"
    hostile.make(path)
    if hostile.says is None:
        assert hostile.rows is not None
        assert list(itertools.islice(open_sheet(path).rows(), max(1, len(hostile.rows)))) == hostile.rows
        return
    with pytest.raises(SheetError) as caught:
        for _ in open_sheet(path).rows():
            pass
    assert hostile.says in caught.value.reason
    assert caught.value.reason.endswith(".")
    assert len(caught.value.reason) < 300
    if hostile.row:
        assert caught.value.row == hostile.row
    assert str(path) not in caught.value.reason


def test_there_are_hostile_sheets_of_both_kinds_and_no_two_of_one_name() -> None:
    assert len({each.name for each in ALL}) == len(ALL) > 60
