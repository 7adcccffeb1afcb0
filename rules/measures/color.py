"""Measures of color: distances by CIEDE2000, drift between lots of two orders, lightness (COL)."""

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


@truth("piece.repeats", "it repeats an order whose lots are known", reads=["repeat"])
def repeats(whole: Whole) -> bool:
    """Whether it is known what the order that it repeats was cut from."""
    return whole.piece.spec.repeats is not None


@number(
    "part.repeat_drift",
    "de00",
    "color distance that its lots and those of the order repeated may add up to",
    reads=["repeat", "leather", "side", "lots"],
    grows=True,
)
def repeat_drift(part: PartScope) -> int | None:
    """Return how far the part may lie from the same part of the order repeated, thousandths.

    Of two lots only their distances to the standard of the leather are known: together they are taken for the most
    that can lie between the lots. CIEDE2000 is no strict metric, so this is the trade's estimate from above and no
    proof. None where the part was cut from another leather, showed another side, or has no lot.
    """
    order, use = part.piece.spec.repeats, part.part
    then = None if order is None else order.drifts.get(use.code)
    if then is None or use.leather is None or (then.leather, then.side) != (use.leather.code, use.side):
        return None
    apart = (
        0 if now.code == before.code else now.drift_milli + before.drift_milli
        for now in part.case.lots_for(use.code)
        for before in then.lots
    )
    return max(apart, default=None)


@truth("part.beside_outside", "the part lies beside the outside", reads=["pattern"])
def beside_outside(part: PartScope) -> bool:
    """Whether it is another part than the outside."""
    return part.part.code != OUTSIDE


@number("part.lightness", "lightness", "lightness of the leather", reads=["leather"])
def lightness(part: PartScope) -> int | None:
    """Return L* of the leather, thousandths."""
    return None if part.part.leather is None else part.part.leather.swatch.lightness_milli


@truth("piece.outside_known", "the outside was chosen by its color", reads=["leather"], of=("outside",))
def outside_known(whole: Whole) -> bool:
    """Whether the outside's leather is known."""
    outside = whole.piece.outside
    return outside is not None and outside.leather is not None
