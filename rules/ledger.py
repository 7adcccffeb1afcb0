"""Balances: what the entries of a lot or of a supply add up to.

One function takes one entry to the next balance. Whoever writes a row and whoever audits it later
call the same, so that a row is never more than a copy of what its entries say.

Entries say what is: a figure that was taken is subtracted, one that was counted replaces whatever
stood there. Figures are whole: um2, um, ul, pieces.

Entries of a lot:

* ``receive``: ``left_um2``, ``reserved_um2``, ``thickness_min_um``, ``thickness_max_um``, ``rectangles``; the first;
* ``measure`` and ``count``: any of ``left_um2``, ``thickness_min_um``, ``thickness_max_um``, ``rectangles``;
* ``cut``, ``recut`` and ``remnant``: ``took_um2``, and ``rectangles`` as they are afterwards;
* ``scrap``: nothing is left.

Entries of a supply, ``left_base`` being um, ul or pieces:

* ``receive``: ``left_base``, ``sorts``, ``state`` as the first; later ``add_base``, or ``add_sorts``, sign to count;
* ``count``: ``left_base``, or ``sorts``, sign to [good and worn, worn]; signs that are not named stay;
* ``use``: ``used_base``;
* ``wear``: ``sorts``, sign to how many more of them are worn.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

#: An entry with its kind and the fields of the kind.
Entry = Mapping[str, Any]
#: How many sorts of a sign there are, worn ones among them, and how many are worn.
Sorts = tuple[int, int]

OPEN: Final = "open"
SCRAP: Final = "scrap"
ACTIVE: Final = "active"
OUT: Final = "out"


class LedgerError(ValueError):
    """An entry that cannot follow the ones before it."""


@dataclass(frozen=True, slots=True)
class LotBalance:
    """A lot: areas in um2, thickness in um, free rectangles as (along, across) in um. ``state``: open or scrap."""

    left_um2: int
    reserved_um2: int
    thickness_min_um: int
    thickness_max_um: int
    rectangles: tuple[tuple[int, int], ...]
    state: str = OPEN


@dataclass(frozen=True, slots=True)
class SupplyBalance:
    """A supply: what is left in um, ul or pieces, or a type case by sign. ``state``: active or out.

    ``left_base`` is None for a type case, and where nothing is ever used up.
    """

    left_base: int | None
    sorts: Mapping[str, Sorts] | None
    state: str = ACTIVE


def lot_after(entries: Iterable[Entry]) -> LotBalance:
    """Return the balance of a lot, its entries oldest first.

    Raises:
        LedgerError: The first is no ``receive``, a later one is, or a kind is not known.
    """
    balance: LotBalance | None = None
    for entry in entries:
        balance = apply_to_lot(balance, entry)
    if balance is None:
        raise LedgerError("there is no entry")
    return balance


def supply_after(entries: Iterable[Entry]) -> SupplyBalance:
    """Return the balance of a supply, its entries oldest first.

    Raises:
        LedgerError: The first is no ``receive``, a kind is not known, or does not suit the supply.
    """
    balance: SupplyBalance | None = None
    for entry in entries:
        balance = apply_to_supply(balance, entry)
    if balance is None:
        raise LedgerError("there is no entry")
    return balance


def apply_to_lot(balance: LotBalance | None, entry: Entry) -> LotBalance:
    """Return the balance of a lot after one more entry; None is a lot that is not there yet.

    Raises:
        LedgerError: The entry cannot follow.
    """
    kind = entry["kind"]
    if balance is None:
        if kind != "receive":
            raise LedgerError(f"a lot begins with receive, not with {kind}")
        return _opened_lot(entry)
    move = _LOT_MOVES.get(kind)
    if move is None:
        raise LedgerError(f"{kind} is nothing that happens to a lot that is here")
    return move(balance, entry)


def apply_to_supply(balance: SupplyBalance | None, entry: Entry) -> SupplyBalance:
    """Return the balance of a supply after one more entry; None is a supply that is not there yet.

    Raises:
        LedgerError: The entry cannot follow.
    """
    kind = entry["kind"]
    if balance is None:
        if kind != "receive":
            raise LedgerError(f"a supply begins with receive, not with {kind}")
        return SupplyBalance(entry["left_base"], _sorts_of(entry["sorts"]), entry["state"])
    moves = _CASE_MOVES if balance.sorts is not None else {} if balance.left_base is None else _AMOUNT_MOVES
    if kind not in moves:
        raise LedgerError(f"{kind} is nothing that happens to this supply")
    return moves[kind](balance, entry)


def _opened_lot(entry: Entry) -> LotBalance:
    return _within(
        LotBalance(
            left_um2=entry["left_um2"],
            reserved_um2=entry["reserved_um2"],
            thickness_min_um=entry["thickness_min_um"],
            thickness_max_um=entry["thickness_max_um"],
            rectangles=_rectangles(entry["rectangles"]),
        )
    )


def _counted(balance: LotBalance, entry: Entry) -> LotBalance:
    """Return what was found. A lot that was thrown away and is found again is open."""
    left = entry.get("left_um2", balance.left_um2)
    found = replace(
        balance,
        left_um2=left,
        thickness_min_um=entry.get("thickness_min_um", balance.thickness_min_um),
        thickness_max_um=entry.get("thickness_max_um", balance.thickness_max_um),
        state=OPEN if left else balance.state,
    )
    return _within(_laid(found, entry))


def _taken(balance: LotBalance, entry: Entry) -> LotBalance:
    return _within(_laid(replace(balance, left_um2=balance.left_um2 - entry["took_um2"]), entry))


def _scrapped(balance: LotBalance, _entry: Entry) -> LotBalance:
    return replace(balance, left_um2=0, reserved_um2=0, rectangles=(), state=SCRAP)


def _laid(balance: LotBalance, entry: Entry) -> LotBalance:
    stated = entry.get("rectangles")
    return balance if stated is None else replace(balance, rectangles=_rectangles(stated))


def _within(balance: LotBalance) -> LotBalance:
    """Return the balance with nothing below zero; what is not there cannot be reserved."""
    left = max(0, balance.left_um2)
    return replace(balance, left_um2=left, reserved_um2=min(balance.reserved_um2, left))


def _rectangles(stated: Iterable[Iterable[int]]) -> tuple[tuple[int, int], ...]:
    return tuple((along, across) for along, across in stated)


def _added(balance: SupplyBalance, entry: Entry) -> SupplyBalance:
    return _stocked((balance.left_base or 0) + entry["add_base"])


def _found(_balance: SupplyBalance, entry: Entry) -> SupplyBalance:
    return _stocked(entry["left_base"])


def _used(balance: SupplyBalance, entry: Entry) -> SupplyBalance:
    """Return what is left. Use never makes a supply active that was declared out."""
    left = max(0, (balance.left_base or 0) - entry["used_base"])
    return replace(balance, left_base=left, state=balance.state if left else OUT)


def _stocked(left: int) -> SupplyBalance:
    return SupplyBalance(left, None, ACTIVE if left else OUT)


def _more_sorts(balance: SupplyBalance, entry: Entry) -> SupplyBalance:
    cases = _cases(balance)
    for sign, more in entry["add_sorts"].items():
        count, worn = cases.get(sign, (0, 0))
        cases[sign] = count + more, worn
    return replace(balance, sorts=cases)


def _counted_sorts(balance: SupplyBalance, entry: Entry) -> SupplyBalance:
    return replace(balance, sorts={**_cases(balance), **(_sorts_of(entry["sorts"]) or {})})


def _worn_sorts(balance: SupplyBalance, entry: Entry) -> SupplyBalance:
    cases = _cases(balance)
    for sign, more in entry["sorts"].items():
        count, worn = cases.get(sign, (0, 0))
        cases[sign] = count, min(count, worn + more)
    return replace(balance, sorts=cases)


def _cases(balance: SupplyBalance) -> dict[str, Sorts]:
    return dict(balance.sorts or {})


def _sorts_of(stated: Mapping[str, Iterable[int]] | None) -> dict[str, Sorts] | None:
    if stated is None:
        return None
    return {sign: (count, min(count, worn)) for sign, (count, worn) in stated.items()}


_LotMove = Callable[[LotBalance, Entry], LotBalance]
_SupplyMove = Callable[[SupplyBalance, Entry], SupplyBalance]
_LOT_MOVES: Final[Mapping[str, _LotMove]] = {
    "measure": _counted,
    "count": _counted,
    "cut": _taken,
    "recut": _taken,
    "remnant": _taken,
    "scrap": _scrapped,
}
_AMOUNT_MOVES: Final[Mapping[str, _SupplyMove]] = {"receive": _added, "count": _found, "use": _used}
_CASE_MOVES: Final[Mapping[str, _SupplyMove]] = {"receive": _more_sorts, "count": _counted_sorts, "wear": _worn_sorts}
