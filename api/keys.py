"""Keys: ``qf.<class>.<id>.<secret>``. Only a hash of the text is kept, but for page keys, which are no secret.

The secret is random and long (192 bits), so one SHA-256 suffices; a password hash would cost a tenth of
a second of every request and guard nothing more.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Any, Final

from pydantic_core import from_json
from sqlalchemy import Connection, insert, select, update

from api.store.engine import Write
from api.store.shelf import stamp
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
#: Who made a key that came with the settings.
FROM_SETTINGS: Final = "settings"
_ORIGIN: Final = re.compile(
    r"(https?)://((?:[a-z0-9](?:[a-z0-9.-]*[a-z0-9])?)|\[[0-9a-f:]+\])(?::([0-9]{1,5}))?", re.ASCII
)
_USUAL_PORTS: Final = {"http": "80", "https": "443"}


class KeyRefusedError(ValueError):
    """What was asked of a key cannot be done; ``str()`` is one line and holds no secret."""


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
        pages = (key for key in keys.values() if key.class_name == "page")
        self.origins = frozenset(origin for key in pages for origin in key.origins)

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


@dataclass(frozen=True, slots=True)
class KeptKey:
    """A key as the store has it, in force or not. ``text`` is that of a page key, else None: no other is kept."""

    key: Key
    created_at: str
    created_by: str
    revoked_at: str | None
    text: str | None

    def state(self, now: str) -> str:
        """Return whether it is in force, expired or revoked."""
        if self.revoked_at is not None:
            return "revoked"
        expires = self.key.expires_at
        return "expired" if expires is not None and expires <= now else "in force"


def kept_keys(connection: Connection) -> list[KeptKey]:
    """Return every key that was ever made, oldest first."""
    rows = connection.execute(select(API_KEYS).order_by(API_KEYS.c.created_at, API_KEYS.c.id))
    return [_kept(row) for row in rows.mappings()]


def _kept(row: Any) -> KeptKey:
    return KeptKey(_key(row), row["created_at"], row["created_by"], row["revoked_at"], row["public"])


def _named(write: Write, key_id: str) -> KeptKey:
    row = write.connection.execute(select(API_KEYS).where(API_KEYS.c.id == key_id)).mappings().one_or_none()
    if row is None:
        raise KeyRefusedError("no key has this id; list shows the ids")
    return _kept(row)


def revoke_key(write: Write, key_id: str, *, at: str) -> bool:
    """End a key at once; return False where it was revoked before.

    Raises:
        KeyRefusedError: no key has this id.
    """
    if _named(write, key_id).revoked_at is not None:
        return False
    write.connection.execute(update(API_KEYS).where(API_KEYS.c.id == key_id).values(revoked_at=at))
    write.keys += 1
    return True


def rotate_key(write: Write, key_id: str, *, now: datetime, overlap: timedelta, by: str) -> str:
    """Make a key to take the place of another and return its text; both are in force for ``overlap``.

    The new key is as the old one: class, client, name, origins, and how long it lasts. Without overlap
    the old one is revoked, so that no clock can bring it back.

    Raises:
        KeyRefusedError: no key has this id, or the key is not in force.
    """
    at, old = stamp(now), _named(write, key_id)
    if old.state(at) != "in force":
        raise KeyRefusedError(f"this key is {old.state(at)}; make a new one")
    key, ends, new_ends = old.key, stamp(now + overlap), None
    if key.expires_at is not None:
        ends = min(ends, key.expires_at)
        new_ends = stamp(now + (datetime.fromisoformat(key.expires_at) - datetime.fromisoformat(old.created_at)))
    values = {"expires_at": ends} if overlap else {"revoked_at": at}
    write.connection.execute(update(API_KEYS).where(API_KEYS.c.id == key_id).values(values))
    return make_key(
        write, key.class_name, name=key.name, at=at, by=by, client=key.client, origins=key.origins, expires_at=new_ends
    )


def origin_of(text: str) -> str:
    """Return an origin as browsers send it: small letters, no usual port. Raises ValueError in words."""
    found = _ORIGIN.fullmatch(text.lower())
    if found is None:
        raise ValueError("expected an origin such as https://shop.example, no path behind it")
    scheme, host, port = found.groups()
    return f"{scheme}://{host}" if port in (None, _USUAL_PORTS[scheme]) else f"{scheme}://{host}:{port}"
