"""Holds that ran out: they lapse once, whoever notices, and what they kept is free again."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any

import pytest
from sqlalchemy import func, insert, select

from api.clock import Clock
from api.desk.audit import differences
from api.desk.expiry import sweep
from api.desk.history import entries_of
from api.house import House, open_house
from api.settings import Settings
from api.store.shelf import stamp
from api.store.stock import needs_text
from api.store.tables import ENTRIES, HOLDS, QUOTES
from catalog.model import Catalog
from rules.needs import Needs, Taken

LOT, THREAD, RING = "L104", "TH-P05-GAR", "HW-RING30-SS"
MINUTES = 30
TODAY = date(2026, 3, 2)


@pytest.fixture
def houses(store_url: str) -> Iterator[Any]:
    """Return a way to open the house over one store as often as a test wants."""
    opened: list[House] = []

    def one_more() -> House:
        house = open_house(Settings(today=TODAY, database_url=store_url))
        opened.append(house)
        return house

    yield one_more
    for house in opened:
        house.close()


@pytest.fixture
def house(houses: Any) -> House:
    found: House = houses()
    return found


def _needs() -> Needs:
    panel = Taken(LOT, "outside", "outside", 90_000, 70_000, turnable=False, count=1)
    return Needs((panel,), {THREAD: 2_000_000}, {}, {}, {RING: 3}, minutes=60)


def _in(house: House, minutes: int) -> str:
    return stamp(house.clock.now() + timedelta(minutes=minutes))


def _hold(house: House, until: str | None, *, state: str = "live", kind: str = "cart") -> str:
    """Set stock aside as rows alone; return the quote."""
    with house.store.write() as write:
        number = write.next_number()
        quote = f"q{number}"
        write.connection.execute(
            insert(QUOTES).values(
                id=quote, number=number, client="shop", key="k", reference=None,
                state={"live": "held"}.get(state, state), created_at=house.now(), currency="EUR", total_minor=1,
                valid_until="2026-03-16", renewed=0, version=1,
            )
        )  # fmt: skip
        write.connection.execute(
            insert(HOLDS).values(
                quote=quote, number=number, kind=kind, state=state, until=until, needs=needs_text([_needs()])
            )
        )
        write.stock += 1
    return quote


def _wait(house: House, minutes: int) -> None:
    house.clock = Clock(house.clock.zone, house.clock.offset + timedelta(minutes=minutes))


def _free(catalog: Catalog) -> tuple[int, Any, Any]:
    """Return what a buyer could have of what the holds of this test keep."""
    lot = catalog.lots[LOT]
    return lot.left_um2 - lot.reserved_um2 - lot.held_um2, catalog.threads[THREAD].left_um, catalog.hardware[RING].stock


def _state(house: House, quote: str) -> tuple[str, str, int]:
    with house.store.read() as connection:
        state, version = connection.execute(select(QUOTES.c.state, QUOTES.c.version).where(QUOTES.c.id == quote)).one()
        return connection.execute(select(HOLDS.c.state).where(HOLDS.c.quote == quote)).scalar_one(), state, version


def _lapses(house: House) -> int:
    with house.store.read() as connection:
        return connection.execute(
            select(func.count()).select_from(ENTRIES).where(ENTRIES.c.kind == "lapse")
        ).scalar_one()


def test_a_hold_keeps_stock_until_its_time_and_then_frees_all_of_it(house: House) -> None:
    free = _free(house.shop.catalog)
    quote = _hold(house, _in(house, MINUTES))
    kept = _free(house.shop.catalog)
    assert all(less < whole for less, whole in zip(kept, free, strict=True))
    _wait(house, MINUTES - 1)
    assert _free(house.shop.catalog) == kept
    assert _state(house, quote) == ("live", "held", 1)
    _wait(house, 2)
    assert _free(house.shop.catalog) == free
    assert _state(house, quote) == ("lapsed", "lapsed", 2)
    with house.store.read() as connection:
        assert list(differences(connection, house.catalog, house.shelves.gap_um)) == []


def test_a_hold_lapses_once_and_its_history_says_when(house: House) -> None:
    quote = _hold(house, _in(house, MINUTES))
    now = _in(house, MINUTES + 1)
    assert [sweep(house.store, house.shelves, now) for _ in range(3)] == [1, 0, 0]
    with house.store.read() as connection:
        (entry,) = entries_of(connection, "quote", quote)
    assert entry == {"id": f"{quote}.1", "at": now, "by": "time", "kind": "lapse"}


def test_a_hold_lapses_at_its_moment_and_not_before(house: House) -> None:
    moment = house.clock.now() + timedelta(minutes=MINUTES)
    _hold(house, stamp(moment))
    assert sweep(house.store, house.shelves, stamp(moment - timedelta(microseconds=1))) == 0
    assert sweep(house.store, house.shelves, stamp(moment)) == 1


def test_a_sweep_with_nothing_due_moves_no_revision(house: House) -> None:
    _hold(house, _in(house, MINUTES))
    before = house.store.revisions()
    assert sweep(house.store, house.shelves, house.now()) == 0
    assert house.store.revisions() == before
    assert sweep(house.store, house.shelves, _in(house, MINUTES)) == 1
    assert house.store.revisions() == before._replace(stock=before.stock + 1)


def test_only_what_is_due_lapses(house: House) -> None:
    free = _free(house.shop.catalog)
    due = [_hold(house, _in(house, MINUTES)), _hold(house, _in(house, MINUTES), state="short")]
    later = _hold(house, _in(house, 2 * MINUTES), kind="quote")
    one_left = _free(house.shop.catalog)
    order = _hold(house, None, kind="order")
    used = _hold(house, _in(house, MINUTES), state="live")
    with house.store.write() as write:
        write.connection.execute(HOLDS.update().where(HOLDS.c.quote == used).values(state="used"))
        write.stock += 1
    assert sweep(house.store, house.shelves, _in(house, MINUTES + 1)) == 2
    assert [_state(house, quote)[0] for quote in (*due, later, order, used)] == [
        "lapsed", "lapsed", "live", "live", "used",
    ]  # fmt: skip
    assert sweep(house.store, house.shelves, "9999") == 1
    assert _state(house, order)[0] == "live"
    assert _free(house.shop.catalog)[1:] == (free[1] - 2_000_000, free[2] - 3)
    assert one_left[1:] == (free[1] - 4_000_000, free[2] - 6)


def test_a_house_opened_again_remembers_what_is_held_and_what_lapsed(house: House, houses: Any) -> None:
    free = _free(house.shop.catalog)
    lapsed, held = _hold(house, _in(house, MINUTES)), _hold(house, _in(house, 4 * MINUTES))
    assert sweep(house.store, house.shelves, _in(house, MINUTES + 1)) == 1
    kept = _free(house.shop.catalog)
    house.close()
    again = houses()
    assert _free(again.shop.catalog) == kept
    assert [_state(again, quote)[0] for quote in (lapsed, held)] == ["lapsed", "live"]
    _wait(again, 5 * MINUTES)
    assert _free(again.shop.catalog) == free
    assert _lapses(again) == 2


def test_what_ran_out_while_nobody_was_there_lapses_at_the_first_look(house: House, houses: Any) -> None:
    free = _free(house.shop.catalog)
    quote = _hold(house, _in(house, -MINUTES))
    house.close()
    again = houses()
    assert _state(again, quote)[0] == "live"
    assert _free(again.shop.catalog) == free
    assert _state(again, quote) == ("lapsed", "lapsed", 2)


def test_another_process_sees_the_stock_that_one_freed(house: House, houses: Any) -> None:
    other = houses()
    free = _free(other.shop.catalog)
    _hold(house, _in(house, MINUTES))
    assert _free(other.shop.catalog) < free
    assert sweep(house.store, house.shelves, _in(house, MINUTES + 1)) == 1
    assert _free(other.shop.catalog) == free


def test_processes_that_sweep_at_once_let_each_hold_lapse_once(house: House, houses: Any) -> None:
    quotes = [_hold(house, _in(house, MINUTES)) for _ in range(5)]
    every, together = [house, houses(), houses()], threading.Barrier(3)
    now, counted = _in(house, MINUTES + 1), []

    def run(own: House) -> None:
        together.wait(10)
        counted.append(sweep(own.store, own.shelves, now))

    threads = [threading.Thread(target=run, args=(each,)) for each in every]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(counted) == [0, 0, 5]
    assert _lapses(house) == 5
    assert {_state(house, quote) for quote in quotes} == {("lapsed", "lapsed", 2)}
