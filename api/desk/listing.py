"""Lists of records that grow: those of the asker, page by page in the order in which they were made."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Table, select

from api.figures import money
from api.house import House
from api.keys import Key
from api.visibility import Caller


def owner_of(key: Key) -> str | None:
    """Return whose records a key may read; None: everybody's."""
    return None if key.caller >= Caller.STAFF else key.client


def number_of(record: str) -> int:
    """Return the number in a record's id."""
    return int(record[1:])


def listed(house: House, table: Table, names: Sequence[str], key: Key, query: Any) -> dict[str, Any]:
    """Return a page of records with the fields named, and the id after which the next begins."""
    asked = select(table).order_by(table.c.number).limit(query.limit + 1)
    client = owner_of(key)
    if client is not None:
        asked = asked.where(table.c.client == client)
    if query.reference is not None:
        asked = asked.where(table.c.reference == query.reference)
    if query.after is not None:
        asked = asked.where(table.c.number > number_of(query.after))
    with house.store.read() as connection:
        rows = connection.execute(asked).mappings().all()
    digits = house.catalog.workshop.minor_digits
    return page([_summary(row, names, digits) for row in rows], query.limit)


def _summary(row: Any, names: Sequence[str], digits: int) -> dict[str, Any]:
    shown = {name: row[name] for name in names}
    minor = shown.pop("total_minor", None)
    return shown if minor is None else {**shown, "total": money(minor, digits)}


def page(rows: list[dict[str, Any]], limit: int) -> dict[str, Any]:
    """Return rows, of which one more than asked for was read, as a list with its continuation."""
    return {"items": rows[:limit], "next": rows[limit - 1]["id"] if len(rows) > limit else None}
