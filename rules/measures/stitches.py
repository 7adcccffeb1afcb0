"""Measures of thread and stitch (STI)."""

from __future__ import annotations

from fractions import Fraction

from catalog.model import Number
from rules.subjects import Whole
from rules.thread import stitches_of
from rules.vocabulary import number, word


@number("piece.thread_ratio", "ratio", "thread diameter to stitch pitch", reads=["thread", "pattern"])
def thread_ratio(whole: Whole) -> Fraction | None:
    """Return diameter / pitch."""
    thread, pattern = whole.piece.thread, whole.piece.pattern
    return None if thread is None or pattern is None else Fraction(thread.diameter_um, pattern.pitch_um)


@number("piece.thread_needed", "m", "thread needed", reads=["lots", "side", "quantity", "pattern"], grows=True)
def thread_needed(whole: Whole) -> Number | None:
    """Return the thread of the whole order, um."""
    each = whole.case.shape.thread_um
    return None if each is None else each * whole.piece.quantity


@number("piece.thread_left", "m", "thread left on the spool", reads=["stock", "thread"])
def thread_left(whole: Whole) -> int | None:
    """Return what the spool lot holds, um."""
    return None if whole.piece.thread is None else whole.piece.thread.left_um


@number("piece.thread_lightness", "lightness", "lightness of the thread", reads=["thread"])
def thread_lightness(whole: Whole) -> int | None:
    """Return L* of the thread, thousandths."""
    return None if whole.piece.thread is None else whole.piece.thread.swatch.lightness_milli


@number("piece.rub_rating", "count", "rub rating of the outside", reads=["leather"], of=("outside",))
def rub_rating(whole: Whole) -> int | None:
    """Return the outside kind's rating, 5 best."""
    outside = whole.piece.outside
    return None if outside is None or outside.kind is None else outside.kind.rub_rating


@number("piece.end_seam_strength", "N", "strength of the end seam", reads=["thread", "pattern"])
def end_seam_strength(whole: Whole) -> Number | None:
    """Return stitches x 2 legs x thread break x loop factor, N; None where no load is borne."""
    pattern, thread = whole.piece.pattern, whole.piece.thread
    if pattern is None or thread is None or pattern.load.end_seam is None:
        return None
    stitches = stitches_of(pattern, pattern.seams[pattern.load.end_seam])
    return stitches * 2 * thread.break_n * whole.piece.threshold("stitch_loop_factor")


@word(
    "piece.thread_supply",
    "whether more of the thread can be had",
    reads=["thread"],
    levels=("ongoing", "last_spool", "discontinued"),
)
def thread_supply(whole: Whole) -> str | None:
    """Return ongoing, last_spool or discontinued; None where nobody keeps book of it."""
    return None if whole.piece.thread is None else whole.piece.thread.supply
