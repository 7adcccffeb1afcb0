"""A spec: what is asked for, as the caller wrote it, in exact units.

Codes are kept as written; :mod:`rules.piece` resolves them against a catalog. ``None`` and
an empty collection mean absent; ``cards = 0`` means zero.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from types import MappingProxyType
from typing import Final
from unicodedata import category

from catalog.model import Number

_EMPTY: Mapping[str, str] = MappingProxyType({})


#: Unicode categories of signs that leave the paper white, and letters that do.
_UNSEEN: Final = frozenset({"Zs", "Zl", "Zp", "Cc", "Cf"})
_BLANKS: Final = frozenset("\u115f\u1160\u2800\u3164\uffa0")


@dataclass(frozen=True, slots=True)
class PartChoice:
    """A leather for one part; ``side`` None means the default, grain."""

    leather: str | None
    side: str | None = None


@dataclass(frozen=True, slots=True)
class Monogram:
    """Letters to be set. ``text`` is kept exactly (Unicode NFC)."""

    text: str
    method: str | None = None
    typeface: str | None = None
    zone: str | None = None
    foil: str | None = None
    artwork: bool = False


@dataclass(frozen=True, slots=True)
class NoteAsked:
    """Banknotes to carry: an item code and how many."""

    item: str
    count: int = 1


@dataclass(frozen=True, slots=True)
class BusinessCardsAsked:
    """Business cards to carry."""

    item: str
    count: int = 1


@dataclass(frozen=True, slots=True)
class Blade:
    """A blade to be sheathed, in micrometers."""

    width_um: int
    thickness_um: int
    length_um: int


@dataclass(frozen=True, slots=True)
class Notebook:
    """A notebook, closed and standing, in micrometers.

    ``item`` is the code of a published size; sizes of its own count before it. ``block_um`` is how thick its
    pages are together, pressed flat, None where nobody measured.
    """

    item: str | None = None
    width_um: int | None = None
    height_um: int | None = None
    block_um: int | None = None


@dataclass(frozen=True, slots=True)
class Carry:
    """What the piece must hold. ``passport_um`` is the booklet's thickness.

    ``tools`` are codes of a pen, a comb, spectacles; ``worn_in`` names the pocket of clothes that the piece
    itself is to go into: back_pocket, front_pocket or inside_pocket.
    """

    cards: int | None = None
    notes: tuple[NoteAsked, ...] = ()
    business_cards: BusinessCardsAsked | None = None
    passport_um: int | None = None
    passport: bool = False
    blade: Blade | None = None
    notebook: Notebook | None = None
    tools: tuple[str, ...] = ()
    worn_in: str | None = None


@dataclass(frozen=True, slots=True)
class Purpose:
    """What the piece is for. ``use`` must be said where the load is bearing."""

    use: str | None = None
    claims: tuple[str, ...] = ()
    dog_kg: Number | None = None
    child_under_3: bool = False


@dataclass(frozen=True, slots=True)
class LotThen:
    """A lot that an earlier order was cut from: its code, and its CIEDE2000 distance to the leather's standard."""

    code: str
    drift_milli: int


@dataclass(frozen=True, slots=True)
class CutThen:
    """What a part of an earlier order was cut from. Codes as the catalog writes them."""

    leather: str
    side: str
    lots: tuple[LotThen, ...]


@dataclass(frozen=True, slots=True)
class Repeated:
    """An earlier order that a spec repeats, with what each part of it was cut from.

    Looked up by whoever keeps the orders: a caller names the order (``repeat_of``), never its lots.
    """

    order: str
    drifts: Mapping[str, CutThen]

    def __hash__(self) -> int:
        """Return the same number for equal orders, in whatever order their parts stand."""
        return hash((self.order, frozenset(self.drifts.items())))


#: The pockets of clothes that a piece may be worn in.
WORN_IN: Final = ("back_pocket", "front_pocket", "inside_pocket")

#: What most specs ask: nothing special. One of each, so that it is known at a glance.
NO_CARRY = Carry()
NO_PURPOSE = Purpose()


@dataclass(frozen=True, slots=True)
class Spec:
    """One order line as asked for.

    ``marks_ok`` and ``mixed_metals_ok`` are answers of the customer's, None where nobody asked.
    """

    pattern: str
    parts: Mapping[str, PartChoice] = field(default_factory=dict)
    thread: str | None = None
    stitch: str | None = None
    edge: str | None = None
    hardware: Mapping[str, str] = field(default_factory=lambda: _EMPTY)
    sizes_um: Mapping[str, int] = field(default_factory=dict)
    monogram: Monogram | None = None
    modifications: tuple[str, ...] = ()
    carry: Carry = NO_CARRY
    purpose: Purpose = NO_PURPOSE
    quantity: int = 1
    ship_to: str | None = None
    rush: bool = False
    ready_by: date | None = None
    lots: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    repeat_of: str | None = None
    repeats: Repeated | None = None
    catalog_revision: str | None = None
    marks_ok: bool | None = None
    mixed_metals_ok: bool | None = None
    reference: str | None = None
    note: str | None = None

    @property
    def noted(self) -> bool:
        """Whether there is a note with anything to read."""
        return any(sign not in _BLANKS and category(sign) not in _UNSEEN for sign in self.note or "")
