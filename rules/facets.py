"""What of a piece a rule may read, as small whole numbers: the same number, the same to the rule.

One facet for each word of :data:`rules.vocabulary.READS` that can differ between two specs of a
pattern on one day; leather, side and lots stand once for each part. What is in stock of a thing is
part of its facet, so that words kept stay true when the stock changes: a thread of which less is left
is another thread to the rules.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping
from itertools import count
from types import MappingProxyType
from typing import Any, Final

from catalog.model import Lot
from rules.piece import Piece
from rules.spec import Carry, Purpose
from rules.vocabulary import BY_PART, READS, SAME_FOR_ALL

#: What is there when nothing was asked for.
EMPTY: Final[Mapping[str, Hashable]] = MappingProxyType(
    {
        "named": (), "carry": Carry(), "monogram": None, "hardware": (), "foreign": (), "purpose": Purpose(),
        "modifications": (), "sizes": (),
    }
)  # fmt: skip
Facet = tuple[str, str]
"""What is read, and of which part ("" where it is not read by part)."""


def _thread(piece: Piece) -> Hashable:
    """A match reads the outside too, so what it came to counts beside what was written."""
    asked, found = piece.spec.thread, piece.thread
    return asked if found is None else (asked, found.code, found.left_um, found.status)


def _edge(piece: Piece) -> Hashable:
    asked, found = piece.spec.edge, piece.edge
    return asked if found is None else (asked, found.code, found.left_ul, found.status)


def _hardware(piece: Piece) -> Hashable:
    asked = piece.spec.hardware
    if not asked:
        return ()
    find = piece.indexes.hardware.find
    found = ((slot, code, find(code)) for slot, code in asked.items())
    return tuple((slot, code, None if each is None else each.stock) for slot, code, each in found)


def _monogram(piece: Piece) -> Hashable:
    asked = piece.spec.monogram
    if asked is None:
        return None
    return asked.method, asked.typeface, asked.zone, asked.foil, asked.artwork, piece.indexes.marking_stock


def _letters(piece: Piece) -> Hashable:
    asked = piece.spec.monogram
    return None if asked is None else asked.text


def _lots_named(piece: Piece) -> Hashable:
    find = piece.indexes.lots.find
    return tuple(
        (part, tuple((code, None if (lot := find(code)) is None else lot.key) for code in codes))
        for part, codes in piece.spec.lots.items()
    )


def _repeat(piece: Piece) -> Hashable:
    """What the order was cut from, not which order it was: no rule and no sentence tells two such apart."""
    repeats = piece.spec.repeats
    return None if repeats is None else frozenset(repeats.drifts.items())


def _backlog(piece: Piece) -> Hashable:
    shop = piece.catalog.workshop
    return shop.backlog_minutes, shop.rush_minutes_per_week


def _foreign(piece: Piece) -> Hashable:
    own = () if piece.pattern is None else piece.pattern.parts
    return tuple((part, asked.leather) for part, asked in piece.spec.parts.items() if part not in own)


#: The value of each facet of the whole piece. What is not listed here is kept by part or is the same for all.
OF_PIECE: Final[Mapping[str, Callable[[Piece], Hashable]]] = MappingProxyType(
    {
        "thread": _thread,
        "edge": _edge,
        "stitch": lambda piece: piece.spec.stitch,
        "hardware": _hardware,
        "sizes": lambda piece: tuple(piece.spec.sizes_um.items()),
        "monogram": _monogram,
        "letters": _letters,
        "modifications": lambda piece: piece.spec.modifications,
        "carry": lambda piece: piece.spec.carry,
        "purpose": lambda piece: piece.spec.purpose,
        "quantity": lambda piece: piece.spec.quantity,
        "ship_to": lambda piece: piece.spec.ship_to,
        "rush": lambda piece: piece.spec.rush,
        "ready_by": lambda piece: piece.spec.ready_by,
        "backlog": _backlog,
        "foreign": _foreign,
        "named": _lots_named,
        "repeat": _repeat,
        "revision": lambda piece: piece.spec.catalog_revision,
        "marks_ok": lambda piece: piece.spec.marks_ok,
        "mixed_metals_ok": lambda piece: piece.spec.mixed_metals_ok,
        "note": lambda piece: piece.spec.noted,
    }
)


def _leather(piece: Piece, part: str) -> Hashable:
    asked = piece.spec.parts.get(part)
    if asked is None:
        return None
    found = piece.parts[part].leather
    # A last lot that is used up retires its leather.
    return asked.leather if found is None else (asked.leather, found.status)


def _species(piece: Piece, part: str) -> Hashable:
    kind = piece.parts[part].kind
    return None if kind is None else kind.species


#: The value of each facet of a part, the lots aside: they are given in the course of a search.
OF_PART: Final[Mapping[str, Callable[[Piece, str], Hashable]]] = MappingProxyType(
    {"leather": _leather, "species": _species, "side": lambda piece, part: piece.parts[part].side}
)
if {*OF_PART, "lots"} != BY_PART or {*OF_PIECE, *BY_PART, *SAME_FOR_ALL} != READS:
    raise AssertionError("something that a rule may read is no facet: it would be overlooked")


def lots_value(lots: Iterable[Lot]) -> Hashable:
    """Return the value of the facet of a part's lots."""
    return tuple(lot.key for lot in lots)


class Names:
    """Numbers for the values of facets. Two threads never give one number to two values."""

    def __init__(self) -> None:
        self._numbers: dict[str, dict[Any, int]] = {read: {} for read in (*OF_PIECE, *BY_PART)}
        self._next = count()

    def known(self, read: str) -> Callable[[Hashable], int | None]:
        """Return a function that gives the number of a value, or None where it was never seen."""
        return self._numbers[read].get

    def number(self, read: str, value: Hashable) -> int:
        """Return the number of a value, a new one where it was never seen."""
        numbers = self._numbers[read]
        found = numbers.get(value)
        return numbers.setdefault(value, next(self._next)) if found is None else found
