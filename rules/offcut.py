"""What is left of a lot after panels were cut from it, where nobody has measured.

A knife cuts from edge to edge of what lies before it, so a panel taken out of a corner of a free
rectangle leaves two: one over the whole of a side, one beside the panel. Both stand the gap away
from the panel and from each other, since they hold panels of their own later.

Default only: whoever has the leather in hand may state other rectangles. Pure and deterministic,
bounded by counted tries, never by time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final, NamedTuple

from catalog.model import HeldPanel
from rules.layout import Piece, Rect, lay_out

#: Ways of cutting looked at before the measures are asked for.
MOST_TRIES: Final = 200
#: Steps of one exact layout. Whatever is found in so few is found in more, so no other check can disagree.
_STEPS: Final = 2_000


class _Block(NamedTuple):
    """Copies of one panel side by side, a gap apart; micrometers, as they lie."""

    copies: int
    along: int
    across: int


class _Cut(NamedTuple):
    """A block taken out of a corner of a rectangle, and what that leaves of it."""

    rect: int
    copies: int
    leaves: tuple[Rect, ...]


def left_after(
    rects: Sequence[Rect], cut: Sequence[Piece | HeldPanel], keep: Sequence[Piece | HeldPanel], gap_um: int
) -> tuple[Rect, ...] | None:
    """Return the rectangles that are left, or None if none were found and the measures must be stated.

    Every panel to be kept lies in what is returned, together with all others of them. Panels that are
    not turnable are cut and kept as they lie.

    Args:
        rects: the free rectangles of the lot, disjoint, in micrometers.
        cut: the panels taken out; sizes in micrometers.
        keep: the panels held in the same lot for others.
        gap_um: least distance between two panels, in micrometers.
    """
    # The largest first: what is small still finds a place in what they leave.
    rest = sorted(
        (_piece(each) for each in cut if each.count), key=lambda each: (-each.along_um * each.across_um, each)
    )
    return _Search(tuple(_piece(each) for each in keep if each.count), gap_um).run(tuple(rects), tuple(rest))


def _piece(panel: Piece | HeldPanel) -> Piece:
    return Piece(panel.along_um, panel.across_um, panel.turnable, panel.count)


class _Search:
    """A search that goes deep first; a way is left as soon as what is still needed does not lie any more."""

    def __init__(self, keep: tuple[Piece, ...], gap_um: int) -> None:
        self._keep = keep
        self._gap = gap_um
        self._tries = 0

    def run(self, rects: tuple[Rect, ...], rest: tuple[Piece, ...]) -> tuple[Rect, ...] | None:
        """Return what is left once the rest is cut, or None."""
        if self._tries >= MOST_TRIES:
            return None
        self._tries += 1
        if not lay_out([*rest, *self._keep], rects, self._gap, _STEPS).found:
            return None
        if not rest:
            return rects
        for way in self._ways(rects, rest[0]):
            # In the place of the one it came from: the order of a lot's rectangles stays as people know it.
            after = (*rects[: way.rect], *way.leaves, *rects[way.rect + 1 :])
            found = self.run(after, _less(rest, way.copies))
            if found is not None:
                return found
        return None

    def _ways(self, rects: Sequence[Rect], piece: Piece) -> list[_Cut]:
        """Return the ways to cut some copies, first those that take many at once and leave a large rectangle."""
        found = dict.fromkeys(
            _Cut(index, block.copies, leaves)
            for index, rect in enumerate(rects)
            for block in _blocks(piece, rect, self._gap)
            for leaves in _splits(rect, block, self._gap)
        )

        def rank(way: _Cut) -> tuple[int, int, int]:
            largest = max((rect.along_um * rect.across_um for rect in way.leaves), default=0)
            return -way.copies, rects[way.rect].along_um * rects[way.rect].across_um, -largest

        return sorted(found, key=rank)  # equal ones stay in the order in which they were found


def _less(rest: tuple[Piece, ...], copies: int) -> tuple[Piece, ...]:
    first, *others = rest
    return (replace(first, count=first.count - copies), *others) if first.count > copies else tuple(others)


def _blocks(piece: Piece, rect: Rect, gap_um: int) -> Iterator[_Block]:
    """Yield a grid that is full along, one that is full across, and a single copy, each way that the panel may lie."""
    sizes = [(piece.along_um, piece.across_um)]
    if piece.turnable:
        sizes.append((piece.across_um, piece.along_um))
    for along, across in sizes:
        most_along = (rect.along_um + gap_um) // (along + gap_um)
        most_across = (rect.across_um + gap_um) // (across + gap_um)
        if not (most_along and most_across):
            continue
        column, row = min(most_along, piece.count), min(most_across, piece.count)
        for n_along, n_across in (
            (column, min(most_across, piece.count // column)),
            (min(most_along, piece.count // row), row),
            (1, 1),
        ):
            yield _Block(n_along * n_across, _side(along, n_along, gap_um), _side(across, n_across, gap_um))


def _side(size_um: int, copies: int, gap_um: int) -> int:
    return copies * (size_um + gap_um) - gap_um


def _splits(rect: Rect, block: _Block, gap_um: int) -> Iterator[tuple[Rect, ...]]:
    """Yield what a block leaves: the whole width behind it and the piece beside it, or the other way round."""
    behind, beside = rect.along_um - block.along - gap_um, rect.across_um - block.across - gap_um
    yield _real((behind, rect.across_um), (block.along, beside))
    yield _real((behind, block.across), (rect.along_um, beside))


def _real(*sides: tuple[int, int]) -> tuple[Rect, ...]:
    return tuple(Rect(along, across) for along, across in sides if along > 0 and across > 0)
