"""Stitches and thread: counts and lengths that rules, price and the bench share."""

from __future__ import annotations

from catalog.model import Number
from rules.bench import stitches_of
from rules.case import Case


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
