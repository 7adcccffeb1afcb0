"""Measures of color: distances by CIEDE2000, lightness (COL)."""

from __future__ import annotations

from catalog.color import de00_milli
from rules.piece import OUTSIDE
from rules.subjects import PartScope, Whole
from rules.vocabulary import number, truth


@truth("piece.thread_matched", "the thread is to match the outside", reads=["thread"])
def thread_matched(whole: Whole) -> bool:
    """Whether the thread was asked for as a match."""
    return whole.piece.matches_thread


@number(
    "piece.thread_distance",
    "de00",
    "color distance of thread and outside",
    reads=["thread", "leather"],
    of=("outside",),
)
def thread_distance(whole: Whole) -> int | None:
    """Return CIEDE2000 in thousandths."""
    thread, outside = whole.piece.thread, whole.piece.outside
    if thread is None or outside is None or outside.leather is None:
        return None
    return de00_milli(outside.leather.swatch, thread.swatch)


@number("piece.edge_distance", "de00", "color distance of edge and outside", reads=["edge", "leather"], of=("outside",))
def edge_distance(whole: Whole) -> int | None:
    """Return CIEDE2000 in thousandths."""
    edge, outside = whole.piece.edge, whole.piece.outside
    if edge is None or edge.swatch is None or outside is None or outside.leather is None:
        return None
    return de00_milli(outside.leather.swatch, edge.swatch)


@truth("part.beside_outside", "the part lies beside the outside", reads=["pattern"])
def beside_outside(part: PartScope) -> bool:
    """Whether it is another part than the outside."""
    return part.part.code != OUTSIDE


@number("part.lightness", "lightness", "lightness of the leather", reads=["leather"])
def lightness(part: PartScope) -> int | None:
    """Return L* of the leather, thousandths."""
    return None if part.part.leather is None else part.part.leather.swatch.lightness_milli
