"""How often a page key may ask: so many requests in a window that begins with the first of them.

Counted in this process alone: with several processes each grants as much. The header fields are those
of draft-ietf-httpapi-ratelimit-headers-10.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from limits import parse
from limits.storage import MemoryStorage
from limits.strategies import FixedWindowRateLimiter

from api.clock import seconds_until

#: What a page key may ask unless the settings say otherwise.
PAGE_LIMIT: Final = "120/minute"


class Taken(NamedTuple):
    """What came of one request: how many are left, and in how many seconds all of them are there again."""

    granted: bool
    left: int
    seconds: int


class Allowance:
    """Counts requests by key."""

    def __init__(self, limit: str = PAGE_LIMIT) -> None:
        """Begin to count; ``limit`` is such as ``120/minute``."""
        self._limit = parse(limit)
        self._counted = FixedWindowRateLimiter(MemoryStorage())
        self._policy = b'"page";q=%d;w=%d' % (self._limit.amount, self._limit.get_expiry())

    def take(self, key: str) -> Taken:
        """Count one request of a key."""
        granted = self._counted.hit(self._limit, key)
        ends, left = self._counted.get_window_stats(self._limit, key)
        # Rounded up: whoever waits as long as told is never told to wait again.
        return Taken(granted, left, max(1, math.ceil(seconds_until(ends))))

    def headers(self, taken: Taken) -> list[tuple[bytes, bytes]]:
        """Return what an answer says of it."""
        return [(b"ratelimit-policy", self._policy), (b"ratelimit", b'"page";r=%d;t=%d' % (taken.left, taken.seconds))]
