"""Backups of a SQLite store: taken while others write, whole, never in place of another file."""

from __future__ import annotations

import shutil
import sqlite3
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from datetime import date
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import insert, select

from api.__main__ import main
from api.desk.audit import differences
from api.desk.stock import enter
from api.house import House, open_house
from api.settings import Settings
from api.store.backup import BackupError, back_up
from api.store.tables import CHECK_LOG, ENTRIES, STANDING

TODAY = date(2026, 3, 2)
LOT, SUPPLY = "L104", "TH-P05-GAR"


def _settings(url: str) -> Settings:
    return Settings(today=TODAY, database_url=url)


@pytest.fixture
def house(sqlite_url: str) -> Iterator[House]:
    house = open_house(_settings(sqlite_url))
    yield house
    house.close()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "kept elsewhere, 100%"
    folder.mkdir()
    return folder


def _post(house: House) -> int:
    """Add an entry to a lot and one to a supply in one transaction; return its number, which both carry."""
    with house.store.write() as write:
        number = write.next_number()
        at, by = house.now(), str(number)
        enter(write, "lot", LOT, "measure", {"left_um2": 10**9 + number}, at=at, by=by)
        enter(write, "supply", SUPPLY, "receive", {"add_base": number}, at=at, by=by)
        write.stock += 1
    return number


def _entries(house: House) -> list[Any]:
    with house.store.read() as connection:
        return [tuple(row) for row in connection.execute(select(ENTRIES).order_by(ENTRIES.c.id))]


def _pad(house: House) -> None:
    """Make a store so large that a copy of it takes as long as several writes."""
    row = {"at": house.now(), "key": "k", "pattern": "p", "outcome": "refused", "rules": "[]", "currency": "EUR"}
    with house.store.write() as write:
        write.connection.execute(insert(CHECK_LOG), [{**row, "spec": "x" * 60_000} for _ in range(500)])


def test_a_backup_taken_while_others_write_is_what_stood_at_one_moment(
    house: House, sqlite_url: str, folder: Path
) -> None:
    _pad(house)
    written, enough = [], threading.Event()

    def keep_writing() -> None:
        while not enough.is_set():
            written.append(_post(house))

    writer = threading.Thread(target=keep_writing)
    writer.start()
    spans = []
    for number in range(3):
        before = len(written)
        back_up(sqlite_url, folder / f"{number}.sqlite3")
        spans.append((before, len(written)))
    enough.set()
    writer.join()
    assert max(after - before for before, after in spans) > 1, "nobody wrote while a copy was made"
    whole = _entries(house)
    for number, (before, after) in enumerate(spans):
        copy = open_house(_settings(f"sqlite:///{folder / f'{number}.sqlite3'}"))
        try:
            _assert_a_moment(copy, whole, before, after)
        finally:
            copy.close()


def _assert_a_moment(copy: House, whole: list[Any], before: int, after: int) -> None:
    """Hold that a copy is the original as it stood once, no earlier than when the copying began."""
    with copy.store.read() as connection:
        last = connection.execute(select(STANDING.c.number)).scalar_one()
        assert list(differences(connection, copy.catalog, copy.shelves.gap_um)) == []
    assert before <= last <= after + 1  # the writer may not have noted its last one yet
    by = ENTRIES.c.keys().index("by")
    entries = _entries(copy)
    assert Counter(row[by] for row in entries if row[by].isdigit()) == {str(n): 2 for n in range(1, last + 1)}
    assert entries == [row for row in whole if not row[by].isdigit() or int(row[by]) <= last]


def test_a_backup_is_one_file_for_its_owner_alone(house: House, sqlite_url: str, folder: Path) -> None:
    _post(house)
    back_up(sqlite_url, folder / "a.sqlite3")
    assert [file.name for file in folder.iterdir()] == ["a.sqlite3"]
    assert (folder / "a.sqlite3").stat().st_mode & 0o777 == 0o600


def test_a_restored_store_goes_on_where_it_stood(house: House, sqlite_url: str, folder: Path) -> None:
    _post(house)
    back_up(sqlite_url, folder / "a.sqlite3")
    stood = _entries(house)
    _post(house)
    house.close()
    place = Path(sqlite_url.removeprefix("sqlite:///"))
    for file in place.parent.glob(f"{place.name}-*"):
        file.unlink()
    shutil.copy(folder / "a.sqlite3", place)
    again = open_house(_settings(sqlite_url))
    try:
        assert _entries(again) == stood
        assert _post(again) == 2
    finally:
        again.close()


def test_no_file_is_ever_replaced(house: House, sqlite_url: str, folder: Path) -> None:
    target = folder / "a.sqlite3"
    target.write_text("the only copy of something")
    with pytest.raises(BackupError, match="there already"):
        back_up(sqlite_url, target)
    assert target.read_text() == "the only copy of something"
    assert list(folder.iterdir()) == [target]


def test_of_two_backups_with_one_name_one_is_made(house: House, sqlite_url: str, folder: Path) -> None:
    _pad(house)
    told: list[Any] = []

    def run() -> None:
        try:
            back_up(sqlite_url, folder / "a.sqlite3")
        except BackupError as bad:
            told.append(str(bad))

    threads = [threading.Thread(target=run) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(told) == 1
    assert "there already" in told[0]
    assert [file.name for file in folder.iterdir()] == ["a.sqlite3"]


def _dangling(file: Path) -> None:
    with closing(sqlite3.connect(file)) as raw, raw:
        raw.execute("UPDATE lot SET parent = 'L0' WHERE code = ?", [LOT])


def _damaged(file: Path) -> None:
    with closing(sqlite3.connect(file)) as raw:
        raw.execute("PRAGMA journal_mode=DELETE")
        (size,) = raw.execute("PRAGMA page_size").fetchone()
    data = bytearray(file.read_bytes())
    for page in count(1):
        if page * size >= len(data):
            break
        if page % 3 == 0:
            data[page * size : page * size + 64] = b"\xa5" * 64
    file.write_bytes(data)


def _no_store(file: Path) -> None:
    file.unlink()
    with closing(sqlite3.connect(file)) as raw, raw:
        raw.execute("CREATE TABLE cake (flour TEXT)")


def _text(file: Path) -> None:
    file.write_text("no database, but longer than nothing\n" * 100)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [(_dangling, "not there"), (_damaged, "damaged|malformed"), (_no_store, "no store"), (_text, "not a database")],
)
def test_what_is_not_whole_makes_no_backup(sqlite_url: str, folder: Path, spoil: Any, words: str) -> None:
    open_house(_settings(sqlite_url)).close()
    spoil(Path(sqlite_url.removeprefix("sqlite:///")))
    with pytest.raises(BackupError, match=words):
        back_up(sqlite_url, folder / "a.sqlite3")
    assert list(folder.iterdir()) == []


def test_the_command_makes_a_backup_and_says_so(
    house: House, sqlite_url: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["backup", str(folder / "a.sqlite3")], {"QUARTERFOOT_DATABASE_URL": sqlite_url}) == 0
    assert capsys.readouterr() == (f"Backed up, and whole: {folder / 'a.sqlite3'}\n", "")
    assert (folder / "a.sqlite3").is_file()


@pytest.mark.parametrize(
    ("url", "target", "words"),
    [
        ("postgresql://shop:hunter2@db/x", "a.sqlite3", "pg_dump"),
        ("sqlite:///none.sqlite3", "a.sqlite3", "there is no store none.sqlite3"),
        (None, "none/a.sqlite3", "No such file or directory"),
    ],
)
def test_what_stands_in_the_way_of_a_backup_is_one_line_and_exit_2(
    house: House, sqlite_url: str, folder: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str], url: str | None, target: str, words: str,
) -> None:  # fmt: skip
    monkeypatch.chdir(folder)
    assert main(["backup", target], {"QUARTERFOOT_DATABASE_URL": url or sqlite_url}) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert words in err
    assert "hunter2" not in err
    assert list(folder.iterdir()) == []
