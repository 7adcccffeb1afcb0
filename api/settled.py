"""Settings of the interpreter for a process that answers requests."""

from __future__ import annotations

import gc
import sys
from typing import Final

#: Seconds after which a thread that works must let others go on; Python's own is 0.005. A dear check in a thread
#: would otherwise hold up each step of every other request for so long.
SWITCH_SECONDS: Final = 0.0005
#: Objects that may be made and kept before the collector looks for cycles. What a check leaves is freed without it.
_YOUNG, _MIDDLE, _OLD = 20_000, 20, 20


def settle() -> None:
    """Set what was loaded at the start apart from the collector's work, and let it look seldom.

    Looking through catalog, rules and what is kept of checks took tens of milliseconds each time,
    in which nobody is answered.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(_YOUNG, _MIDDLE, _OLD)
    sys.setswitchinterval(SWITCH_SECONDS)
