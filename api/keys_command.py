"""``python -m api keys``: made, listed, revoked, rotated. Whoever may run it may read the store anyway."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from datetime import timedelta
from typing import Any, Final

from pydantic_core import from_json
from sqlalchemy import select, update

from api.house import House
from api.keys import CLASSES, make_key
from api.store.engine import Write
from api.store.shelf import stamp
from api.store.tables import API_KEYS

OVERLAP_DAYS: Final = 7
BY: Final = "command line"


class KeyCommandError(Exception):
    """What was asked for cannot be done; ``str()`` is one line."""


def add_parser(commands: Any) -> argparse.ArgumentParser:
    """Describe the command; return its parser."""
    parser: argparse.ArgumentParser = commands.add_parser("keys", help="make, list, revoke and rotate keys")
    verbs = parser.add_subparsers(required=True, metavar="VERB", dest="verb")
    make = verbs.add_parser("make", help="make a key; its text is shown this once")
    make.add_argument("key_class", choices=sorted(CLASSES), metavar="CLASS", help=", ".join(CLASSES))
    make.add_argument("--name", required=True, help="what it is for")
    make.add_argument("--client", help="whose it is, as `list` shows it; a new client if absent")
    make.add_argument("--origin", action="append", default=[], help="for a page key: where the pages stand; repeat")
    make.add_argument("--days", type=int, help="days until it expires; never if absent")
    verbs.add_parser("list", help="list the keys; secrets are not kept and cannot be shown")
    revoke = verbs.add_parser("revoke", help="end a key at once")
    revoke.add_argument("id", help="id of the key")
    rotate = verbs.add_parser("rotate", help="make a new key like an old one, which then soon expires")
    rotate.add_argument("id", help="id of the old key")
    rotate.add_argument("--overlap-days", type=int, default=OVERLAP_DAYS, help="days for which both work (7)")
    return parser


def run(house: House, options: argparse.Namespace) -> Iterator[str]:
    """Do it; yield what to print.

    Raises:
        KeyCommandError: it cannot be done.
    """
    if options.verb == "list":
        yield from _listed(house)
        return
    with house.store.write() as write:
        yield {"make": _make, "revoke": _revoke, "rotate": _rotate}[options.verb](house, write, options)


def _listed(house: House) -> Iterator[str]:
    now = house.now()
    with house.store.read() as connection:
        for row in connection.execute(select(API_KEYS).order_by(API_KEYS.c.created_at)).mappings():
            state = "revoked" if row["revoked_at"] else "expired" if (row["expires_at"] or "~") <= now else "works"
            facts = [row["id"], row["class"], state, f"client {row['client']}", row["name"]]
            facts += [f"until {row['expires_at']}"] if row["expires_at"] else []
            facts += from_json(row["origins"])
            facts += [row["public"]] if row["public"] else []
            yield "  ".join(facts)


def _make(house: House, write: Write, options: argparse.Namespace) -> str:
    if options.origin and options.key_class != "page":
        raise KeyCommandError("only a page key names origins")
    return make_key(
        write,
        options.key_class,
        name=options.name,
        at=house.now(),
        by=BY,
        client=options.client,
        origins=options.origin,
        expires_at=_in_days(house, options.days),
    )


def _in_days(house: House, days: int | None) -> str | None:
    return None if days is None else stamp(house.clock.now() + timedelta(days=days))


def _row(write: Write, key: str) -> Any:
    row = write.connection.execute(select(API_KEYS).where(API_KEYS.c.id == key)).mappings().one_or_none()
    if row is None or row["revoked_at"]:
        raise KeyCommandError("no key in force has this id; `keys list` shows them")
    return row


def _revoke(house: House, write: Write, options: argparse.Namespace) -> str:
    row = _row(write, options.id)
    write.connection.execute(update(API_KEYS).where(API_KEYS.c.id == row["id"]).values(revoked_at=house.now()))
    write.keys += 1
    return f"{row['id']} no longer works"


def _rotate(house: House, write: Write, options: argparse.Namespace) -> str:
    row = _row(write, options.id)
    ends = _in_days(house, options.overlap_days)
    soonest = min(ends or "~", row["expires_at"] or "~")
    write.connection.execute(update(API_KEYS).where(API_KEYS.c.id == row["id"]).values(expires_at=soonest))
    return make_key(
        write,
        row["class"],
        name=row["name"],
        at=house.now(),
        by=BY,
        client=row["client"],
        origins=from_json(row["origins"]),
        expires_at=row["expires_at"],
    )
