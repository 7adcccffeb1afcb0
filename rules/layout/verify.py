"""Check of a layout against what was asked, without trust in the search that made it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from rules.layout.panels import Layout, Piece, Placement, Rect


def verify(layout: Layout, pieces: Sequence[Piece], rects: Sequence[Rect], gap_um: int) -> None:
    """Check that a found layout lays out exactly the pieces asked.

    Args:
        layout: The answer to check; one that is not found must hold no placement.
        pieces: What was asked.
        rects: The free rectangles, in the order given to the search.
        gap_um: Least distance between two panels in one rectangle, micrometers.

    Raises:
        ValueError: Names the first fault found. Cost: quadratic in panels per rectangle.
    """
    if not layout.found:
        if layout.placements:
            raise ValueError("not found, yet it holds placements")
        return
    _check_asked(layout, pieces)
    for place in layout.placements:
        _check_inside(place, rects)
    for index, place in enumerate(layout.placements):
        for other in layout.placements[index + 1 :]:
            if place.rect == other.rect and _closer_than(gap_um, place, other):
                raise ValueError(f"{place} and {other} are closer than {gap_um} um")


def _check_asked(layout: Layout, pieces: Sequence[Piece]) -> None:
    asked: Counter[tuple[str, int, int]] = Counter()
    may_turn: set[tuple[str, int, int]] = set()
    for piece in pieces:
        key = (piece.label, piece.along_um, piece.across_um)
        asked[key] += piece.count
        if piece.turnable:
            may_turn.add(key)
    laid: Counter[tuple[str, int, int]] = Counter()
    for place in layout.placements:
        along, across = place.along_um, place.across_um
        key = (place.label, across, along) if place.turned else (place.label, along, across)
        if place.turned and key not in may_turn:
            raise ValueError(f"{place} is turned, its direction is fixed")
        laid[key] += 1
    if laid != +asked:
        raise ValueError(f"laid {dict(laid)}, asked {dict(+asked)}")


def _check_inside(place: Placement, rects: Sequence[Rect]) -> None:
    if not 0 <= place.rect < len(rects):
        raise ValueError(f"{place} names no rectangle")
    rect = rects[place.rect]
    if (
        place.at_along_um < 0
        or place.at_across_um < 0
        or place.at_along_um + place.along_um > rect.along_um
        or place.at_across_um + place.across_um > rect.across_um
    ):
        raise ValueError(f"{place} reaches over {rect}")


def _closer_than(gap_um: int, one: Placement, two: Placement) -> bool:
    return (
        one.at_along_um < two.at_along_um + two.along_um + gap_um
        and two.at_along_um < one.at_along_um + one.along_um + gap_um
        and one.at_across_um < two.at_across_um + two.across_um + gap_um
        and two.at_across_um < one.at_across_um + one.across_um + gap_um
    )
