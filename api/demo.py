"""A spec to try the service with, made for the demo workshop."""

from __future__ import annotations

import json
import shlex
from typing import Any, Final

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
    headers = f"-H 'authorization: Bearer {key}' -H 'content-type: application/json'"
    return f"curl -s {address}/v1/checks {headers} -d {shlex.quote(body)}"
