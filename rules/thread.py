"""Stitches and thread: counts and lengths that rules, price and the bench share."""

from __future__ import annotations

from catalog.model import Number, Pattern, Seam


def stitches_at(length_um: int, pitch_um: int) -> int:
    """Return length / pitch, rounded half up."""
    return (2 * length_um + pitch_um) // (2 * pitch_um)


def stitches_of(pattern: Pattern, seam: Seam) -> int:
    """Return the stitches of a seam."""
    return stitches_at(seam.length_um, pattern.pitch_um)


def saddle_stitch_um(pitch_um: Number, stack_um: Number) -> Number:
    """Return the thread of one saddle stitch, um: two threads along the pitch and through the stack."""
    return 2 * (pitch_um + stack_um)
