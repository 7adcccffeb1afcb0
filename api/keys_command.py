"""``keys``: makes, lists, revokes and rotates keys. A secret is shown once, alone on the output, and kept nowhere."""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any, Final

from api.house import House, open_house
from api.keys import CLASSES, KeptKey, KeyRefusedError, kept_keys, make_key, origin_of, revoke_key, rotate_key
from api.settings import Settings
from api.store.engine import BusyError
from api.store.shelf import stamp
from api.terminal import plain

_BY: Final = "command line"
_OVERLAP_DAYS: Final = 7
_LONGEST_DAYS: Final = 3_650
_LONGEST_NAME: Final = 80
_CLIENT: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", re.ASCII)


def add_keys(commands: Any, typed: Callable[[Callable[[str], Any]], Any]) -> None:
    """Add the command to a parser; ``typed`` makes a reader of text one that the parser takes."""
    parser = commands.add_parser("keys", help="make, list, revoke and rotate keys")
    tasks = parser.add_subparsers(required=True, metavar="TASK")
    making = tasks.add_parser("make", help="make a key and show it, this once")
    making.add_argument("key_class", metavar="CLASS", choices=CLASSES, help=", ".join(CLASSES))
    making.add_argument("--name", type=typed(_name), required=True, help="what it is for")
    making.add_argument("--client", type=typed(_client), help="whose it is; keys of one client own the same records")
    making.add_argument(
        "--origin", action="append", default=[], type=typed(origin_of), help="for a page key: where its pages stand"
    )
    making.add_argument("--days", type=typed(_days), help="how long it lasts; for good if not given")
    making.set_defaults(run=_make)
    listing = tasks.add_parser("list", help="show every key, and the text of page keys")
    listing.set_defaults(run=_list)
    revoking = tasks.add_parser("revoke", help="end a key at once")
    revoking.add_argument("id", metavar="ID")
    revoking.set_defaults(run=_revoke)
    rotating = tasks.add_parser("rotate", help="make a key like another, which ends after a while")
    rotating.add_argument("id", metavar="ID")
    rotating.add_argument(
        "--overlap-days", type=typed(_overlap), default=_OVERLAP_DAYS, help=f"0 ends it at once ({_OVERLAP_DAYS})"
    )
    rotating.set_defaults(run=_rotate)


def _make(settings: Settings, options: argparse.Namespace) -> int:
    if options.origin and options.key_class != "page":
        raise KeyRefusedError("only a page key takes --origin")
    with _opened(settings) as house, house.store.write() as write:
        now = house.clock.now()
        text = make_key(
            write,
            options.key_class,
            name=options.name,
            at=stamp(now),
            by=_BY,
            client=options.client,
            origins=dict.fromkeys(options.origin),
            expires_at=None if options.days is None else stamp(now + timedelta(days=options.days)),
        )
    _show(text)
    return 0


def _list(settings: Settings, _options: argparse.Namespace) -> int:
    with _opened(settings) as house:
        with house.store.read() as connection:
            found = kept_keys(connection)
        now = house.now()
    for each in found:
        print(_line(each, now))
    if not found:
        _say("no key was made yet")
    return 0


def _revoke(settings: Settings, options: argparse.Namespace) -> int:
    with _opened(settings) as house, house.store.write() as write:
        ended = revoke_key(write, options.id, at=house.now())
    _say("revoked" if ended else "it was revoked before")
    return 0


def _rotate(settings: Settings, options: argparse.Namespace) -> int:
    overlap = timedelta(days=options.overlap_days)
    with _opened(settings) as house, house.store.write() as write:
        text = rotate_key(write, options.id, now=house.clock.now(), overlap=overlap, by=_BY)
    _say("the old key has ended" if not overlap else f"the old key ends in {options.overlap_days} days")
    _show(text)
    return 0


@contextmanager
def _opened(settings: Settings) -> Iterator[House]:
    house = open_house(settings)
    try:
        yield house
    except BusyError:
        raise KeyRefusedError("the store is busy; nothing was changed") from None
    finally:
        house.close()


def _line(kept: KeptKey, now: str) -> str:
    key, day = kept.key, len("2026-03-02")
    parts = [key.id, f"{key.class_name:6}", f"{kept.state(now):8}", plain(key.name), f"of {plain(key.client)}"]
    parts.append(f"made {kept.created_at[:day]} by {plain(kept.created_by)}")
    if key.expires_at is not None:
        parts.append(f"until {key.expires_at[:day]}")
    parts += [f"at {plain(origin)}" for origin in key.origins]
    return "  ".join([*parts, *([kept.text] if kept.text is not None else [])])


def _show(text: str) -> None:
    # Alone on the output, so that it can be caught by a shell without being seen.
    _say("this is shown once; keep it:")
    print(text, flush=True)


def _say(words: str) -> None:
    print(words, file=sys.stderr, flush=True)


def _name(text: str) -> str:
    words = text.strip()
    if words and len(words) <= _LONGEST_NAME and words.isprintable():
        return words
    raise ValueError(f"expected a name in 1 to {_LONGEST_NAME} printable signs")


def _client(text: str) -> str:
    if _CLIENT.fullmatch(text):
        return text
    raise ValueError("expected up to 64 letters, digits, dots, underscores or hyphens")


def _days(text: str) -> int:
    return _whole(text, 1)


def _overlap(text: str) -> int:
    return _whole(text, 0)


def _whole(text: str, least: int) -> int:
    if text.isascii() and text.isdigit() and len(text) <= 5 and least <= int(text) <= _LONGEST_DAYS:
        return int(text)
    raise ValueError(f"expected days, {least} to {_LONGEST_DAYS}")
