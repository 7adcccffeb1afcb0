"""What is left of a lot after panels were cut from it by straight cuts, where nobody has measured it.

The default of the bench book: each panel is taken from a corner of the smallest free rectangle that
it fits, and the rest of that rectangle is parted by one straight cut from edge to edge into two
free rectangles, the gap apart from the panel and from each other. Which of the two cuts, and which
rectangle, is searched for until what is held for others still lies in what is left.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from catalog.model import HeldPanel
from rules.layout import Piece, Rect, lay_out

#: Whole ways of cutting that are tried before someone is asked to measure.
MOST_TRIES = 200
#: Steps of one layout of what is held for others.
STEPS = 20_000


def left_after(
    rects: Sequence[Rect], cut: Sequence[HeldPanel], keep: Sequence[HeldPanel], gap_um: int
) -> tuple[Rect, ...] | None:
    """Return the free rectangles that straight cuts leave, or None where no way tried leaves room for the others.

    Args:
        rects: free rectangles before, in um; along the backbone, across it.
        cut: the panels that are cut.
        keep: panels held for others in the same lot.
        gap_um: least distance between two panels.
    """
    panels = sorted(
        ((each.along_um, each.across_um, each.turnable) for each in cut for _ in range(each.count)),
        key=lambda size: (-size[0] * size[1], size),
    )
    others = [Piece(each.along_um, each.across_um, each.turnable, each.count, "held") for each in keep]
    for tries, left in enumerate(_ways(tuple(rects), panels, gap_um)):
        if not others or lay_out(others, left, gap_um, STEPS).found:
            return left
        if tries + 1 == MOST_TRIES:
            return None
    return None


def _ways(rects: tuple[Rect, ...], panels: Sequence[tuple[int, int, bool]], gap_um: int) -> Iterator[tuple[Rect, ...]]:
    """Yield what is left, for one way of cutting after another; the likeliest to be of use first."""
    if not panels:
        yield tuple(sorted(rects, key=_by_area, reverse=True))
        return
    (along, across, turnable), *rest = panels
    sizes = [(along, across), (across, along)] if turnable and along != across else [(along, across)]
    for rect in sorted(set(rects), key=_by_area):
        for size in sizes:
            if size[0] <= rect.along_um and size[1] <= rect.across_um:
                others = _without(rects, rect)
                for parts in _parted(rect, *size, gap_um):
                    yield from _ways((*others, *parts), rest, gap_um)


def _parted(rect: Rect, along: int, across: int, gap_um: int) -> list[tuple[Rect, ...]]:
    """Return the two ways to part what a panel in the corner leaves, the larger rest in one piece first."""
    beside, above = rect.along_um - along - gap_um, rect.across_um - across - gap_um
    ways = [
        _whole((beside, rect.across_um), (along, above)),
        _whole((rect.along_um, above), (beside, across)),
    ]
    return sorted(ways, key=lambda parts: -max((_by_area(part)[0] for part in parts), default=0))


def _whole(*sizes: tuple[int, int]) -> tuple[Rect, ...]:
    return tuple(Rect(*size) for size in sizes if min(size) > 0)


def _without(rects: tuple[Rect, ...], rect: Rect) -> tuple[Rect, ...]:
    at = rects.index(rect)
    return rects[:at] + rects[at + 1 :]


def _by_area(rect: Rect) -> tuple[int, int, int]:
    return rect.along_um * rect.across_um, rect.along_um, rect.across_um
