"""The arithmetic of stock: what entries make of a lot or a supply.

An entry's body holds whole base units. The desk applies an entry to the row by the same function with
which the audit replays all of them, so a balance can always be derived from its entries.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

OPEN: Final = "open"
SCRAP: Final = "scrap"
ACTIVE: Final = "active"
OUT: Final = "out"
Entry = tuple[str, Mapping[str, Any]]
"""Kind and body."""


@dataclass(frozen=True, slots=True)
class LotBalance:
    """A lot as its entries leave it: um2, um; ``rectangles`` as (along, across)."""

    left_um2: int = 0
    reserved_um2: int = 0
    thickness_min_um: int = 0
    thickness_max_um: int = 0
    rectangles: tuple[tuple[int, int], ...] = ()
    state: str = OPEN

    def after(self, kind: str, body: Mapping[str, Any]) -> LotBalance:
        """Return the balance after an entry.

        ``receive``, ``measure`` and ``count`` say what is there; ``cut``, ``recut`` and ``remnant`` what
        was taken and, where it was measured, what is left; ``scrap`` leaves nothing. Raises
        ValueError for another kind.
        """
        if kind in {"receive", "measure", "count"}:
            found = replace(self, **{name: body[name] for name in _STATED if name in body})
            if kind == "receive" or found.left_um2:  # what was thrown away and is found again is there
                found = replace(found, state=OPEN)
        elif kind in {"cut", "recut", "remnant"}:
            left = max(0, self.left_um2 - body["took_um2"])
            found = replace(self, left_um2=body.get("left_um2", left))
        elif kind == "scrap":
            found = replace(self, left_um2=0, rectangles=(), state=SCRAP)
        else:
            raise ValueError(f"a lot has no entry '{kind}'")
        if "rectangles" in body:
            found = replace(found, rectangles=tuple((along, across) for along, across in body["rectangles"]))
        return replace(found, reserved_um2=min(found.reserved_um2, found.left_um2))


_STATED: Final = ("left_um2", "reserved_um2", "thickness_min_um", "thickness_max_um")


@dataclass(frozen=True, slots=True)
class SupplyBalance:
    """A supply as its entries leave it; ``left_base`` None where nothing is used up.

    ``sorts``: for a type case, sign to (good and worn together, worn).
    """

    left_base: int | None = None
    sorts: Mapping[str, tuple[int, int]] | None = field(default=None)
    state: str = ACTIVE

    def after(self, kind: str, body: Mapping[str, Any]) -> SupplyBalance:
        """Return the balance after an entry. Raises ValueError for another kind."""
        if kind == "receive" and ("add_base" in body or "add_sorts" in body):
            return self._moved(body.get("add_base", 0), body.get("add_sorts", {}))
        if kind in {"receive", "count"}:
            sorts = body.get("sorts")
            stated = {sign: (count, worn) for sign, (count, worn) in sorts.items()} if sorts is not None else {}
            whole = {**(self.sorts or {}), **stated} if sorts is not None else self.sorts
            left = body.get("left_base", self.left_base)
            return SupplyBalance(left, whole, body.get("state") or _state_of(left))
        if kind == "use":
            return self._moved(-body["used_base"], {})
        if kind == "wear":
            return replace(self, sorts=self._worn(body["sorts"]))
        raise ValueError(f"a supply has no entry '{kind}'")

    def _moved(self, more: int, sorts: Mapping[str, int]) -> SupplyBalance:
        left = None if self.left_base is None else max(0, self.left_base + more)
        cases = dict(self.sorts or {})
        for sign, count in sorts.items():
            there, worn = cases.get(sign, (0, 0))
            cases[sign] = (there + count, worn)
        # Using some of what was declared out does not bring it back; more of it does.
        state = self.state if more < 0 and left else _state_of(left)
        return SupplyBalance(left, None if self.sorts is None else cases, state)

    def _worn(self, sorts: Mapping[str, int]) -> dict[str, tuple[int, int]]:
        """Return the sorts with some more worn, or with fewer where they were put right (a figure below zero)."""
        cases = dict(self.sorts or {})
        for sign, count in sorts.items():
            there, worn = cases.get(sign, (0, 0))
            cases[sign] = (there, min(there, max(0, worn + count)))
        return cases


def _state_of(left: int | None) -> str:
    return OUT if left == 0 else ACTIVE


def lot_after(entries: Iterable[Entry]) -> LotBalance:
    """Return what a lot's entries leave, from nothing."""
    balance = LotBalance()
    for kind, body in entries:
        balance = balance.after(kind, body)
    return balance


def supply_after(entries: Iterable[Entry]) -> SupplyBalance:
    """Return what a supply's entries leave, from nothing."""
    balance = SupplyBalance()
    for kind, body in entries:
        balance = balance.after(kind, body)
    return balance
