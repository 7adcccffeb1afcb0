"""What the lots of a leather can hold: area with yield, and one layout of every panel.

Both are independent limits. Area is exact: the sum of (cut width + gap)(cut height + gap)
held against free area times yield. The layout is the procedure of :mod:`rules.layout`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Any

from catalog.model import Catalog, HeldPanel, Kind, Lot
from rules.layout import EXACT_UP_TO, Layout, Piece, Rect, lay_out
from rules.memo import Memo


def net_um2(pieces: Iterable[Piece | HeldPanel], gap_um: int) -> int:
    """Return the area of panels with their gap, before yield."""
    return sum(piece.count * (piece.along_um + gap_um) * (piece.across_um + gap_um) for piece in pieces)


def need_um2(pieces: Iterable[Piece | HeldPanel], gap_um: int, kind: Kind) -> Fraction:
    """Return the hide area that panels use up, yield counted."""
    return net_um2(pieces, gap_um) / kind.yield_ratio


def held_pieces(lot: Lot) -> list[Piece]:
    """Return the panels held in a lot as the layout takes them."""
    return [Piece(each.along_um, each.across_um, each.turnable, each.count, HELD) for each in lot.held]


#: Label of panels held for others.
HELD = "held"
#: Results remembered; a shop that is asked for ever new quantities must not fill the memory.
MOST_REMEMBERED = 20_000
#: In haste: steps of an exact layout, and panels in one lot. Measured over all patterns and lots of the demo, a layout
#: of so many panels takes a tenth of a millisecond on average and 13 ms at most.
HURRIED_STEPS = 2_000
HURRIED_PANELS = 60


class TooLongError(Exception):
    """An answer in haste would take too long; nothing is decided."""


class Warehouse:
    """What was already worked out about lots, each named as it stands (:attr:`catalog.goods.Lot.key`).

    ``holdings``, ``cuts``, ``shapes`` and ``costs`` keep results of :mod:`rules.case`,
    :mod:`rules.cutting` and :mod:`rules.cost` by all that they follow from. Nothing kept is wrong at
    another stock revision: a lot that changed has another key.
    """

    def __init__(self, gap_um: int) -> None:
        self.gap_um = gap_um
        self.layouts: Memo[Layout] = Memo(MOST_REMEMBERED)
        self.holdings: Memo[Any] = Memo(MOST_REMEMBERED)
        self.cuts: Memo[Any] = Memo(MOST_REMEMBERED)
        self.shapes: Memo[Any] = Memo(MOST_REMEMBERED)
        self.costs: Memo[int] = Memo(MOST_REMEMBERED)

    def layout(self, pieces: Sequence[Piece], lot: Lot) -> Layout:
        """Return the joint layout of panels, and of those held for others, in one lot's free rectangles."""
        ordered = tuple(sorted([*pieces, *held_pieces(lot)]))
        return self.layouts.get((ordered, lot.key), lambda: self._lay_out(ordered, lot))

    def _lay_out(self, pieces: tuple[Piece, ...], lot: Lot) -> Layout:
        return lay_out(pieces, self.rects_of(lot), self.gap_um)

    @staticmethod
    def rects_of(lot: Lot) -> list[Rect]:
        """Return a lot's free rectangles as the layout takes them."""
        return [Rect(rect.along_um, rect.across_um) for rect in lot.rectangles]

    def holds(self, pieces: Sequence[Piece], lot: Lot, kind: Kind) -> bool:
        """Whether one lot holds the panels beside those held for others, by area and by layout."""
        share = Fraction(kind.yield_ratio)
        net = net_um2(pieces, self.gap_um) + net_um2(lot.held, self.gap_um)
        if net * share.denominator > lot.usable_um2 * share.numerator:
            return False
        return self.layout(pieces, lot).found


def warehouse_of(catalog: Catalog) -> Warehouse:
    """Return an empty warehouse with the gap that a catalog leaves between panels."""
    return Warehouse(int(catalog.thresholds["nest_gap_mm"].value))


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
