"""Stitches and thread: counts and lengths that rules, price and the bench share."""

from __future__ import annotations

from catalog.model import Number, Pattern, Seam
from rules.case import Case


def stitches_at(length_um: int, pitch_um: int) -> int:
    """Return length / pitch, rounded half up."""
    return (2 * length_um + pitch_um) // (2 * pitch_um)


def stitches_of(pattern: Pattern, seam: Seam) -> int:
    """Return the stitches of a seam."""
    return stitches_at(seam.length_um, pattern.pitch_um)


def saddle_stitch_um(pitch_um: Number, stack_um: Number) -> Number:
    """Return the thread of one saddle stitch, um: two threads along the pitch and through the stack."""
    return 2 * (pitch_um + stack_um)


def thread_each_um(case: Case) -> Number | None:
    """Return the thread of one piece in um: two needles, so 2 x (pitch + stack) a stitch, and waste.

    None while a layer is missing. Source: stack and pitch per stitch as in published length
    formulas for saddle stitch; the waste is common practice.
    """
    pattern = case.pattern
    if pattern is None:
        return None
    total: Number = case.piece.threshold("thread_waste_m")
    for seam in pattern.seams.values():
        stack = case.stack(seam.layers)
        if not stack.complete:
            return None
        total += stitches_of(pattern, seam) * saddle_stitch_um(pattern.pitch_um, stack.total_um)
    return total
