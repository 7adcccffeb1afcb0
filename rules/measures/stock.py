"""Measures of leather in stock: area, layout, reserve, drift between lots (STO)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from catalog.model import Leather, Lot, Number, Pattern
from rules.case import Case
from rules.subjects import Scope, Whole, pointers
from rules.vocabulary import Group, number, subject, truth


@dataclass(frozen=True)
class LeatherUse(Scope):
    """A leather of the piece, with every part that is cut from it."""

    leather: Leather
    used_in: tuple[str, ...]

    @property
    def parts(self) -> tuple[str, ...]:
        """The parts cut from it."""
        return self.used_in

    @property
    def at(self) -> tuple[str, ...]:
        """The parts cut from it."""
        return pointers(self.used_in)

    @property
    def subject(self) -> dict[str, Any]:
        """The leather."""
        return {"leather": self.leather.code}

    @property
    def params(self) -> dict[str, Any]:
        """The leather."""
        return {"leather": self.leather.code}

    @property
    def words(self) -> dict[str, str]:
        """The leather's name and its parts."""
        return {"leather": self.leather.name, "parts": " and ".join(self.used_in)}

    @property
    def lots(self) -> tuple[Lot, ...]:
        """Every lot used for any of the parts, each once."""
        found = (lot for part in self.used_in for lot in self.case.lots_for(part))
        return tuple({lot.code: lot for lot in found}.values())


def _sharing(_: Pattern, leathers: Iterable[Group]) -> Iterable[Group]:
    return leathers


@subject("leather", "each leather of the piece", ("leather", "parts"), reads=["leather"], groups=_sharing)
def each_leather(case: Case) -> Iterator[LeatherUse]:
    """List the leathers of the piece, each once."""
    for code, parts in case.piece.cut_from.items():
        yield LeatherUse(case, case.piece.catalog.leathers[code], parts)


@number("leather.needed", "dm2", "leather needed, with yield", reads=["leather", "quantity", "sizes", "pattern"])
def needed(use: LeatherUse) -> Fraction:
    """Return the area of all parts x quantity, yield counted, um2."""
    return use.case.holding(use.leather.code).need_um2


@number("leather.free", "dm2", "free leather in all lots", reads=["lots"])
def free(use: LeatherUse) -> int:
    """Return the free area of every lot of the leather, um2."""
    return use.case.holding(use.leather.code).free_um2


@number("leather.left_after", "dm2", "leather left after this order", reads=["lots", "quantity", "sizes"])
def left_after(use: LeatherUse) -> Number:
    """Return free less needed, um2."""
    return free(use) - needed(use)


@number("leather.reserve", "dm2", "reserve kept for repairs", reads=["leather"])
def reserve(use: LeatherUse) -> int:
    """Return the leather's reserve, um2."""
    return use.leather.reserve_um2


@truth("leather.short", "the leather is short by area", reads=["lots", "quantity", "sizes"])
def short(use: LeatherUse) -> bool:
    """Whether more is needed than all lots have free."""
    return needed(use) > free(use)


@truth("leather.lies", "the lots given hold every panel", reads=["lots", "quantity", "sizes"])
def lies(use: LeatherUse) -> bool:
    """Whether all panels lie in the free rectangles of the lots given, area respected."""
    return use.case.holding(use.leather.code).share is not None


@truth("leather.last_lot", "the leather is in its last lot", reads=["leather"])
def last_lot(use: LeatherUse) -> bool:
    """Whether the leather cannot be had again."""
    return use.leather.status == "last_lot"


@number("leather.lots_drift", "de00", "color distance that two lots of the piece may add up to", reads=["lots"])
def lots_drift(use: LeatherUse) -> int | None:
    """Return the sum of the two largest distances to standard among the lots used; None for one lot."""
    drifts = sorted((lot.drift_milli for lot in use.lots), reverse=True)
    return sum(drifts[:2]) if len(drifts) > 1 else None


@number("leather.face_lots", "count", "lots that the sides seen together are cut from", reads=["lots", "pattern"])
def face_lots(use: LeatherUse) -> int | None:
    """Return how many lots the parts of this leather that are seen side by side come from.

    None where the template does not say which are, or where none of them has its lots.
    """
    faces = () if use.case.pattern is None else use.case.pattern.faces
    lots = {lot.code for part in use.used_in if part in faces for lot in use.case.lots_for(part)}
    return len(lots) or None


@dataclass(frozen=True)
class PartShare(LeatherUse):
    """A part with its share of a leather: whether the lots hold it depends on every part cut from it."""

    part: str

    @property
    def at(self) -> tuple[str, ...]:
        """The part alone."""
        return pointers((self.part,))

    @property
    def subject(self) -> dict[str, Any]:
        """The part."""
        return {"part": self.part}

    @property
    def words(self) -> dict[str, str]:
        """The leather's name and the part."""
        return {"leather": self.leather.name, "part": self.part}


@subject("share", "each part's share of its leather", ("leather", "part"), reads=["leather"], groups=_sharing)
def each_share(case: Case) -> Iterator[PartShare]:
    """List the parts whose leather is known."""
    for use in each_leather(case):
        yield from (PartShare(case, use.leather, use.used_in, part) for part in use.used_in)


@truth("share.several_lots", "the part is cut from several lots", reads=["lots"])
def several_lots(use: PartShare) -> bool:
    """Whether more than one lot is given to the part."""
    return len(use.case.lots_for(use.part)) > 1


@truth("share.lies", "the lots of the part's leather hold every panel", reads=["lots", "quantity", "sizes"])
def share_lies(use: PartShare) -> bool:
    """Whether the leather is neither short nor without a layout."""
    return use.case.holding(use.leather.code).share is not None


@truth("piece.outside_grade_a", "the outside comes from grade A only", reads=["lots"], of=("outside",))
def outside_grade_a(whole: Whole) -> bool | None:
    """Whether every lot of the outside is grade A; None without a lot."""
    lots = whole.case.outside_lots
    return all(lot.grade == "A" for lot in lots) if lots else None
