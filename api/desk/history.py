"""Entries: the append-only lines of a record's history."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic_core import from_json
from sqlalchemy import Connection, func, insert, select

from api.store.engine import Write
from api.store.stock import dumped
from api.store.tables import ENTRIES


def add_entry(
    write: Write, noun: str, record: str, *, at: str, by: str, kind: str, body: Mapping[str, Any], first: bool = False
) -> dict[str, Any]:
    """Add a line to a record's history and return it as a record shows it.

    Args:
        write: the transaction.
        noun: lot, supply, quote or order.
        record: the record's code or id.
        at: now, as the store writes moments.
        by: the id of the key, or what acted by itself.
        kind: what happened.
        body: the fields of the kind.
        first: whether the record is new, so that nobody need look.
    """
    last = None if first else _last(write.connection, noun, record)
    number = (last or 0) + 1
    row = {
        "id": f"{record}.{number}",
        "noun": noun,
        "record": record,
        "number": number,
        "at": at,
        "by": by,
        "kind": kind,
        "body": dumped(body),
    }
    write.connection.execute(insert(ENTRIES), row)
    return {"id": row["id"], "at": at, "by": by, "kind": kind, **body}


def _last(connection: Connection, noun: str, record: str) -> int | None:
    found: int | None = connection.execute(
        select(func.max(ENTRIES.c.number)).where(ENTRIES.c.noun == noun, ENTRIES.c.record == record)
    ).scalar()
    return found


def entries_of(connection: Connection, noun: str, record: str) -> list[dict[str, Any]]:
    """Return a record's history, oldest first."""
    rows = connection.execute(
        select(ENTRIES).where(ENTRIES.c.noun == noun, ENTRIES.c.record == record).order_by(ENTRIES.c.number)
    )
    return [{"id": row.id, "at": row.at, "by": row.by, "kind": row.kind, **from_json(row.body)} for row in rows]
