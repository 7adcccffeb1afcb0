"""Measures of a finished piece as it is packed: what lies in the parcel, what it weighs, how it is called."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from catalog.model import Number
from rules.job import Item
from rules.subjects import Scope
from rules.vocabulary import number, stage_subject, truth, word

_UM3_IN_DM3 = 10**15
_CARD = "card"
_BOTH = 2


@dataclass(frozen=True)
class Parcel(Scope):
    """A finished item in its parcel."""

    item: Item

    @property
    def at(self) -> tuple[str, ...]:
        """The whole piece."""
        return ("",)

    @property
    def params(self) -> dict[str, Any]:
        """Its number or numbers, and how many pieces it is."""
        return {"serial": self.serial, "pieces": self.piece.quantity}

    @property
    def serial(self) -> str:
        """The number by which a piece is found again: its order and its place in it, and of several which one it is.

        Of two pieces both are named, of more the first and the last.
        """
        own, pieces = f"{self.item.record}-{self.item.number}", self.piece.quantity
        if pieces == 1:
            return own
        return f"{own}.1{', ' if pieces == _BOTH else ' to '}{own}.{pieces}"

    @property
    def words(self) -> dict[str, str]:
        """The numbers, and the pattern's name."""
        pattern = self.case.pattern
        return {"serial": self.serial, "pattern": "this piece" if pattern is None else pattern.name}


@stage_subject("parcel", "each finished item", ("serial", "pattern"), stages=("pack",), has_case=True)
def the_parcel(item: Item) -> Iterator[Parcel]:
    """List the finished item, if its pattern is known."""
    if item.case.pattern is not None:
        yield Parcel(item.case, item)


@word("parcel.sachet", "what keeps the parcel dry", reads=(), levels=("none", "tested", "untested"))
def sachet(parcel: Parcel) -> str | None:
    """Return none, tested (its maker vouches for it), untested; None where nobody keeps book of it."""
    return parcel.piece.catalog.workshop.parcel_sachet


@truth("parcel.wallet", "it is a piece for cards that bears no load", reads=())
def wallet(parcel: Parcel) -> bool:
    """Whether it is carried in a pocket: places for cards, no load, nothing to hang it by."""
    pattern = parcel.case.pattern
    return (
        pattern is not None
        and pattern.load.load_class == "none"
        and any(pocket.use == _CARD for pocket in pattern.pockets.values())
    )


@number("parcel.weight", "g", "weight of one piece, empty", reads=())
def weight(parcel: Parcel) -> Number | None:
    """Return what one piece weighed, g; where it was not weighed, what its panels come to.

    The estimate leaves thread, edge and hardware out and takes the most that a liter of leather weighs, so it
    is near and no more; None while the lot of a panel is not known.
    """
    if parcel.item.weight_g is not None:
        return parcel.item.weight_g
    volume = 0
    for panel in parcel.case.panels:
        use = parcel.case.shape.thickness(panel.code)
        if use is None:
            return None
        width, height = parcel.case.finished_um(panel)
        volume += panel.count * width * height * use.used_um
    return 1000 * Fraction(volume, _UM3_IN_DM3) * parcel.piece.threshold("leather_kg_per_dm3")
