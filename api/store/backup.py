"""A copy of a SQLite store while it is in use: one file, whole, as of one moment."""

from __future__ import annotations

import os
import secrets
import sqlite3
from contextlib import closing, suppress
from pathlib import Path
from typing import Final

from sqlalchemy.engine import make_url

from api.store.engine import PATIENCE

#: Who takes the copy: it holds customers' words and the hashes of keys.
_OWNER_ALONE: Final = 0o600
_WHOLE: Final = [("ok",)]


class BackupError(Exception):
    """No backup was made; ``str()`` says why in one line."""


def back_up(url: str, target: Path) -> None:
    """Copy the store behind a URL into a new file. Whoever writes meanwhile is not held up.

    The file has its name only once it was copied and found whole. To restore it, stop the service, put the file in
    the store's place, with no ``-wal`` or ``-shm`` of the old one beside it, and start again.

    Raises:
        BackupError: no backup was made, and nothing is left of the attempt.
    """
    source = _file_of(url)
    if target.exists():
        raise BackupError(f"{target} is there already; a backup takes a new name")
    draft = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
    try:
        os.close(os.open(draft, os.O_CREAT | os.O_EXCL | os.O_WRONLY, _OWNER_ALONE))
        _copy(source, draft)
        _name(draft, target)
    except OSError as bad:
        raise BackupError(f"{target} cannot be written: {bad.strerror}") from None
    except sqlite3.Error as bad:
        raise BackupError(f"{source} cannot be copied: {bad}") from None
    finally:
        with suppress(OSError):
            draft.unlink(missing_ok=True)


def _file_of(url: str) -> Path:
    parsed = make_url(url)
    if parsed.get_backend_name() != "sqlite":
        raise BackupError("this store is PostgreSQL's; its own pg_dump makes the backup, pg_restore brings it back")
    source = Path(parsed.database or "")
    if not source.is_file():
        raise BackupError(f"there is no store {source}")
    return source


def _copy(source: Path, draft: Path) -> None:
    # rw, not ro: reading along with a writer needs the file of shared memory beside the store. It makes no store.
    address = f"{source.absolute().as_uri()}?mode=rw"
    with (
        closing(sqlite3.connect(address, uri=True, timeout=PATIENCE)) as origin,
        closing(sqlite3.connect(draft)) as copy,
    ):
        # All pages in one step, so in one snapshot: page by page it would begin anew at every write.
        origin.backup(copy)
        copy.execute("PRAGMA journal_mode=DELETE").close()  # one file, no log beside it
        _verify(source, copy)


def _verify(source: Path, copy: sqlite3.Connection) -> None:
    if copy.execute("PRAGMA integrity_check").fetchall() != _WHOLE:
        raise BackupError(f"{source} is damaged: SQLite's integrity check finds faults")
    if copy.execute("PRAGMA foreign_key_check").fetchall():
        raise BackupError(f"{source} is damaged: rows point at rows that are not there")
    named = "SELECT count(*) FROM sqlite_master WHERE name IN ('alembic_version', 'standing', 'entry')"
    if copy.execute(named).fetchone() != (3,):
        raise BackupError(f"{source} is no store")


def _name(draft: Path, target: Path) -> None:
    """Give a file its name, never in place of another, and wait until the disk knows it."""
    try:
        target.hardlink_to(draft)
    except FileExistsError:
        raise BackupError(f"{target} is there already; a backup takes a new name") from None
    except OSError:  # a file system that knows no second name
        draft.rename(target)
    if os.name != "nt":  # there a folder cannot be opened
        folder = os.open(target.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
