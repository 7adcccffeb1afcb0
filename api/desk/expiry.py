"""Holds that ran out: their stock is free again, and whoever asks later is told so."""

from __future__ import annotations

from sqlalchemy import select, update

from api.desk.history import add_entry
from api.store.engine import Store
from api.store.shelf import Shelves
from api.store.tables import HOLDS, QUOTES


def sweep(store: Store, shelves: Shelves, now: str) -> int:
    """Let every hold lapse whose time has come; return how many. Any process may do so, at any time."""
    with store.write() as write:
        due = write.connection.execute(
            select(HOLDS.c.quote).where(HOLDS.c.state.in_(("live", "short")), HOLDS.c.until <= now)
        )
        quotes = list(due.scalars())
        if quotes:
            connection = write.connection
            connection.execute(update(HOLDS).where(HOLDS.c.quote.in_(quotes)).values(state="lapsed"))
            connection.execute(
                update(QUOTES).where(QUOTES.c.id.in_(quotes)).values(state="lapsed", version=QUOTES.c.version + 1)
            )
            for quote in quotes:
                add_entry(write, "quote", quote, at=now, by="time", kind="lapse", body={})
            write.stock += 1
        shelf = shelves.read(write.connection, write.revisions) if quotes else None
    if shelf is not None:
        shelves.adopt(shelf)
    return len(quotes)
