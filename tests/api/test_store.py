"""The store: changes come one after another, on either database, and nothing is left half done."""

from __future__ import annotations

import threading
import time
from datetime import date
from typing import Any

import psycopg
import pytest
from sqlalchemy import insert, text
from sqlalchemy.exc import IntegrityError, OperationalError

from api.house import House, open_house
from api.settings import Settings
from api.store.engine import PATIENCE, BusyError, Revisions, Store
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
    row: dict[str, Any] = {
        "code": "L1", "place": 1, "leather": "X", "form": "hide", "left_um2": 1, "reserved_um2": 2,
        "thickness_min_um": 1, "thickness_max_um": 2, "rectangles": "[]", "drift_milli": 0, "stamp_legible": False,
        "grade": "A", "state": "open", "version": 1,
    }  # fmt: skip
    sound = {**row, "reserved_um2": 1}
    for wrong in (row, *({**sound, **fault} for fault in ({"left_um2": -1, "reserved_um2": -1}, {"state": "gone"}))):
        with pytest.raises(IntegrityError, match="ck_lot"), store.write() as write:
            write.connection.execute(insert(LOTS), wrong)
    with pytest.raises(IntegrityError, match=r"fk_lot_parent|FOREIGN KEY"), store.write() as write:
        write.connection.execute(insert(LOTS), {**sound, "parent": "L0"})
    with store.write() as write:
        write.connection.execute(insert(LOTS), sound)


def test_a_reader_keeps_seeing_what_it_began_with(store: Store, store_url: str) -> None:
    other = Store(store_url)
    number = text("SELECT number FROM standing")
    with store.read() as connection:
        assert connection.execute(number).scalar() == 0
        with other.write() as write:
            write.next_number()
        assert connection.execute(number).scalar() == 0
    with store.read() as connection:
        assert connection.execute(number).scalar() == 1
    other.close()


def test_a_writer_that_waits_too_long_is_told_and_leaves_nothing(store: Store, store_url: str) -> None:
    hasty = Store(store_url, patience=0.05)
    with store.write() as write:
        write.next_number()
        with pytest.raises(BusyError), hasty.write():
            pytest.fail("two wrote at once")
    with hasty.write() as write:
        assert write.next_number() == 2
    hasty.close()


def test_threads_of_one_process_wait_no_longer_than_others(store_url: str) -> None:
    store = Store(store_url, patience=0.05)
    bring_up(store.engine)
    begun, told = threading.Event(), threading.Event()

    def hold() -> None:
        with store.write():
            begun.set()
            assert told.wait(10)

    holder = threading.Thread(target=hold)
    holder.start()
    assert begun.wait(10)
    start = time.monotonic()
    with pytest.raises(BusyError), store.write():
        pytest.fail("two wrote at once")
    assert time.monotonic() - start < PATIENCE / 2
    told.set()
    holder.join()
    with store.write() as write:
        assert write.next_number() == 1
    store.close()


def test_sqlite_waits_for_the_disk_and_minds_foreign_keys(sqlite_url: str) -> None:
    store = Store(sqlite_url)
    with store.engine.connect() as connection:
        found = [
            connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "synchronous", "foreign_keys", "busy_timeout")
        ]
    assert found == ["wal", 2, 1, 10_000]
    store.close()


def test_postgresql_waits_for_the_disk_and_not_for_ever_for_others(postgres_url: str) -> None:
    store = Store(postgres_url)
    with store.engine.connect() as connection:
        found = [
            connection.exec_driver_sql(f"SHOW {name}").scalar()
            for name in ("synchronous_commit", "lock_timeout", "idle_in_transaction_session_timeout")
        ]
    assert found == ["on", "10s", "1min"]
    store.close()


def test_connections_that_were_cut_are_made_anew(postgres_url: str) -> None:
    store = Store(postgres_url)
    bring_up(store.engine)
    assert store.revisions() == Revisions(0, 0, 0)
    with store.write() as write:
        write.stock += 1
    with psycopg.connect(postgres_url, autocommit=True) as admin:
        cut = admin.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
            " WHERE datname = current_database() AND pid <> pg_backend_pid()"
        ).fetchall()
    assert len(cut) == 2  # the one kept for a glance, the one of the pool
    assert store.revisions() == Revisions(1, 0, 0)
    with store.write() as write:
        write.stock += 1
    assert store.revisions() == Revisions(2, 0, 0)
    store.close()


def test_a_transaction_that_was_cut_leaves_nothing_and_the_next_goes_through(postgres_url: str) -> None:
    store = Store(postgres_url)
    bring_up(store.engine)

    def cut_off() -> None:
        with store.write() as write, psycopg.connect(postgres_url, autocommit=True) as admin:
            write.stock += 1
            write.connection.execute(text("UPDATE standing SET keys = 99"))
            pid = write.connection.exec_driver_sql("SELECT pg_backend_pid()").scalar()
            admin.execute("SELECT pg_terminate_backend(%s, 10000)", [pid])

    with pytest.raises(OperationalError):
        cut_off()
    with store.write() as write:
        assert write.revisions == Revisions(0, 0, 0)
        write.stock += 1
    assert store.revisions() == Revisions(1, 0, 0)
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
