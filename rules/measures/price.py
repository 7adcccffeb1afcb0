"""Measures of price, bench and promise (PRC)."""

from __future__ import annotations

from catalog.model import Number
from catalog.vocabulary import MARKS
from rules.contrast import contrasts
from rules.cost import margin_percent_of
from rules.labor import order_minutes
from rules.piece import FLESH
from rules.pricing import has_cell
from rules.promise import promise_of
from rules.subjects import PartScope, Whole
from rules.vocabulary import number, truth, word, words

#: What bench time depends on.
_TIMED = (
    "pattern", "leather", "side", "lots", "edge", "stitch", "hardware", "sizes", "monogram", "letters",
    "modifications", "quantity", "labor",
)  # fmt: skip


@truth("piece.reversed", "the flesh side of a part is out", reads=["side"])
def reversed_out(whole: Whole) -> bool:
    """Whether any part shows its flesh side."""
    return any(part.side == FLESH for part in whole.piece.parts.values())


@word("piece.monogram_method", "method of the monogram", reads=["monogram"], levels=MARKS)
def monogram_method(whole: Whole) -> str | None:
    """Return the method of the monogram asked for; None without one."""
    monogram = whole.piece.spec.monogram
    return None if monogram is None else monogram.method


@number("piece.monogram_letters", "count", "letters of the monogram", reads=["monogram", "letters"])
def monogram_letters(whole: Whole) -> int:
    """Return how many signs the monogram has without its spaces, 0 where none is asked for."""
    monogram = whole.piece.spec.monogram
    return 0 if monogram is None else len(monogram.text.replace(" ", ""))


@truth(
    "piece.edge_contrast",
    "the edge paint contrasts with the outside",
    reads=["edge", "leather", "pattern"],
    of=("outside",),
)
def edge_contrast(whole: Whole) -> bool:
    """Whether an offered edge paint, not a match, lies far from the outside in color."""
    return contrasts(whole.piece)


@words(
    "piece.offered_modifications",
    "modifications asked for that the pattern offers",
    reads=["modifications", "pattern"],
    noun="modification",
)
def offered_modifications(whole: Whole) -> frozenset[str]:
    """Return the modifications asked for, as the catalog writes them, that the pattern offers."""
    pattern = whole.piece.pattern
    return frozenset() if pattern is None else frozenset(whole.piece.modifications).intersection(pattern.modifications)


@word("piece.pattern", "pattern", reads=["pattern"], noun="pattern")
def pattern_code(whole: Whole) -> str | None:
    """Return the pattern's code."""
    return None if whole.piece.pattern is None else whole.piece.pattern.code


@truth("part.price_known", "the price list has the part's band", reads=["price_list", "leather", "pattern"])
def price_known(part: PartScope) -> bool | None:
    """Whether there is a price cell for the pattern and the leather's band."""
    return has_cell(part.piece, part.kind)


@number("piece.margin_percent", "percent", "margin on the net price", reads=["price_list", *_TIMED, "rush"])
def margin_percent(whole: Whole) -> Number | None:
    """Return 100 (net - cost) / net; None while a part or edge is missing or there is no price."""
    return margin_percent_of(whole.case)


@truth("piece.rush", "a rush is asked for", reads=["rush"])
def rush(whole: Whole) -> bool:
    """Whether the order is a rush."""
    return whole.piece.spec.rush


@number("piece.minutes", "min", "bench minutes of the order", reads=_TIMED)
def minutes(whole: Whole) -> Number | None:
    """Return the minutes of the whole order."""
    return order_minutes(whole.case)


@number("piece.rush_room", "min", "bench minutes kept for a rush", reads=["labor", "backlog"])
def rush_room(whole: Whole) -> int:
    """Return the room for rush orders, minutes."""
    return whole.piece.catalog.workshop.rush_minutes_per_week


@number("piece.ready_on", "date", "day it is ready", reads=[*_TIMED, "rush", "today", "backlog"])
def ready_on(whole: Whole) -> int | None:
    """Return the day as an ordinal."""
    promise = promise_of(whole.case)
    return None if promise is None else promise.ready_on.toordinal()


@number("piece.wanted_by", "date", "day it is wanted", reads=["ready_by"])
def wanted_by(whole: Whole) -> int | None:
    """Return the day asked for as an ordinal."""
    day = whole.piece.spec.ready_by
    return None if day is None else day.toordinal()
