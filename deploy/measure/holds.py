"""Holds: how many a second beside a hand-written transaction that writes the same rows, on either store."""

from __future__ import annotations

import json
import os
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from uuid import uuid4

import psycopg
from sqlmodel import Session, text

from api.desk.quotes import Basket, is_current, make_quote, settled
from api.desk.rows import supply_row
from api.desk.stock import post_supply_entry, receive_lot
from api.house import House, open_house
from api.once import Answer, Asked, keep
from api.settings import Settings
from api.store.tables import AnsweredRow, EntryRow, HoldRow, ItemRow, QuoteRow
from api.visibility import Caller
from measure.load import RoundError
from measure.report import Figure, spread
from measure.workshop import TODAY

RING, THREAD, EDGE = "HW-RING30-SS", "TH-P05-TAN", "ED-BURN"
LIVE = 200
_LOTS = 10
_SERVER = "QUARTERFOOT_TEST_POSTGRES"
_KNOWN = ("postgresql://127.0.0.1:5432/postgres", "postgresql://postgres@127.0.0.1:5432/postgres")


def furnish(house: House, holds: int = LIVE) -> list[dict[str, Any]]:
    """Give a house lots of several leathers with so many live holds in them; return a spec for each lot."""
    specs: list[dict[str, Any]] = []
    with house.store.write() as write:
        for code, amount in ((RING, 10_000), (THREAD, 10_000), (EDGE, 10_000)):
            entry = {"kind": "receive", "amount": amount}
            post_supply_entry(write, supply_row(write.connection, code), entry, at=house.now(), by="bench")
        for leather in list(house.catalog.leathers)[: 2 * _LOTS]:
            lot = {
                "leather": leather, "form": "side", "area_dm2": 900, "thickness_mm": {"min": 2.0, "max": 2.2},
                "rectangles_mm": [[2000, 2000]],
            }  # fmt: skip
            code = receive_lot(write, house.catalog, lot, at=house.now(), by="bench")
            specs.append(_fob(leather, code))
    passing = [spec for spec in specs if _passes(house, spec)][:_LOTS]
    if len(passing) < _LOTS:
        raise RoundError("too few leathers make a fob")
    for place in range(holds):
        hold(house, passing[place % _LOTS], f"live {place}")
    return passing


def _fob(leather: str, lot: str) -> dict[str, Any]:
    return {
        "pattern": "fob",
        "parts": {"outside": {"leather": leather}},
        "thread": THREAD,
        "edge": EDGE,
        "hardware": {"ring": RING},
        "lots": {"outside": [lot]},
    }


def _basket(spec: dict[str, Any]) -> Basket:
    return Basket((spec,), "quote", "bench", "bench", "bench")


def _passes(house: House, spec: dict[str, Any]) -> bool:
    from api.errors import ProblemError

    try:
        found = settled(house, _basket(spec).specs, None, None)
    except ProblemError:
        return False
    return bool(found.answers[0]["outcome"] == "buildable")


def hold(house: House, spec: dict[str, Any], key: str) -> None:
    """Make one quote as the service does: judged, laid out with all that is held, written with its answer."""
    basket = _basket(spec)
    found = settled(house, basket.specs, None, None)
    with house.store.write() as write:
        if not is_current(write, found.shelf):
            raise RoundError("another process changes the stock")
        quote, held = make_quote(house, write, basket, found)
        asked = Asked("bench", "makeQuote", key, "0" * 64, "bench", house.now(), Caller.OWNER)
        keep(write, asked, Answer(201, {"etag": '"v1"'}, json.dumps(found.answers[0]), quote))
    house.shelves.adopt(house.shelves.beside(found.shelf, held))


def by_hand(house: House, rows: dict[str, dict[str, Any]]) -> None:
    """Write the rows of one quote in a transaction as one would by hand, with the same lock."""
    with house.store.engine.connect().execution_options(writes=True) as connection, Session(connection) as session:
        lock = "" if house.store.is_sqlite else " FOR UPDATE"
        last = session.connection().execute(text(f"SELECT number FROM standing WHERE id = 1{lock}"))  # noqa: S608 -- a constant
        number = last.scalar_one() + 1
        quote = f"H{number}"
        session.add(QuoteRow(**{**rows["quote"], "id": quote, "number": number}))
        session.flush()
        session.add(HoldRow(**{**rows["hold"], "quote": quote, "number": number}))
        session.add(ItemRow(**{**rows["item"], "record": quote}))
        session.add(EntryRow(**{**rows["entry"], "id": f"{quote}.1", "record": quote}))
        session.add(AnsweredRow(**{**rows["answered"], "key": quote, "record": quote}))
        session.connection().execute(text("UPDATE standing SET stock = stock + 1, number = :n"), {"n": number})
        session.commit()


def holds(*, quick: bool) -> list[Figure]:
    """Measure holds a second against the hand-written transaction, in interleaved rounds."""
    figures: list[Figure] = []
    for name, opened in (("SQLite", _sqlite), ("PostgreSQL", _postgres)):
        with opened() as url:
            if url is None:
                figures.append(Figure(f"{name}: holds a second", "not measured: no server found"))
                continue
            figures += _on(name, url, rounds=3 if quick else 7, each=20 if quick else 60)
    return figures


def _on(name: str, url: str, *, rounds: int, each: int) -> list[Figure]:
    house = open_house(Settings(today=TODAY, database_url=url))
    try:
        specs = furnish(house)
        rows = _rows(house)
        ours, hand = [], []
        for turn in range(rounds):
            ours.append(_per_second(lambda n, t=turn: hold(house, specs[n % _LOTS], f"{t}-{n}"), each))  # type: ignore[misc]
            hand.append(_per_second(lambda _: by_hand(house, rows), each))
            house.shelves.current()  # what the hand has written is read outside the time
    finally:
        house.close()
    ratio = [own / other for own, other in zip(ours, hand, strict=True)]
    return [
        Figure(
            f"{name}, {LIVE} live holds: holds a second, ours to by hand",
            spread(ratio),
            ">= 0.5",
            statistics.median(ratio) >= 0.5,
        ),
        Figure(
            f"{name}: holds a second, ours and by hand", f"{statistics.median(ours):.0f} {statistics.median(hand):.0f}"
        ),
    ]


def _per_second(act: Callable[[int], None], count: int) -> float:
    begun = time.perf_counter()
    for number in range(count):
        act(number)
    return count / (time.perf_counter() - begun)


def _rows(house: House) -> dict[str, dict[str, Any]]:
    """Return the rows that our own last quote wrote, to be written again by hand; the hold as one that lapsed."""
    names = {"quote": "quote", "hold": "hold", "item": "item", "entry": "entry", "answered": "answered"}
    queries = {
        "quote": "SELECT * FROM quote ORDER BY number DESC LIMIT 1",
        "hold": "SELECT * FROM hold ORDER BY number DESC LIMIT 1",
        "item": "SELECT * FROM item LIMIT 1",
        "entry": "SELECT * FROM entry WHERE noun = 'quote' LIMIT 1",
        "answered": "SELECT * FROM answered LIMIT 1",
    }
    with house.store.read() as connection:
        rows = {name: dict(connection.execute(text(queries[name])).mappings().one()) for name in names}
    rows["hold"]["state"] = "lapsed"
    return rows


@contextmanager
def _sqlite() -> Iterator[str | None]:
    with tempfile.TemporaryDirectory() as folder:
        yield f"sqlite:///{Path(folder) / 'holds.sqlite3'}"


@contextmanager
def _postgres() -> Iterator[str | None]:
    named = os.environ.get(_SERVER)
    for server in (named,) if named else _KNOWN:
        name = f"qf_bench_{uuid4().hex[:12]}"
        try:
            with psycopg.connect(server, autocommit=True, connect_timeout=2) as admin:
                admin.execute(f"CREATE DATABASE {name}")
        except psycopg.Error:
            continue
        try:
            yield server.rpartition("/")[0] + f"/{name}"
        finally:
            with psycopg.connect(server, autocommit=True) as admin:
                admin.execute(f"DROP DATABASE {name} WITH (FORCE)")
        return
    yield None
