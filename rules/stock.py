"""What the lots of a leather can hold: area with yield, and one layout of every panel.

Both are independent limits. Area is exact: the sum of (cut width + gap)(cut height + gap)
held against free area times yield. The layout is the procedure of :mod:`rules.layout`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Any

from catalog.model import Kind, Lot
from rules.layout import EXACT_UP_TO, Layout, Piece, Rect, lay_out
from rules.memo import Memo


def net_um2(pieces: Iterable[Piece], gap_um: int) -> int:
    """Return the area of panels with their gap, before yield."""
    return sum(piece.count * (piece.along_um + gap_um) * (piece.across_um + gap_um) for piece in pieces)


def need_um2(pieces: Iterable[Piece], gap_um: int, kind: Kind) -> Fraction:
    """Return the hide area that panels use up, yield counted."""
    return net_um2(pieces, gap_um) / kind.yield_ratio


#: Results remembered; a shop that is asked for ever new quantities must not fill the memory.
MOST_REMEMBERED = 20_000
#: In haste: steps of an exact layout, and panels in one lot. Measured over all patterns and lots of the demo, a layout
#: of so many panels takes a tenth of a millisecond on average and 13 ms at most.
HURRIED_STEPS = 2_000
HURRIED_PANELS = 60


class TooLongError(Exception):
    """An answer in haste would take too long; nothing is decided."""


class Warehouse:
    """The lots as they stand at one stock revision, with what was already worked out about them.

    ``holdings``, ``cuts``, ``shapes`` and ``costs`` keep results of :mod:`rules.case`,
    :mod:`rules.cutting` and :mod:`rules.cost` by all that they follow from.
    """

    def __init__(self, gap_um: int) -> None:
        self.gap_um = gap_um
        self.layouts: Memo[Layout] = Memo(MOST_REMEMBERED)
        self.holdings: Memo[Any] = Memo(MOST_REMEMBERED)
        self.cuts: Memo[Any] = Memo(MOST_REMEMBERED)
        self.shapes: Memo[Any] = Memo(MOST_REMEMBERED)
        self.costs: Memo[int] = Memo(MOST_REMEMBERED)

    def layout(self, pieces: Sequence[Piece], lot: Lot) -> Layout:
        """Return the layout of the panels in one lot's free rectangles."""
        ordered = tuple(sorted(pieces))
        return self.layouts.get((ordered, lot.code), lambda: self._lay_out(ordered, lot))

    def _lay_out(self, pieces: tuple[Piece, ...], lot: Lot) -> Layout:
        return lay_out(pieces, self.rects_of(lot), self.gap_um)

    @staticmethod
    def rects_of(lot: Lot) -> list[Rect]:
        """Return a lot's free rectangles as the layout takes them."""
        return [Rect(rect.along_um, rect.across_um) for rect in lot.rectangles]

    def holds(self, pieces: Sequence[Piece], lot: Lot, kind: Kind) -> bool:
        """Whether one lot holds the panels, by area and by layout."""
        share = Fraction(kind.yield_ratio)
        if net_um2(pieces, self.gap_um) * share.denominator > lot.free_um2 * share.numerator:
            return False
        return self.layout(pieces, lot).found


class HurriedWarehouse(Warehouse):
    """A warehouse that shares what another has worked out and itself works out only what is quick."""

    def __init__(self, patient: Warehouse) -> None:
        super().__init__(patient.gap_um)
        self.layouts, self.holdings = patient.layouts, patient.holdings
        self.cuts, self.shapes, self.costs = patient.cuts, patient.shapes, patient.costs

    def _lay_out(self, pieces: tuple[Piece, ...], lot: Lot) -> Layout:
        """Lay out few panels.

        Raises:
            TooLongError: There are too many, or it takes more than a few thousand steps.
        """
        count = sum(piece.count for piece in pieces)
        if count > HURRIED_PANELS:
            raise TooLongError
        layout = lay_out(pieces, self.rects_of(lot), self.gap_um, HURRIED_STEPS)
        if count <= EXACT_UP_TO and not layout.exact:
            raise TooLongError
        return layout
