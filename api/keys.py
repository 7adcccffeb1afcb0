"""Keys: ``qf.<class>.<id>.<secret>``. Only a hash of the text is kept, but for page keys, which are no secret.

The secret is random and long (192 bits), so one SHA-256 suffices; a password hash would cost a tenth of
a second of every request and guard nothing more.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any, Final

from pydantic_core import from_json
from sqlalchemy import Connection, insert, select

from api.store.engine import Store, Write
from api.store.stock import dumped
from api.store.tables import API_KEYS
from api.visibility import Caller

CLASSES: Final[Mapping[str, Caller]] = {
    "page": Caller.PAGE,
    "server": Caller.SERVER,
    "staff": Caller.STAFF,
    "owner": Caller.OWNER,
    "sheet": Caller.PAGE,  # sees as little as a page, and may ask for single values only
}


@dataclass(frozen=True, slots=True)
class Key:
    """A key that may be used. ``client`` is who holds it: keys of one client own the same records."""

    id: str
    class_name: str
    client: str
    name: str
    origins: tuple[str, ...] = ()
    expires_at: str | None = None

    @property
    def caller(self) -> Caller:
        """Return what it may see."""
        return CLASSES[self.class_name]


class Keyring:
    """The keys of a store that are neither revoked nor malformed, by the hash of their text."""

    def __init__(self, keys: Mapping[str, Key]) -> None:
        """Keep keys by hash."""
        self._keys = keys
        self.origins = frozenset(origin for key in keys.values() for origin in key.origins)

    def find(self, text: str, now: str) -> Key | None:
        """Return the key with this text, unless it has expired by ``now`` (a moment as the store writes it)."""
        key = self._keys.get(hash_of(text))
        if key is None or (key.expires_at is not None and key.expires_at <= now):
            return None
        return key


def hash_of(text: str) -> str:
    """Return the hash under which a key is kept."""
    return sha256(text.encode("utf-8", "replace")).hexdigest()


def read_keys(connection: Connection) -> Keyring:
    """Return the keys in force."""
    rows = connection.execute(select(API_KEYS).where(API_KEYS.c.revoked_at.is_(None)))
    return Keyring({row["secret_hash"]: _key(row) for row in rows.mappings()})


def _key(row: Any) -> Key:
    return Key(
        id=row["id"],
        class_name=row["class"],
        client=row["client"],
        name=row["name"],
        origins=tuple(from_json(row["origins"])),
        expires_at=row["expires_at"],
    )


def make_key(
    write: Write,
    class_name: str,
    *,
    name: str,
    at: str,
    by: str,
    client: str | None = None,
    text: str | None = None,
    origins: Iterable[str] = (),
    expires_at: str | None = None,
) -> str:
    """Add a key to the store and return its text, which is shown this once (a page key's can be read again).

    Args:
        write: the transaction.
        class_name: page, server, staff, owner or sheet.
        name: what it is for, in the owner's words.
        at: now, as the store writes moments.
        by: who made it: the id of a key, or the command line.
        client: whose it is; a new client if None.
        text: the text to use instead of a random one.
        origins: for a page key, where pages that use it stand.
        expires_at: when it stops to work.
    """
    key_id = secrets.token_hex(5)
    text = text or f"qf.{class_name}.{key_id}.{secrets.token_urlsafe(24)}"
    write.connection.execute(
        insert(API_KEYS).values(
            {
                "id": key_id,
                "class": class_name,
                "client": client or f"c-{key_id}",
                "name": name,
                "secret_hash": hash_of(text),
                "public": text if class_name == "page" else None,
                "origins": dumped(list(origins)),
                "created_at": at,
                "created_by": by,
                "expires_at": expires_at,
                "revoked_at": None,
            }
        )
    )
    write.keys += 1
    return text


def page_key(store: Store) -> str | None:
    """Return the text of the first page key in force, or None."""
    with store.read() as connection:
        found: str | None = connection.execute(
            select(API_KEYS.c.public)
            .where(API_KEYS.c.public.is_not(None), API_KEYS.c.revoked_at.is_(None), API_KEYS.c.expires_at.is_(None))
            .order_by(API_KEYS.c.created_at)
            .limit(1)
        ).scalar()
    return found
