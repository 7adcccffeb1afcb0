"""The store: changes come one after another, on either database, and nothing is left half done."""

from __future__ import annotations

import threading
from datetime import date
from typing import Any

import pytest
from sqlalchemy import insert, text
from sqlalchemy.exc import IntegrityError

from api.house import House, open_house
from api.settings import Settings
from api.store.engine import Revisions, Store
from api.store.migrate import bring_up
from api.store.tables import LOTS

TODAY = date(2026, 3, 2)


@pytest.fixture
def store(store_url: str) -> Any:
    store = Store(store_url)
    bring_up(store.engine)
    yield store
    store.close()


def test_only_what_is_written_moves_a_revision(store: Store) -> None:
    with store.write():
        pass
    assert store.revisions() == Revisions(0, 0, 0)
    with store.write() as write:
        write.stock += 1
    assert store.revisions() == Revisions(1, 0, 0)


def test_another_process_sees_a_change_at_its_next_look(store: Store, store_url: str) -> None:
    other = Store(store_url)
    assert other.revisions() == Revisions(0, 0, 0)
    with store.write() as write:
        write.keys += 1
    assert other.revisions() == Revisions(0, 0, 1)
    other.close()


def test_what_fails_leaves_nothing(store: Store) -> None:
    def fail() -> None:
        with store.write() as write:
            write.stock += 1
            write.connection.execute(text("UPDATE standing SET number = 99"))
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail()
    with store.write() as write:
        assert (write.stock, write.number) == (0, 0)


def test_writers_come_one_after_another(store: Store, store_url: str) -> None:
    stores = [store, Store(store_url)]

    def count(own: Store) -> None:
        for _ in range(25):
            with own.write() as write:
                write.next_number()

    threads = [threading.Thread(target=count, args=(stores[place % 2],)) for place in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with store.write() as write:
        assert write.number == 200
    stores[1].close()


def test_a_row_that_cannot_be_is_refused(store: Store) -> None:
    row = {
        "code": "L1", "place": 1, "leather": "X", "form": "hide", "left_um2": 1, "reserved_um2": 2,
        "thickness_min_um": 1, "thickness_max_um": 2, "rectangles": "[]", "drift_milli": 0, "stamp_legible": False,
        "grade": "A", "state": "open", "version": 1,
    }  # fmt: skip
    with pytest.raises(IntegrityError), store.write() as write:
        write.connection.execute(insert(LOTS), row)
    with pytest.raises(IntegrityError), store.write() as write:
        write.connection.execute(insert(LOTS), {**row, "reserved_um2": 0, "parent": "L0"})


def test_sqlite_waits_for_the_disk_and_minds_foreign_keys(tmp_path: Any) -> None:
    store = Store(f"sqlite:///{tmp_path / 'own.sqlite3'}")
    with store.engine.connect() as connection:
        found = [
            connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "synchronous", "foreign_keys")
        ]
    assert found == ["wal", 2, 1]
    store.close()


def test_a_connection_that_was_cut_is_made_anew(postgres: str) -> None:
    from support.postgres import a_database

    with a_database(postgres) as url:
        store = Store(url)
        bring_up(store.engine)
        store.revisions()
        with store.engine.connect() as connection:
            connection.exec_driver_sql(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
                " WHERE datname = current_database() AND pid <> pg_backend_pid()"
            )
        assert store.revisions() == Revisions(0, 0, 0)
        store.close()


def test_two_starts_at_once_fill_a_new_store_once(store_url: str) -> None:
    houses: list[House] = []

    def start() -> None:
        houses.append(open_house(Settings(today=TODAY, database_url=store_url)))

    threads = [threading.Thread(target=start) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(houses) == 3
    with houses[0].store.read() as connection:
        counted = connection.execute(text("SELECT count(*) FROM entry WHERE noun = 'lot'")).scalar()
    assert counted == len(houses[0].catalog.lots) == 40
    for house in houses:
        house.close()
