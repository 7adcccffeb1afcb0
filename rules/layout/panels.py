"""Nouns of a layout: panels to lay out, free rectangles, where each panel lies.

All lengths are whole micrometers. *Along* runs along the backbone of the hide, *across* at
right angles to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple


@dataclass(frozen=True, slots=True, order=True)
class Piece:
    """One kind of panel to lay out.

    Attributes:
        along_um: Panel height in micrometers, lies along the backbone.
        across_um: Panel width in micrometers.
        turnable: Whether the panel may be turned by 90 degrees.
        count: Copies to lay out, 0 or more.
        label: Name carried into the placements, e.g. ``"twofold.outside"``.
    """

    along_um: int
    across_um: int
    turnable: bool
    count: int
    label: str = ""


@dataclass(frozen=True, slots=True, order=True)
class Rect:
    """A free rectangle of a lot, in micrometers."""

    along_um: int
    across_um: int


@dataclass(frozen=True, slots=True)
class Placement:
    """One panel laid: its near corner and its size as it lies, in micrometers.

    Attributes:
        label: Label of the piece.
        rect: Index into the rectangles as the caller gave them.
        at_along_um: Distance of the near corner from the rectangle's, along.
        at_across_um: The same, across.
        along_um: Size as it lies, along.
        across_um: Size as it lies, across.
        turned: Whether the panel lies turned by 90 degrees.
    """

    label: str
    rect: int
    at_along_um: int
    at_across_um: int
    along_um: int
    across_um: int
    turned: bool


@dataclass(frozen=True, slots=True)
class Layout:
    """The answer.

    Attributes:
        found: Whether all panels lie.
        placements: Sorted by rectangle, then by place; empty when not found.
        exact: Whether the answer is proven: found, or proven impossible.
    """

    found: bool
    placements: tuple[Placement, ...]
    exact: bool


class Kind(NamedTuple):
    """Panels of one size, each side enlarged by the gap; micrometers.

    With the rectangle enlarged alike, "a gap apart" becomes "not overlapping", and the rim
    needs no gap.
    """

    along: int
    across: int
    turnable: bool
    copies: int

    @property
    def area(self) -> int:
        """Area of one copy in square micrometers."""
        return self.along * self.across


class Sheet(NamedTuple):
    """A rectangle enlarged by the gap; micrometers."""

    along: int
    across: int


class Spot(NamedTuple):
    """Where a copy of a kind lies: index of kind and of sheet, near corner in micrometers."""

    kind: int
    sheet: int
    at_along: int
    at_across: int
    turned: bool


def ways(kind: Kind, sheet: Sheet) -> list[tuple[int, int, bool]]:
    """List the (along, across, turned) in which one copy of a kind lies in a sheet."""
    lying = [(kind.along, kind.across, False)]
    if kind.turnable:
        lying.append((kind.across, kind.along, True))
    return [way for way in lying if way[0] <= sheet.along and way[1] <= sheet.across]


def enlarged(pieces: Sequence[Piece], gap_um: int) -> list[Kind]:
    """Merge pieces of one size into kinds, the largest first.

    The order depends on sizes only, so neither the order of the pieces nor their labels can
    reach a verdict. A square is never turnable: turning it changes nothing.

    Raises:
        ValueError: A size is not positive, or a count or the gap is negative.
    """
    if gap_um < 0:
        raise ValueError(f"gap_um is {gap_um}, must not be negative")
    counts: dict[tuple[int, int, bool], int] = {}
    for piece in pieces:
        if piece.along_um <= 0 or piece.across_um <= 0 or piece.count < 0:
            raise ValueError(f"{piece} must have positive sides and no negative count")
        if piece.count:
            size = size_of(piece)
            counts[size] = counts.get(size, 0) + piece.count
    kinds = [Kind(a + gap_um, b + gap_um, turn, n) for (a, b, turn), n in counts.items()]
    return sorted(kinds, key=lambda kind: (-kind.area, kind))


def size_of(piece: Piece) -> tuple[int, int, bool]:
    """Name the size of a piece: along, across (micrometers), turnable.

    A turnable piece is named with its longer side along, so that two pieces that differ by a
    turn only are one kind.
    """
    along, across = piece.along_um, piece.across_um
    if piece.turnable:
        along, across = max(along, across), min(along, across)
    return along, across, piece.turnable and along != across
