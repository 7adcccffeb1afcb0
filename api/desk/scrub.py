"""A spec without the customer's own text."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


def scrubbed(spec: Mapping[str, Any]) -> dict[str, Any]:
    """Return a spec without note, reference and the letters of its monogram; how many letters stays."""
    kept = {name: value for name, value in spec.items() if name not in ("note", "reference")}
    monogram = spec.get("monogram")
    if monogram:
        letters = sum(not sign.isspace() for sign in monogram.get("text") or "")
        kept["monogram"] = {name: value for name, value in monogram.items() if name != "text"} | {"letters": letters}
    return kept
