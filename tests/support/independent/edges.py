"""Edges: what the outside and the layers of the thickest seam take, what is left in the bottle (EDG, CAT-06)."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from support.independent.board import Board, Term
from support.independent.data import Context
from support.independent.seams import less, stack

from catalog.color import de00_milli
from catalog.model import Edge, Leather, Thread

_USED_UP = ("burnish", "stain", "paint")


def edge_options(told: Context) -> list[Edge]:
    """Return the edges of a finish that the pattern offers of which enough is left (CAT-05, EDG-03)."""
    return [edge for edge in told.catalog.edges.values() if _offered(told, edge)]


def _offered(told: Context, edge: Edge) -> bool:
    if edge.finish not in told.pattern.edge_finishes or edge.status in ("out", "retired"):
        return False
    if edge.finish not in _USED_UP or edge.left_ul is None:
        return True
    per_500_mm = Fraction(told.threshold(f"{edge.finish}_ml_per_500_mm"))
    return per_500_mm * Fraction(told.pattern.edge_length_um, 500_000) * told.quantity <= edge.left_ul


def matched_edge(told: Context, outside: Leather) -> Edge | None:
    """Return what a match comes to: the nearest active paint, where none is offered the nearest active stain."""
    for finish in ("paint", "stain"):
        if finish in told.pattern.edge_finishes:
            edges = [e for e in told.catalog.edges.values() if e.finish == finish and e.status == "active" and e.swatch]
            return min(edges, key=lambda e: (de00_milli(outside.swatch, e.swatch), e.code), default=None)
    return None


def matched_thread(told: Context, outside: Leather) -> Thread | None:
    """Return what a match comes to: the nearest active thread in the good range of diameter to pitch."""
    low, high = told.threshold("stitch_ratio_min"), told.threshold("stitch_ratio_max")
    threads = [
        thread for thread in told.catalog.threads.values()
        if thread.status == "active" and low <= Fraction(thread.diameter_um, told.pattern.pitch_um) <= high
    ]  # fmt: skip
    return min(threads, key=lambda t: (de00_milli(outside.swatch, t.swatch), t.code), default=None)


def add_edges(board: Board, told: Context) -> None:
    """EDG-01, EDG-05, CAT-06 of turned edges."""
    pared = told.threshold("turned_skive_mm")
    for finish in told.pattern.edge_finishes:
        edges = board.where("edge", lambda e, finish=finish: e.finish == finish)
        if not edges:
            continue
        board.never(edges, board.where("part/outside", lambda o, f=finish: o.leather.kind.edge[f] == "refuse"))
        if finish == "turned":
            board.never(edges, board.where("part/outside", lambda o: o.leather.kind.skive_min_um > pared))
            board.never(edges, board.where("part/outside", lambda o: o.side == "flesh"))
    taken = [finish for finish in _USED_UP if finish in told.pattern.edge_finishes]
    if any(_untaken(board, told, seam, finish) for finish in taken for seam in told.pattern.seams):
        _add_shares(board, told, taken)


def _untaken(board: Board, told: Context, seam: str, finish: str) -> list[Term]:
    """Return the layers of a seam, those of the outside aside, whose kind refuses a finish."""
    found: list[Term] = []
    for layer in told.pattern.seams[seam].layers:
        part = told.pattern.panels[layer.panel].part
        if part != "outside":
            found += [
                (layer.count * option.layer_um(layer.panel, layer.skived_to_um), var)
                for option, var in board.slots[f"part/{part}"].items()
                if option.leather.kind.edge[finish] == "refuse"
            ]
    return found


def _add_shares(board: Board, told: Context, finishes: list[str]) -> None:
    """Of the thickest seam, the first of equals, no more than a share of the height is untaken."""
    share = Fraction(told.threshold("edge_share_refuse"))
    thickest = _thickest(board, told)
    for finish in finishes:
        edges = board.where("edge", lambda e, finish=finish: e.finish == finish)
        if not edges:
            continue
        holds = board.any_of(edges)
        for seam, when in thickest.items():
            untaken = _untaken(board, told, seam, finish)
            if untaken:
                whole = stack(board, told.pattern, told.pattern.seams[seam].layers)
                scaled = [(-share * figure, var) for figure, var in whole]
                board.at_most([*untaken, *scaled], 0, [holds, *when])


def _thickest(board: Board, told: Context) -> dict[str, list[Any]]:
    """Return for each seam the variables that say that it is the thickest."""
    seams = list(told.pattern.seams.values())
    if len(seams) == 1:
        return {seams[0].code: []}
    which = board.choose("thickest seam", [seam.code for seam in seams])
    heights = {seam.code: stack(board, told.pattern, seam.layers) for seam in seams}
    for place, seam in enumerate(seams):
        for other_place, other in enumerate(seams):
            if other_place != place:
                least = 1 if other_place < place else 0
                board.at_most([*heights[other.code], *less(heights[seam.code])], -least, [which[seam.code]])
    return {code: [var] for code, var in which.items()}


def add_matches(board: Board, told: Context) -> None:
    """Tie a thread or edge that is to match the outside to what the match comes to (none: CAT-03)."""
    for slot in told.matches:
        for leather in told.catalog.leathers.values():
            outside = board.where("part/outside", lambda o, own=leather: o.leather is own)
            if outside:
                nearest: Any = matched_edge(told, leather) if slot == "edge" else matched_thread(told, leather)
                board.never(outside, board.where(slot, lambda value, own=nearest: value is not own))
