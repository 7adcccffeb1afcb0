"""The one procedure that decides whether panels lie in the free rectangles of a lot."""

from __future__ import annotations

from collections.abc import Sequence

from rules.layout.assign import Assignment, lie_in_one
from rules.layout.bounds import refuted, refuted_in_one
from rules.layout.budget import Budget, BudgetSpentError
from rules.layout.construct import construct
from rules.layout.panels import (
    Kind,
    Layout,
    Piece,
    Placement,
    Rect,
    Sheet,
    Spot,
    enlarged,
    size_of,
)

# Panels up to which the answer is exact. Measured on panels of 12 different sizes that fill 82 to
# 100 % of their rectangles: half are decided within 0.1 s, nine of ten within 5 s. The worst met,
# twelve turnable panels of nearly one size and no layout, took 15 million steps, a minute. Twelve
# panels of two to five sizes, the common case, took 0.2 s at most, nine of ten 0.01 s.
EXACT_UP_TO = 12

# Steps of one exact decision: six times the most any instance tried has taken. No bound is known
# that no instance could reach; one that did would be answered "not found, not exact".
_STEPS = 100_000_000


def lay_out(pieces: Sequence[Piece], rects: Sequence[Rect], gap_um: int, steps: int = _STEPS) -> Layout:
    """Lay out panels in the free rectangles of one lot.

    Every copy lies wholly in one rectangle, any two of one rectangle at least ``gap_um`` apart
    along or across; the rim needs no gap. Up to ``EXACT_UP_TO`` panels the answer is exact,
    above it comes from proofs and a constructive search, whose "not found" counts as no.

    Args:
        pieces: What to lay out, in any order; micrometers.
        rects: The free rectangles, in any order, disjoint; micrometers.
        gap_um: Least distance between two panels, micrometers.
        steps: Steps of the exact search at most; spent, the answer is "not found, not exact".

    Returns:
        The layout. Its verdict does not depend on the order of pieces or rectangles.

    Raises:
        ValueError: A size is not positive, or a count or the gap is negative.
    """
    kinds = enlarged(pieces, gap_um)
    if any(rect.along_um <= 0 or rect.across_um <= 0 for rect in rects):
        raise ValueError("a rectangle must have positive sides")
    order = sorted(range(len(rects)), key=lambda index: (rects[index], index))
    sheets = [Sheet(rects[i].along_um + gap_um, rects[i].across_um + gap_um) for i in order]
    spots, exact = _decide(kinds, sheets, steps)
    if spots is None:
        return Layout(found=False, placements=(), exact=exact)
    placements = _placements(spots, kinds, pieces, order, gap_um)
    return Layout(found=True, placements=placements, exact=True)


def _decide(kinds: list[Kind], sheets: list[Sheet], steps: int) -> tuple[list[Spot] | None, bool]:
    """Return spots or None, and whether that is proven."""
    if refuted(kinds, sheets):
        return None, True
    spots = construct(kinds, sheets)
    if spots is not None:
        return spots, True
    if sum(kind.copies for kind in kinds) > EXACT_UP_TO:
        return None, len(sheets) == 1 and refuted_in_one(kinds, sheets[0])
    budget = Budget(steps)
    try:
        if len(sheets) == 1:
            return lie_in_one(kinds, sheets[0], budget), True
        return Assignment(kinds, sheets, budget).run(), True
    except BudgetSpentError:
        return None, False


def _placements(
    spots: list[Spot],
    kinds: list[Kind],
    pieces: Sequence[Piece],
    order: list[int],
    gap_um: int,
) -> tuple[Placement, ...]:
    """Name the spots: copies of one size go to their pieces by label."""
    copies: dict[tuple[int, int, bool], list[Piece]] = {}
    for piece in sorted(pieces, key=lambda piece: (piece.label, piece)):
        copies.setdefault(size_of(piece), []).extend([piece] * piece.count)
    queues = {size: iter(queue) for size, queue in copies.items()}
    placements = []
    for spot in sorted(spots, key=lambda s: (s.sheet, s.at_along, s.at_across)):
        kind = kinds[spot.kind]
        along, across = kind.along - gap_um, kind.across - gap_um
        piece = next(queues[along, across, kind.turnable])
        if spot.turned:
            along, across = across, along
        placements.append(
            Placement(
                label=piece.label,
                rect=order[spot.sheet],
                at_along_um=spot.at_along,
                at_across_um=spot.at_across,
                along_um=along,
                across_um=across,
                turned=(along, across) != (piece.along_um, piece.across_um),
            )
        )
    return tuple(sorted(placements, key=lambda p: (p.rect, p.at_along_um, p.at_across_um)))
