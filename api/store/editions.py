"""Editions: the workshop's files as they were put in force, one after another. None is ever changed or deleted."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic_core import from_json
from sqlalchemy import Connection, Row, func, insert, select

from api.store.engine import Write
from api.store.stock import dumped
from api.store.tables import EDITIONS, STANDING

#: Whoever put the first edition in force: the service, as it filled a new store.
OPENING = "opening"


def edition_in_force(connection: Connection) -> int:
    """Return the number of the edition in force; 0 before the first."""
    found: int = connection.execute(select(STANDING.c.edition)).scalar_one()
    return found


def edition_row(connection: Connection, number: int) -> Row[Any] | None:
    """Return an edition with its files, or None."""
    return connection.execute(select(EDITIONS).where(EDITIONS.c.number == number)).one_or_none()


def edition_rows(connection: Connection) -> list[Row[Any]]:
    """Return all editions without their files, the newest first."""
    told = (EDITIONS.c.number, EDITIONS.c.at, EDITIONS.c.by, EDITIONS.c.content_hash, EDITIONS.c.note)
    return list(connection.execute(select(*told).order_by(EDITIONS.c.number.desc())))


def files_of(row: Row[Any]) -> dict[str, str]:
    """Return the files of an edition: text by name."""
    found: dict[str, str] = from_json(row.files)
    return found


def add_edition(
    write: Write, files: Mapping[str, str], content_hash: str, *, at: str, by: str, note: str | None = None
) -> int:
    """Put files in force as a new edition with the end of this transaction; return its number.

    It counts as a change of stock and backlog: what was worked out by an earlier edition is told apart by those.
    """
    last: int = write.connection.execute(select(func.coalesce(func.max(EDITIONS.c.number), 0))).scalar_one()
    number = 1 + max(last, write.edition)
    row = {
        "number": number, "at": at, "by": by, "files": dumped(dict(files)), "content_hash": content_hash, "note": note,
    }  # fmt: skip
    write.connection.execute(insert(EDITIONS), row)
    write.edition = number
    write.stock += 1
    write.backlog += 1
    return number
