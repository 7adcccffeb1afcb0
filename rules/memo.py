"""Results kept for whoever asks the same again, up to a number of them."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

Kept = TypeVar("Kept")


class Memo(Generic[Kept]):
    """Results by what they follow from. Full, it forgets all and begins again; threads may share it."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: dict[Hashable, Kept] = {}

    def get(self, key: Hashable, make: Callable[[], Kept]) -> Kept:
        """Return what was kept for a key, or make it now. ``make`` never gives None."""
        found = self._kept.get(key)
        if found is None:
            found = make()
            if len(self._kept) >= self._most:
                self._kept.clear()
            self._kept[key] = found
        return found
