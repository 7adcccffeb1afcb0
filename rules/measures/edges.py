"""Measures of the edge: finish against tannage, what is left, what is used (EDG)."""

from __future__ import annotations

from fractions import Fraction

from catalog.model import Number, Seam, Swatch
from rules.case import Case
from rules.piece import OUTSIDE, Piece
from rules.subjects import Whole
from rules.vocabulary import number, truth, word

USED_UP = ("burnish", "stain", "paint")


@word(
    "piece.edge_grade",
    "how the outside takes the finish",
    reads=["leather", "edge"],
    of=("outside",),
    levels=("fine", "sign_off", "refuse"),
)
def edge_grade(whole: Whole) -> str | None:
    """Return the outside kind's grade for the finish."""
    outside, edge = whole.piece.outside, whole.piece.edge
    if outside is None or outside.kind is None or edge is None:
        return None
    return outside.kind.edge[edge.finish]


@number(
    "piece.edge_untaken",
    "ratio",
    "share of the thickest seam that will not take the finish",
    reads=["lots", "side", "leather", "edge"],
)
def edge_untaken(whole: Whole) -> Fraction | None:
    """Return the share of layers, the outside's aside, whose kind refuses the finish."""
    edge, seam = whole.piece.edge, whole.case.shape.thickest_seam
    if edge is None or edge.finish not in USED_UP or seam is None:
        return None
    return whole.case.keep("edge untaken", lambda: _untaken(whole.case, seam, edge.finish))


def _untaken(case: Case, seam: Seam, finish: str) -> Fraction | None:
    total = case.shape.seams[seam.code].total_um
    if total == 0:
        return None
    untaken = 0
    for layer in seam.layers:
        part = case.piece.parts[case.piece.panels[layer.panel].part]
        height = case.shape.layer_um(layer)
        if part.code != OUTSIDE and part.kind is not None and height is not None and part.kind.edge[finish] == "refuse":
            untaken += layer.count * height
    return Fraction(untaken, total)


@truth("piece.edge_matched", "the edge is to match the outside", reads=["edge"])
def edge_matched(whole: Whole) -> bool:
    """Whether the edge was asked for as a match."""
    return whole.piece.matches_edge


@word("piece.edge_status", "status of the edge", reads=["stock", "edge"], levels=("active", "out"))
def edge_status(whole: Whole) -> str | None:
    """Return the edge's status."""
    return None if whole.piece.edge is None else whole.piece.edge.status


def edge_ul(piece: Piece) -> Number | None:
    """Return the edge finish that the whole order uses up, microliters; None where none is."""
    if piece.pattern is None or piece.edge is None or piece.edge.finish not in USED_UP:
        return None
    per_500_mm = piece.threshold(f"{piece.edge.finish}_ml_per_500_mm")
    used = per_500_mm.numerator * piece.pattern.edge_length_um * piece.quantity
    return Fraction(used, per_500_mm.denominator * 500_000)


@number("piece.edge_needed", "ml", "edge finish needed", reads=["edge", "quantity", "pattern"])
def edge_needed(whole: Whole) -> Number | None:
    """Return what the order uses up, microliters."""
    return edge_ul(whole.piece)


@number("piece.edge_left", "ml", "edge finish left", reads=["stock", "edge"])
def edge_left(whole: Whole) -> int | None:
    """Return what is left, microliters."""
    return None if whole.piece.edge is None else whole.piece.edge.left_ul


@number("piece.edge_left_after", "ml", "edge finish left after this order", reads=["stock", "edge", "quantity"])
def edge_left_after(whole: Whole) -> Number | None:
    """Return what would be left, microliters."""
    edge, needed = whole.piece.edge, edge_ul(whole.piece)
    if edge is None or edge.left_ul is None or needed is None:
        return None
    return edge.left_ul - needed


@number("piece.outside_skive_min", "mm", "thinnest edge of the outside's leather", reads=["leather"], of=("outside",))
def outside_skive_min(whole: Whole) -> int | None:
    """Return the outside kind's thinnest pared edge, um."""
    outside = whole.piece.outside
    return None if outside is None or outside.kind is None else outside.kind.skive_min_um


@number(
    "piece.stain_lighter_by",
    "lightness",
    "how much lighter the stain is than the leather",
    reads=["edge", "leather"],
    of=("outside",),
)
def stain_lighter_by(whole: Whole) -> Fraction | None:
    """Return L* of the edge less L* of the outside, thousandths."""
    edge, outside = whole.piece.edge, whole.piece.outside
    if edge is None or edge.swatch is None or outside is None or outside.leather is None:
        return None
    return _lightness(edge.swatch) - _lightness(outside.leather.swatch)


def _lightness(swatch: Swatch) -> Fraction:
    """Return L* in thousandths, kept to a millionth of one: a difference is not taken of rounded figures."""
    return Fraction(round(swatch.lab[0] * 10**9), 10**6)


@number("piece.edge_open_for", "days", "days since the edge finish was opened", reads=["edge", "today"])
def edge_open_for(whole: Whole) -> int | None:
    """Return the days since the bottle was opened; None where nobody keeps book of it."""
    edge = whole.piece.edge
    return None if edge is None or edge.opened_on is None else (whole.case.today - edge.opened_on).days
