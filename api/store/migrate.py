"""Bringing the tables to the newest form, with data in them; several processes may start at once."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, Engine, inspect, text

#: The newest migration. A test compares it with the files.
HEAD: Final = "0003"
SCRIPTS: Final = Path(__file__).parent / "migrations"
#: Any number will do, so long as nothing else in the database uses it as an advisory lock.
_LOCK: Final = 5_119_771


class DanglingError(Exception):
    """A migration would leave rows that point at nothing; nothing was changed."""


def bring_up(engine: Engine, target: str = "head", *, scripts: Path = SCRIPTS) -> None:
    """Bring a database up to the newest form, or to the one named. The tables are locked meanwhile."""
    with engine.connect() as connection:
        if target == "head" and revision_of(connection) == HEAD:
            return
    with _locked(engine) as connection:
        if target != "head" or revision_of(connection) != HEAD:  # another process may have been first
            _run(connection, target, scripts)


def take_down(engine: Engine, target: str, *, scripts: Path = SCRIPTS) -> None:
    """Bring a database back to an earlier form; ``base`` leaves it empty."""
    with _locked(engine) as connection:
        _run(connection, target, scripts, down=True)


def revision_of(connection: Connection) -> str | None:
    """Return the migration that a database stands at, or None for an empty one."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    found: str | None = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    return found


@contextmanager
def _locked(engine: Engine) -> Iterator[Connection]:
    """Give a transaction in which nobody else changes the tables; an exception undoes all of it.

    SQLite changes a table by copying it and dropping the first, which it refuses where other rows point at
    it. So foreign keys are off meanwhile, which must be said before the transaction begins, and checked at
    its end.
    """
    with engine.connect().execution_options(writes=True) as connection:
        if connection.dialect.name == "sqlite":
            with _foreign_keys_off(connection), connection.begin():
                yield connection
                _check_foreign_keys(connection)
        else:
            with connection.begin():
                connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _LOCK})
                yield connection


@contextmanager
def _foreign_keys_off(connection: Connection) -> Iterator[None]:
    driver: Any = connection.connection.driver_connection
    driver.execute("PRAGMA foreign_keys=OFF")
    try:
        yield
    finally:
        driver.execute("PRAGMA foreign_keys=ON")


def _check_foreign_keys(connection: Connection) -> None:
    found = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    if found:
        tables = ", ".join(sorted({f"{row[0]} at {row[2]}" for row in found}))
        raise DanglingError(f"rows would point at nothing: {tables}")


def _run(connection: Connection, target: str, scripts: Path, *, down: bool = False) -> None:
    # Loaded only here: at most starts there is nothing to do.
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(scripts))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    (command.downgrade if down else command.upgrade)(config, target)
