"""Figures that many slots add up to, for all rows of a block side by side.

A stack follows from every leather in it, bench time from every choice: hardly two rows of a table
have all of them in common. Here such figures are summed up column by column, in whole numbers.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from math import lcm
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from catalog.model import Layer, Number, Seam
from rules.bench import Times
from rules.closed import contents_um
from rules.cost import leather_of_part, per_leather
from rules.ir import (
    names_in,
)
from rules.labor import TIMES_BY_READ
from rules.measures.edges import USED_UP
from rules.piece import OUTSIDE, Piece
from rules.promise import day_after
from rules.thread import saddle_stitch_um, stitches_of
from rules.vocabulary import TERMS

if TYPE_CHECKING:
    from rules.block import Block
    from rules.cells import Member

Bools = NDArray[np.bool_]
Whole = NDArray[Any]
"""Whole numbers: int64 where they fit, Python's own else."""
_FITS: Final = 1 << 62


@dataclass(frozen=True, slots=True)
class Figures:
    """One exact figure a row: ``over / under``, where it is known."""

    over: Whole
    under: Whole | int
    known: Bools


def _safe(one: Whole, other: Whole | int) -> tuple[Whole, Whole | int]:
    """Return two factors so that their product is exact: as Python's whole numbers where it would not fit."""
    largest = [int(np.abs(each).max(initial=0)) if isinstance(each, np.ndarray) else abs(each) for each in (one, other)]
    if largest[0] * largest[1] < _FITS:
        return one, other
    return one.astype(object), other.astype(object) if isinstance(other, np.ndarray) else other


def times(one: Whole, other: Whole | int) -> Whole:
    """Return the product, exact."""
    left, right = _safe(one, other)
    product: Whole = left * right
    return product


class Sums:
    """The columns of a block, summed up."""

    def __init__(self, block: Block) -> None:
        self.block = block
        self.rows: int = len(block.rows)
        self.pattern = block.frame.pattern

    def panel(self, code: str) -> tuple[Whole, Bools]:
        """Return what a panel is worked at, um (-1: not known), and whether it is split."""
        return self.block.panel(code)

    def stack(self, layers: Sequence[Layer]) -> Figures:
        """Return the sum of the known layers; known where all are."""
        total, complete = np.zeros(self.rows, dtype=np.int64), np.ones(self.rows, dtype=bool)
        for layer in layers:
            height, known = self.layer(layer)
            total += layer.count * np.where(known, height, 0)
            complete &= known
        return Figures(total, 1, complete)

    def layer(self, layer: Layer) -> tuple[Whole, Bools]:
        """Return a layer's thickness, um, pared where it says so, and where it is known."""
        used, _ = self.panel(layer.panel)
        height = used if layer.skived_to_um is None else np.minimum(used, layer.skived_to_um)
        return height, used >= 0

    def seams(self) -> list[tuple[Seam, Figures]]:
        """Return the pattern's seams with their stacks."""
        return [(seam, self.stack(seam.layers)) for seam in self.pattern.seams.values()]

    def thickest(self) -> tuple[Whole, Bools, NDArray[np.intp]]:
        """Return the thickest seam's stack, whether it is complete, and which it is."""
        stacks = [stack for _, stack in self.seams()]
        totals = np.stack([stack.over for stack in stacks])
        which = totals.argmax(axis=0)  # the first of equals
        own = np.arange(self.rows)
        return totals[which, own], np.stack([stack.known for stack in stacks])[which, own], which

    def by_facet(self, what: str, read: str, value_of: Callable[[Piece], Number | None]) -> Figures:
        """Return a figure, named, that depends on one facet of the piece."""
        return self.block.once((what, read), lambda: self._by_facet(read, value_of))

    def _by_facet(self, read: str, value_of: Callable[[Piece], Number | None]) -> Figures:
        coded = self.block.facet((read, ""))
        return figures([value_of(self.block.sheet.piece(int(row))) for row in coded.first], coded.codes)

    def quantity(self) -> Whole:
        """Return the quantity."""
        return self.by_facet("count", "quantity", lambda piece: piece.quantity).over

    def time(self) -> Whole:
        """Return bench time in parts of a minute (:func:`rules.labor.order_parts`)."""
        times = self.block.sheet.shop.indexes.times
        each = np.full(self.rows, times.patterns[self.pattern.code].always, dtype=np.int64)
        for read, time_of in TIMES_BY_READ.items():
            each += self.by_facet("time", read, partial(_time_of, time_of, times)).over
        for code, panel in self.pattern.panels.items():
            used, split = self.panel(code)
            each += np.where(split & (used >= 0), panel.count * times.split_panel, 0)
        once = self.by_facet(
            "once", "monogram", lambda piece: 0 if piece.spec.monogram is None else times.monogram_once
        )
        return each * self.quantity() + once.over


def _time_of(time_of: Callable[[Piece, Times], int], times: Times, piece: Piece) -> int:
    return time_of(piece, times)


def figures(values: Sequence[Number | None], codes: NDArray[np.intp]) -> Figures:
    """Return a column from its different values, all over one denominator."""
    under = lcm(*(value.denominator for value in values if value is not None))
    whole = [0 if value is None else int(value * under) for value in values]
    fits = max(map(abs, whole), default=0) < _FITS
    over = np.array(whole, dtype=np.int64 if fits else object)
    return Figures(over[codes], under, np.array([value is not None for value in values], dtype=bool)[codes])


def always(rows: int) -> Bools:
    """Return true for every row."""
    return np.ones(rows, dtype=bool)


def _edge_untaken(sums: Sums, _: Any) -> Figures:
    total, _, which = sums.thickest()
    untaken = np.zeros(sums.rows, dtype=np.int64)
    finishes = sums.block.facet(("edge", ""))
    found = [sums.block.sheet.piece(int(row)).edge for row in finishes.first]
    uses_up = np.array([edge is not None and edge.finish in USED_UP for edge in found], dtype=bool)[finishes.codes]
    for place, seam in enumerate(sums.pattern.seams.values()):
        for layer in seam.layers:
            part = sums.pattern.panels[layer.panel].part
            if part != OUTSIDE:
                height, known = sums.layer(layer)
                refused = sums.block.once(("edge refused", part), partial(sums.block.edge_refused, part))
                untaken += np.where((which == place) & known & refused, layer.count * height, 0)
    return Figures(untaken, np.where(total == 0, 1, total), uses_up & (total > 0))


def _closed(sums: Sums, _: Any) -> Figures:
    layers = sums.stack(sums.pattern.closed.layers)
    contents = sums.by_facet("contents", "carry", lambda piece: contents_um(piece, sums.pattern))
    return Figures(times(layers.over, contents.under) + contents.over, contents.under, layers.known)


def _thread(sums: Sums, _: Any) -> Figures:
    waste = Fraction(sums.block.sheet.shop.catalog.thresholds["thread_waste_m"].value)
    each, known = np.zeros(sums.rows, dtype=np.int64), always(sums.rows)
    for seam, stack in sums.seams():
        each += stitches_of(sums.pattern, seam) * saddle_stitch_um(sums.pattern.pitch_um, stack.over)  # type: ignore[arg-type]
        known &= stack.known
    return Figures((each * waste.denominator + waste.numerator) * sums.quantity(), waste.denominator, known)


def _spine(sums: Sums, _: Any) -> Figures:
    spine = sums.pattern.spine
    if spine is None:
        raise ValueError("the pattern has no spine")
    total = sums.stack([Layer(panel, 1) for panel in spine.panels]).over
    return Figures(total if spine.skived_to_um is None else np.minimum(total, spine.skived_to_um), 1, always(sums.rows))


def _thickest(sums: Sums, _: Any) -> Figures:
    total, _, _ = sums.thickest()
    return Figures(total, 1, total > 0)


def _minutes(sums: Sums, _: Any) -> Figures:
    return Figures(sums.time(), sums.block.sheet.shop.indexes.times.per_minute, always(sums.rows))


def _leather(block: Block, part: str) -> Figures:
    return block.by_part("leather cost", part, ("sizes",), lambda case: leather_of_part(case, part))


def _margin(sums: Sums, _: Any) -> Figures:
    """100 (net - cost) / net, as :func:`rules.cost.margin_percent_of`: net = each / (1 + tax rate)."""
    block, shop = sums.block, sums.block.sheet.shop
    workshop, times = shop.catalog.workshop, shop.indexes.times
    each = block.once("each", block.each_minor).astype(object)
    leather = np.zeros(sums.rows, dtype=object)
    known = (each > 0) & np.array([piece.edge is not None for piece in block.firsts(("edge", ""))])[
        block.facet(("edge", "")).codes
    ]
    for part in sums.pattern.parts:
        cost = block.once(("leather", part, "cost"), partial(_leather, block, part))
        leather = leather + cost.over.astype(object)
        known &= cost.known
    share = per_leather(block.sheet.piece(int(block.rows[0])))
    per_time = times.per_minute * 60 * sums.quantity().astype(object)
    hourly = workshop.labor_per_hour_minor + workshop.overhead_per_hour_minor
    cost_over = leather * per_time + (sums.time() * hourly + workshop.sundries_per_piece_minor * per_time) * share
    with_tax = Fraction(100 + workshop.vat_percent)
    under = share * per_time * np.where(known, each, 1) * with_tax.denominator
    return Figures(100 * under - cost_over * with_tax.numerator, under, known.astype(bool))


def _ready_on(sums: Sums, _: Any) -> Figures:
    block, shop = sums.block, sums.block.sheet.shop
    workshop, per_minute = shop.catalog.workshop, shop.indexes.times.per_minute
    weeks = -(-(workshop.backlog_minutes * per_minute + sums.time()) // (workshop.bench_minutes_per_week * per_minute))
    rush = sums.by_facet("asked", "rush", lambda piece: int(piece.spec.rush)).over
    weeks = np.where(rush > 0, workshop.rush_weeks, weeks)
    different, place = np.unique(weeks, return_inverse=True)
    edge = block.facet(("edge", ""))
    inverse, first = block.combined([(place, len(different)), (edge.codes, len(edge.numbers))])
    days = [
        day_after(block.sheet.piece(int(block.rows[row])), block.sheet.today, int(weeks[row])).toordinal()
        for row in first
    ]
    return Figures(np.array(days, dtype=np.int64)[inverse], 1, always(sums.rows))


#: Figures that are summed up. Each gives what the measure of the same name gives for one piece.
SUMMED: Final[Mapping[str, Callable[[Sums, Any], Figures]]] = MappingProxyType(
    {
        "seam.stack": lambda sums, use: Figures(sums.stack(use.seam.layers).over, 1, always(sums.rows)),
        "spine.stack": _spine,
        "piece.thickest": _thickest,
        "piece.edge_untaken": _edge_untaken,
        "piece.closed": _closed,
        "piece.thread_needed": _thread,
        "piece.minutes": _minutes,
        "piece.margin_percent": _margin,
        "piece.ready_on": _ready_on,
    }
)
#: Truths that follow from such figures.
SUMMED_TRUTHS: Final[Mapping[str, Callable[[Sums, Any], Bools]]] = MappingProxyType(
    {
        "seam.complete": lambda sums, use: sums.stack(use.seam.layers).known,
        "piece.thickest_complete": lambda sums, _: sums.thickest()[1],
    }
)


def sums_thickness(member: Member) -> bool:
    """Whether a member can be summed up and reads nothing of the lots but what the panels are worked at."""
    names = {name for rule in member.rules for name in names_in(rule) if not name.startswith("threshold.")}
    others = names - SUMMED.keys() - SUMMED_TRUTHS.keys()
    return can_be_summed(member) and not any("lots" in TERMS[name].reads for name in others)


def can_be_summed(member: Member) -> bool:
    """Whether a member's rules read figures that are summed up, over instances that the pattern alone lists."""
    if member.summed is None:
        names = {name for rule in member.rules for name in names_in(rule)}
        member.summed = member.subject.name in ("piece", "seam", "spine") and not names.isdisjoint(SUMMED)
    return member.summed
