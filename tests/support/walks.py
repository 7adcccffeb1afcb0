"""A shopper's walk: options taken one after another, in a random order, as JSON bodies."""

from __future__ import annotations

import random
from collections.abc import Mapping
from copy import deepcopy
from typing import Any, Final

Body = dict[str, Any]
_TEXTS: Final = ("A", "AB", "A.B.", "MM", "JOAN")


def context(draw: random.Random, pattern: str) -> Body:
    """Return a spec with nothing chosen and some facts of the order."""
    body: Body = {"pattern": pattern, "quantity": draw.choice((1, 1, 1, 2, 3))}
    if pattern == "lead":
        body["purpose"] = {"dog_kg": draw.choice((10, 30))}
    if draw.random() < 0.2:  # now and then
        body["rush"] = True
    if draw.random() < 0.3:
        body["ready_by"] = "2026-05-01"
    if draw.random() < 0.3:
        body["ship_to"] = "XA"
    if draw.random() < 0.5:
        body["carry"] = {"cards": draw.choice((2, 4, 8))}
    if draw.random() < 0.5:
        body["monogram"] = {"text": draw.choice(_TEXTS)}
    return body


def put(body: Mapping[str, Any], pointer: str, value: Any) -> Body:
    """Return a body with an option taken; one that means nothing leaves it as it is."""
    found: Body = deepcopy(dict(body))
    _, field, *names = pointer.split("/")
    if not names:
        if field == "modifications":
            if value is not None:
                found["modifications"] = [*found.get("modifications", []), value]
        else:
            found[field] = value
    elif value is not None:
        found.setdefault(field, {})[names[0]] = value
    return found
