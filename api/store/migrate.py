"""Bringing the tables to the newest form, with data in them; several processes may start at once."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from sqlalchemy import Connection, Engine, inspect, text

#: The newest migration. A test compares it with the files.
HEAD: Final = "0001"
SCRIPTS: Final = Path(__file__).parent / "migrations"
#: Any number will do, so long as nothing else in the database uses it as an advisory lock.
_LOCK: Final = 5_119_771


def bring_up(engine: Engine, target: str = "head") -> None:
    """Bring a database up to the newest form, or to the one named. The tables are locked meanwhile."""
    with engine.connect() as connection:
        if target == "head" and revision_of(connection) == HEAD:
            return
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        _one_at_a_time(connection)
        if target != "head" or revision_of(connection) != HEAD:  # another process may have been first
            _run(connection, target)


def take_down(engine: Engine, target: str) -> None:
    """Bring a database back to an earlier form; ``base`` leaves it empty."""
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        _one_at_a_time(connection)
        _run(connection, target, down=True)


def revision_of(connection: Connection) -> str | None:
    """Return the migration that a database stands at, or None for an empty one."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    found: str | None = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    return found


def _one_at_a_time(connection: Connection) -> None:
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _LOCK})


def _run(connection: Connection, target: str, *, down: bool = False) -> None:
    # Loaded only here: at most starts there is nothing to do.
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(SCRIPTS))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    (command.downgrade if down else command.upgrade)(config, target)
