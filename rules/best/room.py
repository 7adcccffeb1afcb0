"""One lot as the choice among wishes sees it: area, and whether panels lie beside those held there."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import Enum
from fractions import Fraction
from typing import Final

from catalog.model import Lot
from rules.layout import EXACT_UP_TO, Piece, lay_out
from rules.layout.panels import Sheet
from rules.stock import HELD, Warehouse, held_pieces, net_um2

Size = tuple[int, int, bool]
"""Along, across (micrometers, as cut) and whether it may be turned, as :func:`rules.layout.panels.size_of` names it."""
Counts = Mapping[Size, int]
#: Steps of one exact layout: a tenth of a second. What takes longer counts as not found.
STEPS: Final = 20_000


class Lies(Enum):
    """Whether panels lie in a lot: found, proven impossible, or not found."""

    YES = "found"
    NO = "impossible"
    UNPROVEN = "not found"


class Room:
    """A lot with all that is held in it. What was found out is kept."""

    def __init__(self, lot: Lot, yield_ratio: Fraction, gap_um: int) -> None:
        self.code = lot.code
        self.gap_um = gap_um
        self.rects = Warehouse.rects_of(lot)
        self.held = held_pieces(lot)
        share = Fraction(yield_ratio)
        held = net_um2(self.held, gap_um)
        self.by_yield_um2 = lot.usable_um2 * share.numerator // share.denominator - held
        self.rects_um2 = sum(sheet.along * sheet.across for sheet in self.sheets)
        self.by_rects_um2 = self.rects_um2 - held
        self.calls = 0
        self._known: dict[tuple[tuple[Size, int], ...], Lies] = {}

    @property
    def sheets(self) -> list[Sheet]:
        """Return the free rectangles, each enlarged by the gap as the layout takes them."""
        return [Sheet(rect.along_um + self.gap_um, rect.across_um + self.gap_um) for rect in self.rects]

    def net_um2(self, size: Size) -> int:
        """Return the area of one panel with its gap."""
        return (size[0] + self.gap_um) * (size[1] + self.gap_um)

    def verdict(self, counts: Counts) -> Lies:
        """Return whether panels lie here beside those held, by area with yield and by layout.

        The layout is the service's one procedure, with fewer steps for its exact search: what is found
        here is found there, what is proven here is true.
        """
        if sum(self.net_um2(size) * count for size, count in counts.items()) > self.by_yield_um2:
            return Lies.NO
        key = tuple(sorted((size, count) for size, count in counts.items() if count))
        found = self._known.get(key)
        if found is None:
            found = self._known[key] = self._lies(key)
        return found

    def _lies(self, counts: Iterable[tuple[Size, int]]) -> Lies:
        if not counts:
            return Lies.YES
        self.calls += 1
        pieces = [Piece(*size, count) for size, count in counts]
        layout = lay_out([*pieces, *self.held], self.rects, self.gap_um, STEPS)
        if layout.found:
            return Lies.YES
        return Lies.NO if layout.exact or self._largest_do_not_lie(pieces) else Lies.UNPROVEN

    def _largest_do_not_lie(self, pieces: list[Piece]) -> bool:
        """Whether the largest panels alone, as many as are laid out exactly, are proven not to lie."""
        some, left = [], EXACT_UP_TO
        for piece in sorted([*pieces, *self.held], key=lambda each: (-each.along_um * each.across_um, each)):
            if left:
                some.append(Piece(piece.along_um, piece.across_um, piece.turnable, min(left, piece.count), HELD))
                left -= some[-1].count
        layout = lay_out(some, self.rects, self.gap_um, STEPS)
        return not layout.found and layout.exact

    def least(self, counts: Counts, verdict: Lies) -> dict[Size, int]:
        """Return fewest panels of those given for which the verdict is still the same, or worse, size by size."""
        left = {size: count for size, count in counts.items() if count}
        for size in sorted(left, key=lambda each: (self.net_um2(each), each)):
            low, high = 0, left[size]
            while low < high:
                middle = (low + high) // 2
                said = self.verdict({**left, size: middle})
                if said is Lies.NO or said is verdict:
                    high = middle
                else:
                    low = middle + 1
            left[size] = high
        return {size: count for size, count in left.items() if count}

    def covers(self, one: Size, other: Size) -> bool:
        """Whether a panel of one size takes the place of one of another, however either may lie."""
        if one == other:
            return True
        straight = one[0] >= other[0] and one[1] >= other[1]
        turned = one[0] >= other[1] and one[1] >= other[0]
        if other[2]:
            return straight or turned
        return straight and (not one[2] or turned)
