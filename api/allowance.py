"""How often a key may ask: so many requests in a window that begins with the first of them.

Counted in this process alone: with several processes each grants as much. The header fields are those
of draft-ietf-httpapi-ratelimit-headers-10.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final, NamedTuple

from limits import parse
from limits.storage import Storage
from limits.strategies import FixedWindowRateLimiter

from api.clock import seconds

#: What a page key may ask unless the settings say otherwise.
PAGE_LIMIT: Final = "120/minute"
#: What a sheet key may ask: a sheet of a hundred rows asks four hundred cells at once when it is opened.
SHEET_LIMIT: Final = "600/minute"


class Taken(NamedTuple):
    """What came of one request: how many are left, and in how many seconds all of them are there again."""

    granted: bool
    left: int
    seconds: int


class Allowance:
    """Counts requests by key. For one thread, the event loop's."""

    def __init__(self, limit: str = PAGE_LIMIT, now: Callable[[], float] = seconds, *, policy: str = "page") -> None:
        """Begin to count.

        Args:
            limit: such as ``120/minute``.
            now: gives seconds that never run back.
            policy: what the headers call it, the class of the keys that it counts.
        """
        self._limit = parse(limit)
        self._now = now
        self._counted = FixedWindowRateLimiter(_Counts(now))
        self._name = b'"%s"' % policy.encode("ascii")
        self._policy = b"%s;q=%d;w=%d" % (self._name, self._limit.amount, self._limit.get_expiry())

    def take(self, key: str) -> Taken:
        """Count one request of a key."""
        granted = self._counted.hit(self._limit, key)
        ends, left = self._counted.get_window_stats(self._limit, key)
        # Rounded up: whoever waits as long as told is never told to wait again.
        return Taken(granted, left, max(1, math.ceil(ends - self._now())))

    def headers(self, taken: Taken) -> list[tuple[bytes, bytes]]:
        """Return what an answer says of it."""
        left = b"%s;r=%d;t=%d" % (self._name, taken.left, taken.seconds)
        return [(b"ratelimit-policy", self._policy), (b"ratelimit", left)]


class _Counts(Storage):
    """Where the library keeps its counts. Its own storage in memory starts a thread at nearly every request.

    There are as many entries as keys that were used, so nothing needs to be swept away.
    """

    STORAGE_SCHEME = None

    def __init__(self, now: Callable[[], float]) -> None:
        super().__init__()
        self._now = now
        self._windows: dict[str, tuple[int, float]] = {}

    @property
    def base_exceptions(self) -> type[Exception]:
        """Return what may go wrong in here: nothing that a caller could mend."""
        return ValueError

    def _window(self, key: str) -> tuple[int, float]:
        """Return the count and the end of a key's window; one that has ended counts as none."""
        now = self._now()
        found = self._windows.get(key)
        return found if found is not None and found[1] > now else (0, now)

    def incr(self, key: str, expiry: int, amount: int = 1) -> int:
        """Count, in a window of ``expiry`` seconds that begins now unless one is running."""
        count, ends = self._window(key)
        if not count:
            ends += expiry
        self._windows[key] = count + amount, ends
        return count + amount

    def get(self, key: str) -> int:
        """Return the count."""
        return self._window(key)[0]

    def get_expiry(self, key: str) -> float:
        """Return when the window ends."""
        return self._window(key)[1]

    def check(self) -> bool:
        """Return that counts can be kept."""
        return True

    def reset(self) -> int:
        """Forget every count; return how many there were."""
        forgotten = len(self._windows)
        self._windows.clear()
        return forgotten

    def clear(self, key: str) -> None:
        """Forget one count."""
        self._windows.pop(key, None)
