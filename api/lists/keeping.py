"""Long lists in the store: what was sent, what was said so far, who is at it."""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, BinaryIO, Final

from pydantic_core import from_json
from sqlalchemy import Connection, Row, Select, delete, func, insert, or_, select, update

from api.store.engine import Store, Write
from api.store.shelf import stamp
from api.store.stock import dumped
from api.store.tables import LIST_ANSWERS, LIST_PARTS, WISH_LISTS

#: How long a list is kept, from when it was sent.
KEPT: Final = timedelta(days=7)
#: Lists of one client that may wait at a time.
MOST_WAITING: Final = 20
#: Whoever gave no sign of life for so long is taken to be gone.
LOST: Final = timedelta(seconds=30)
#: A list that so many workers began with and none ended is not begun again: it may be what ended them.
MOST_BEGUN: Final = 3
_PART: Final = 1 << 20
_WAITING, _RUNNING, _DONE, _FAILED = "waiting", "running", "done", "failed"


@dataclass(frozen=True, slots=True)
class Sent:
    """A long list as it was sent. ``terms``: mode, measure and overrides, JSON."""

    client: str
    key_class: str
    kind: str
    terms: Mapping[str, Any]
    rows: int
    notes: Sequence[str]


def add_list(write: Write, sent: Sent, content: BinaryIO, now: datetime) -> str:
    """Keep a list that waits its turn; return its id."""
    number = write.next_number()
    name = f"W{number}"
    write.connection.execute(
        insert(WISH_LISTS).values(
            id=name,
            number=number,
            client=sent.client,
            key_class=sent.key_class,
            kind=sent.kind,
            terms=dumped(sent.terms),
            state=_WAITING,
            rows=sent.rows,
            done=0,
            begun=0,
            notes=dumped(list(sent.notes)),
            created_at=stamp(now),
            expires_at=stamp(now + KEPT),
        )
    )
    place = 0
    while part := content.read(_PART):
        write.connection.execute(insert(LIST_PARTS).values(wish_list=name, place=place, content=part))
        place += 1
    return name


def waiting_of(connection: Connection, client: str) -> int:
    """Return how many lists of a client are not done yet."""
    unfinished = WISH_LISTS.c.state.in_((_WAITING, _RUNNING))
    asked = select(func.count()).select_from(WISH_LISTS).where(WISH_LISTS.c.client == client, unfinished)
    return int(connection.execute(asked).scalar_one())


def find_list(connection: Connection, name: str, client: str | None, now: str) -> Row[Any] | None:
    """Return a list that a client may see (None: whosever it is) and whose time is not over, or None."""
    asked = select(WISH_LISTS).where(WISH_LISTS.c.id == name, WISH_LISTS.c.expires_at > now)
    return connection.execute(asked if client is None else asked.where(WISH_LISTS.c.client == client)).one_or_none()


def drop_lists(connection: Connection, which: Any) -> None:
    """Delete the lists that a condition names, with all that belongs to them."""
    names: Select[Any] = select(WISH_LISTS.c.id).where(which)
    for table in (LIST_ANSWERS, LIST_PARTS):
        connection.execute(delete(table).where(table.c.wish_list.in_(names)))
    connection.execute(delete(WISH_LISTS).where(which))


def drop_expired(connection: Connection, now: str) -> None:
    """Delete the lists whose time is over."""
    drop_lists(connection, WISH_LISTS.c.expires_at <= now)


def write_out(connection: Connection, name: str, path: Path) -> None:
    """Write a list into a file as it was sent."""
    asked = select(LIST_PARTS.c.content).where(LIST_PARTS.c.wish_list == name).order_by(LIST_PARTS.c.place)
    with path.open("wb") as out:
        for part in connection.execute(asked).scalars():
            out.write(part)


def answers_of(connection: Connection, name: str) -> Iterator[bytes]:
    """Give what was said of each row so far, in order, as JSON."""
    first = 0
    while True:
        asked = select(LIST_ANSWERS).where(LIST_ANSWERS.c.wish_list == name, LIST_ANSWERS.c.first == first)
        chunk = connection.execute(asked).one_or_none()
        if chunk is None:
            return
        yield from zlib.decompress(chunk.content).splitlines()
        first += chunk.rows


def is_due(connection: Connection, now: datetime) -> bool:
    """Whether a list waits that nobody is at."""
    return connection.execute(_due(now).limit(1)).first() is not None


def _is_due(now: datetime) -> Any:
    lost = (WISH_LISTS.c.state == _RUNNING) & (WISH_LISTS.c.beat_at < stamp(now - LOST))
    return or_(WISH_LISTS.c.state == _WAITING, lost) & (WISH_LISTS.c.expires_at > stamp(now))


def _due(now: datetime) -> Select[Any]:
    """Select the lists that nobody is at: those of clients first who were served the longest ago."""
    others = WISH_LISTS.alias()
    served = select(func.max(others.c.beat_at)).where(others.c.client == WISH_LISTS.c.client).scalar_subquery()
    return select(WISH_LISTS).where(_is_due(now)).order_by(func.coalesce(served, ""), WISH_LISTS.c.number)


class LostError(Exception):
    """The list is gone, or somebody else is at it."""


class Claim:
    """A list that a worker is at. Every change raises :class:`LostError` once it is no longer the worker's."""

    def __init__(self, store: Store, row: Row[Any], worker: str) -> None:
        """Keep who is at what."""
        self.row = row
        self._store = store
        self._worker = worker

    def _set(self, connection: Connection, **values: Any) -> None:
        own = (WISH_LISTS.c.id == self.row.id) & (WISH_LISTS.c.worker == self._worker)
        if connection.execute(update(WISH_LISTS).where(own).values(**values)).rowcount != 1:
            raise LostError

    def begin(self, judged_by: Mapping[str, Any]) -> None:
        """Say what it is judged by. What somebody said of it before is gone."""
        with self._store.write() as write:
            self._set(write.connection, judged_by=dumped(judged_by), done=0, summary=None)
            write.connection.execute(delete(LIST_ANSWERS).where(LIST_ANSWERS.c.wish_list == self.row.id))

    def beat(self, now: str) -> None:
        """Give a sign of life."""
        with self._store.write() as write:
            self._set(write.connection, beat_at=now)

    def put(self, first: int, lines: Sequence[bytes], summary: Mapping[str, Any], now: str) -> None:
        """Keep what is said of the rows from ``first`` on, and what came of all so far."""
        content = zlib.compress(b"\n".join(lines), 1)
        with self._store.write() as write:
            self._set(write.connection, done=first + len(lines), summary=dumped(summary), beat_at=now)
            values = {"wish_list": self.row.id, "first": first, "rows": len(lines), "content": content}
            write.connection.execute(insert(LIST_ANSWERS).values(**values))

    def finish(self, summary: Mapping[str, Any], notes: Iterable[str]) -> None:
        """Say that all is judged."""
        with self._store.write() as write:
            self._set(write.connection, state=_DONE, summary=dumped(summary), notes=dumped(list(notes)), worker=None)

    def fail(self, said: str) -> None:
        """Say that it cannot be judged, and why."""
        with self._store.write() as write:
            self._set(write.connection, state=_FAILED, said=said, worker=None)

    def give_back(self) -> None:
        """Let somebody else begin: this was no end that the list brought about."""
        with self._store.write() as write:
            self._set(write.connection, state=_WAITING, worker=None, begun=self.row.begun)


def claim(store: Store, worker: str, now: datetime) -> Claim | None:
    """Take the list that has waited longest, or None."""
    with store.write() as write:
        spent = _is_due(now) & (WISH_LISTS.c.begun >= MOST_BEGUN)
        gone = f"It was begun {MOST_BEGUN} times and never ended; send it again, in smaller lists."
        write.connection.execute(update(WISH_LISTS).where(spent).values(state=_FAILED, said=gone, worker=None))
        row = write.connection.execute(_due(now).limit(1)).one_or_none()
        if row is None:
            return None
        values = {"state": _RUNNING, "worker": worker, "beat_at": stamp(now), "begun": row.begun + 1}
        write.connection.execute(update(WISH_LISTS).where(WISH_LISTS.c.id == row.id).values(**values))
    return Claim(store, row, worker)


def shown_list(row: Any) -> dict[str, Any]:
    """Return a list as its owner may see it."""
    judged_by = from_json(row.judged_by) if row.judged_by else {"as_of": None, "revisions": {}}
    return {
        "id": row.id,
        "created_at": row.created_at,
        "expires_at": row.expires_at,
        "state": row.state,
        "said": row.said,
        "kind": row.kind,
        "mode": from_json(row.terms)["mode"],
        "rows": row.rows,
        "done": row.done,
        "notes": from_json(row.notes),
        "summary": from_json(row.summary) if row.summary else None,
        **judged_by,
    }
