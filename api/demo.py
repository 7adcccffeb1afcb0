"""What the demo is tried with: a spec made for its workshop, and a key of each class."""

from __future__ import annotations

import json
import shlex
from collections.abc import Mapping
from typing import Any, Final

from sqlalchemy import select

from api.keys import FROM_SETTINGS, make_key
from api.store.engine import Write
from api.store.tables import API_KEYS

#: Who makes the demo's keys.
_BY: Final = "demo"
_CLASSES: Final = ("page", "server", "staff", "owner", "sheet")

DEMO_SPEC: Final[dict[str, Any]] = {
    "pattern": "twofold",
    "parts": {
        "outside": {"leather": "SH-GAR"},
        "inside": {"leather": "GO-BLK"},
        "pockets": {"leather": "GO-BLK"},
    },
    "thread": "TH-P05-GAR",
    "edge": "ED-BURN",
}


def demo_command(address: str, key: str) -> str:
    """Return one line for a shell that checks the demo spec at ``http://HOST:PORT`` with a key."""
    body = json.dumps(DEMO_SPEC, separators=(",", ":"))
    headers = f"-H 'content-type: application/json' -H {shlex.quote(f'authorization: Bearer {key}')}"
    return f"curl -s {address}/v1/checks {headers} -d {shlex.quote(body)}"


def make_demo_keys(write: Write, at: str) -> Mapping[str, str]:
    """Give a store that nobody has made keys in one of each class; return the texts, which are kept nowhere else."""
    makers = set(write.connection.execute(select(API_KEYS.c.created_by)).scalars())
    if makers - {FROM_SETTINGS}:
        return {}
    return {name: make_key(write, name, name=f"demo {name}", at=at, by=_BY) for name in _CLASSES}
