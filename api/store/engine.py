"""One database, SQLite or PostgreSQL: reading, and writing one transaction after another.

SQLite runs with a write-ahead log, foreign keys on, and ``synchronous=FULL``: an order that was
acknowledged is on the disk even if the power fails in the next moment, and a bench takes a few
orders a day, not thousands a second. Writers begin with BEGIN IMMEDIATE, since a transaction that
reads first and writes later is refused by SQLite whenever another wrote in between.

Whoever writes holds the row ``standing`` from the first statement to the last, on PostgreSQL by
SELECT ... FOR UPDATE. One lock alone cannot deadlock, and stock is checked against what the
transaction itself sees.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, NamedTuple

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError

from api.store.tables import STANDING

#: Seconds to wait for another writer before giving up, unless told otherwise.
PATIENCE: Final = 10.0
_LOCK_NOT_AVAILABLE: Final = "55P03"
_STANDING: Final = "SELECT stock, backlog, keys, edition FROM standing"
_READ: Final = text("SELECT stock, backlog, keys, number, edition FROM standing WHERE id = 1")
_READ_LOCKED: Final = text("SELECT stock, backlog, keys, number, edition FROM standing WHERE id = 1 FOR UPDATE")


class BusyError(Exception):
    """Another writer held the store for too long; nothing was written."""


class Revisions(NamedTuple):
    """How often stock, backlog and keys changed so far, and which edition is in force (0: none yet).

    A new edition counts as a change of stock and of backlog too, so whoever compares these has compared all.
    """

    stock: int
    backlog: int
    keys: int
    edition: int = 0


@dataclass(slots=True)
class Write:
    """A transaction that may change the store. ``stock`` and the others count what it changes.

    ``edition`` is the one in force at its end.
    """

    connection: Connection
    stock: int
    backlog: int
    keys: int
    number: int
    edition: int

    @property
    def revisions(self) -> Revisions:
        """Return the revisions as this transaction leaves them."""
        return Revisions(self.stock, self.backlog, self.keys, self.edition)

    def next_number(self) -> int:
        """Return a number that no record has had."""
        self.number += 1
        return self.number


class Store:
    """The database behind a URL."""

    def __init__(self, url: str, *, patience: float = PATIENCE) -> None:
        """Open it; ``sqlite:///FILE`` or ``postgresql://USER@HOST/NAME``. The tables must be there (see migrate)."""
        self.engine = engine_of(url, patience=patience)
        self._patience = patience
        self.is_sqlite = self.engine.dialect.name == "sqlite"
        self._writers = threading.Lock()
        self._glance = _Glance(self.engine)

    def close(self) -> None:
        """Close every connection."""
        self._glance.close()
        self.engine.dispose()

    def revisions(self) -> Revisions:
        """Return what the last committed transaction left: one row by key, on a connection kept for it."""
        return self._glance.revisions()

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """Give a connection on which every statement sees the same committed state."""
        with self.engine.connect() as connection:
            if not self.is_sqlite:
                connection.execute(text("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY"))
            yield connection

    @contextmanager
    def write(self) -> Iterator[Write]:
        """Give a transaction in which nobody else writes; an exception undoes all of it.

        Raises:
            BusyError: another writer kept the store for too long.
        """
        if not self._writers.acquire(timeout=self._patience):
            raise BusyError
        try:
            with self._begun() as connection:
                row = connection.execute(_READ if self.is_sqlite else _READ_LOCKED).one()
                before = tuple(row)
                write = Write(connection, *before)
                yield write
                after = (write.stock, write.backlog, write.keys, write.number, write.edition)
                if after != before:
                    connection.execute(_set_standing(after))
        finally:
            self._writers.release()

    @contextmanager
    def _begun(self) -> Iterator[Connection]:
        try:
            with self.engine.connect().execution_options(writes=True) as connection, connection.begin():
                yield connection
        except DBAPIError as bad:
            if _is_busy(bad):
                raise BusyError from bad
            raise


def revisions_on(connection: Connection) -> Revisions:
    """Return the revisions as a connection sees them."""
    return Revisions(*connection.exec_driver_sql(_STANDING).one())


def _set_standing(after: tuple[int, int, int, int, int]) -> Any:
    stock, backlog, keys, number, edition = after
    return STANDING.update().values(stock=stock, backlog=backlog, keys=keys, number=number, edition=edition)


def _is_busy(bad: DBAPIError) -> bool:
    # By code: PostgreSQL words its errors in the language of the server.
    result = getattr(bad.orig, "sqlite_errorcode", 0) & 0xFF  # the rest of an extended code only says more
    return result == sqlite3.SQLITE_BUSY or getattr(bad.orig, "sqlstate", None) == _LOCK_NOT_AVAILABLE


def is_there(url: str) -> bool:
    """Whether a URL names a store that must not be made first: a server's, or a file that exists."""
    parsed = make_url(url)
    return parsed.get_backend_name() != "sqlite" or Path(parsed.database or "").is_file()


def engine_of(url: str, *, patience: float = PATIENCE) -> Engine:
    """Return an engine with every connection set up as the module says; ``patience`` in seconds, for each lock."""
    parsed = make_url(url)
    if parsed.get_backend_name() == "sqlite":
        engine = create_engine(parsed, connect_args={"timeout": patience, "check_same_thread": False})
        event.listen(engine, "connect", _set_up_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
        return engine
    options = f"-c lock_timeout={round(patience * 1000)}ms -c idle_in_transaction_session_timeout=60s"
    return create_engine(
        parsed.set(drivername="postgresql+psycopg"),
        connect_args={"options": options},
        pool_pre_ping=True,
        pool_size=10,
        max_overflow=30,
    )


def _set_up_sqlite(connection: Any, _record: Any) -> None:
    connection.isolation_level = None  # the driver begins nothing; _begin_sqlite does
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):
        connection.execute(f"PRAGMA {pragma}").close()


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


class _Glance:
    """One connection, kept open, for the one row that every check looks at."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._lock = threading.Lock()
        self._connection: Any = None
        self._wrapped: Any = None

    def revisions(self) -> Revisions:
        with self._lock:
            try:
                return self._look()
            except Exception:  # noqa: BLE001 -- whatever the driver raises when its server is gone: once more, on a new one
                self._drop()
                return self._look()

    def _look(self) -> Revisions:
        if self._connection is None:
            self._connection = self._open()
        row = self._connection.execute(_STANDING).fetchone()
        return Revisions(*row)

    def _open(self) -> Any:
        wrapped = self._engine.raw_connection()
        connection: Any = wrapped.driver_connection
        wrapped.detach()
        self._wrapped = wrapped  # closes the connection when it is collected
        if self._engine.dialect.name != "sqlite":
            connection.rollback()
            connection.autocommit = True
        return connection

    def _drop(self) -> None:
        connection, self._connection = self._connection, None
        self._wrapped = None
        if connection is not None:
            with suppress(Exception):  # it may be broken already
                connection.close()

    def close(self) -> None:
        with self._lock:
            self._drop()
