"""Settings from environment variables that start with ``QUARTERFOOT_``.

Read once, by the command line; nothing else looks at the environment.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final

import catalog
from api.allowance import PAGE_LIMIT, SHEET_LIMIT

PREFIX: Final = "QUARTERFOOT_"
DEMO_CATALOG: Final = Path(catalog.__file__).parent / "oddlestone"
DEFAULT_DATABASE: Final = "sqlite:///quarterfoot.sqlite3"
SHORTEST_KEY: Final = 16
_KEY = re.compile(r"[\x21-\x7e]+")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", re.ASCII)
_DATABASE = re.compile(r"(?:sqlite:///\S+|postgresql(?:\+psycopg)?://\S+)")
_LIMIT = re.compile(r"[1-9][0-9]{0,6}/(?:second|minute|hour|day)", re.ASCII)
_HOST = re.compile(r"[A-Za-z0-9.:_-]{1,255}", re.ASCII)


class SettingError(ValueError):
    """A setting that cannot be used; ``str()`` is one line for the person who starts the service."""


@dataclass(frozen=True, slots=True)
class Settings:
    """How the service runs.

    ``today`` shifts the clock to begin on that date; ``catalog`` is the folder of the workshop's
    files; ``database_url`` names the store; ``bootstrap_owner_key`` is the first owner key of a new
    store; ``demo_keys`` gives a new store a key of each class and shows them; ``page_limit`` is how
    often a page key may ask, ``sheet_limit`` a sheet key; ``list_rows_at_once`` is up to how many rows of
    a list a caller waits for, and ``list_megabytes`` how large a list may be sent; ``choices_ahead`` lets
    ``serve`` compile patterns before anybody asks what can be chosen of them; ``port`` 0 takes any free one.
    """

    today: date | None = None
    catalog: Path = DEMO_CATALOG
    database_url: str = DEFAULT_DATABASE
    bootstrap_owner_key: str | None = None
    demo_keys: bool = False
    page_limit: str = PAGE_LIMIT
    sheet_limit: str = SHEET_LIMIT
    list_rows_at_once: int = 200
    list_megabytes: int = 64
    choices_ahead: bool = True
    host: str = "127.0.0.1"
    port: int = 8000


def settings_from(environ: Mapping[str, str]) -> Settings:
    """Return the settings that an environment gives; an empty value counts as absent.

    Raises:
        SettingError: for the first value that cannot be used.
    """
    found: dict[str, Any] = {}
    for field, read in _READERS.items():
        name = PREFIX + field.upper()
        if text := environ.get(name, "").strip():
            try:
                found[field] = read(text)
            except ValueError as bad:
                raise SettingError(f"{name}: {bad}") from None
    return Settings(**found)


def environment_of(settings: Settings) -> dict[str, str]:
    """Return the variables that give another process of this program the same shop, store and day."""
    found = {"catalog": str(settings.catalog), "database_url": settings.database_url}
    if settings.today is not None:
        found["today"] = settings.today.isoformat()
    return {PREFIX + name.upper(): text for name, text in found.items()}


def day(text: str) -> date:
    """Return an ISO 8601 calendar date, or raise ValueError in words."""
    try:
        if _DAY.fullmatch(text):
            return date.fromisoformat(text)
    except ValueError:
        pass
    raise ValueError(f"expected a date such as 2026-03-02, found {text[:40]!r}")


def port(text: str) -> int:
    """Return a TCP port, 0 to 65535, or raise ValueError in words."""
    if text.isascii() and text.isdigit() and len(text) <= 5 and int(text) <= 65_535:
        return int(text)
    raise ValueError(f"expected a port from 0 to 65535, found {text[:40]!r}")


def host(text: str) -> str:
    """Return a host name or address, or raise ValueError in words."""
    if _HOST.fullmatch(text):
        return text
    raise ValueError(f"expected a host name or address, found {text[:40]!r}")


def _folder(text: str) -> Path:
    folder = Path(text)
    if not folder.is_dir():
        raise ValueError(f"there is no folder {text[:200]!r}")
    return folder


def _database(text: str) -> str:
    # The text may hold a password, so it is never repeated in a message.
    if _DATABASE.fullmatch(text):
        return text
    raise ValueError("expected sqlite:///FILE or postgresql://USER@HOST/NAME")


def _first_key(text: str) -> str:
    # Never repeated in a message.
    if _KEY.fullmatch(text) and len(text) >= SHORTEST_KEY:
        return text
    raise ValueError(f"expected at least {SHORTEST_KEY} signs, none of them a space; make it long and random")


def _switch(text: str) -> bool:
    if text in ("0", "1"):
        return text == "1"
    raise ValueError(f"expected 0 or 1, found {text[:40]!r}")


def _limit(text: str) -> str:
    if _LIMIT.fullmatch(text):
        return text
    raise ValueError(f"expected a count and second, minute, hour or day, such as {PAGE_LIMIT}, found {text[:40]!r}")


def _count(text: str) -> int:
    if text.isascii() and text.isdigit() and len(text) <= 7 and int(text):
        return int(text)
    raise ValueError(f"expected a whole number from 1, found {text[:40]!r}")


_READERS: Final[Mapping[str, Callable[[str], Any]]] = {
    "today": day,
    "catalog": _folder,
    "database_url": _database,
    "bootstrap_owner_key": _first_key,
    "demo_keys": _switch,
    "page_limit": _limit,
    "sheet_limit": _limit,
    "list_rows_at_once": _count,
    "list_megabytes": _count,
    "choices_ahead": _switch,
    "host": host,
    "port": port,
}
