"""What most shoppers ask next, worked out before they ask: each pattern with nothing chosen, one piece.

Compiling a pattern takes a second or two; who asks first would wait for it. Here a thread does it whenever the stock,
the edition or the day is another, one pattern at a time. Nobody ever waits for this thread: who asks for what is not
there yet works it out.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Hashable
from datetime import date
from typing import Final

from api.choices import Asking, choices_for
from api.house import House
from api.store.engine import BusyError
from api.visibility import Caller
from rules.shop import Shop
from rules.spec import Spec

#: Seconds between two looks at what is in force, and the least pause after a pattern.
ROUND: Final = 1.0
LEAST_PAUSE: Final = 0.05
_LOG = logging.getLogger("quarterfoot")


class Ahead:
    """A thread that compiles the patterns of a house ahead of requests."""

    def __init__(self, house: House) -> None:
        """Work for a house; nothing is started yet."""
        self._house = house
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="ahead", daemon=True)
        #: What each pattern was last compiled for, the one that was so longest ago first.
        self._made: dict[str, Hashable] = {}

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End after the pattern at hand."""
        self._over.set()
        self._thread.join()

    def step(self) -> bool:
        """Compile the pattern that waits longest; return whether there was one."""
        shop, today = self._house.shop, self._house.clock.today()
        key = _key(shop, today)
        patterns = shop.catalog.patterns
        self._made = {code: made for code, made in self._made.items() if code in patterns}
        order = [*(code for code in patterns if code not in self._made), *self._made]
        code = next((each for each in order if self._made.get(each) != key), None)
        if code is None:
            return False
        self._made.pop(code, None)
        self._made[code] = key  # before it is done: one that cannot be compiled must not keep the others waiting
        choices_for(shop, Spec(pattern=code), today, Asking(Caller.PAGE))
        return True

    def _run(self) -> None:
        pause = ROUND
        while not self._over.wait(pause):
            begun = time.monotonic()
            try:
                more = self.step()
            except BusyError:
                more = False
            except Exception:  # noqa: BLE001 -- who asks for it meets the same and is told; the log says what it was
                _LOG.exception("a pattern could not be compiled ahead")
                more = True
            # At most half the time, so that requests beside it find the other half free.
            pause = max(LEAST_PAUSE, time.monotonic() - begun) if more else ROUND


def _key(shop: Shop, today: date) -> Hashable:
    """Return what the compiled patterns of a shop hang on; books and lists change with the edition alone."""
    return shop.edition, shop.catalog.content_hash, shop.stock_revision, shop.backlog_revision, today
