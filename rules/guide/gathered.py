"""Figures that many slots add up to: what each slot gives to them, and what then tells two sums apart.

A rule over such a figure says the same of two pieces whose sums here are equal. What it says is always found out by
judging a real case (:mod:`rules.guide.reading`): here is no second arithmetic, only what may be taken together.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

from catalog.model import Layer, Pattern
from rules.case import Case
from rules.labor import TIMES_BY_READ
from rules.measures.edges import USED_UP
from rules.piece import OUTSIDE
from rules.subjects import Whole
from rules.thread import stitches_of
from rules.vocabulary import TERMS

Sum = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Gathered:
    """What slots give to a figure.

    ``adds`` gives what one slot adds, from a case in which it alone is chosen; ``reads`` are the facets that add
    anything and ``also`` the names that the figure depends on beside the sum. ``settled`` maps a complete sum to what
    the figure still knows of it.
    """

    adds: Callable[[Case], Sum]
    reads: frozenset[str]
    also: frozenset[str] = frozenset()
    settled: Callable[[Sum], Hashable] = lambda total: total


_LOTS: Final = frozenset({"lots", "side"})
Gathers = Callable[[Pattern, Any], Gathered]


def _seam(_: Pattern, use: Any) -> Gathered:
    layers = use.seam.layers
    return Gathered(lambda case: (case.shape.stack(layers).total_um,), _LOTS)


def _spine(pattern: Pattern, _: Any) -> Gathered:
    layers = [Layer(panel, 1) for panel in pattern.spine.panels] if pattern.spine else []
    return Gathered(lambda case: (case.shape.stack(layers).total_um,), _LOTS)


def _closed(_: Pattern, __: Any) -> Gathered:
    return Gathered(lambda case: (case.shape.closed.total_um,), _LOTS)


def _stacks(case: Case) -> Sum:
    return tuple(stack.total_um for stack in case.shape.seams.values())


def _thickest(_: Pattern, __: Any) -> Gathered:
    return Gathered(_stacks, _LOTS, settled=max)


def _thread(pattern: Pattern, _: Any) -> Gathered:
    stitches = [stitches_of(pattern, seam) for seam in pattern.seams.values()]

    def adds(case: Case) -> Sum:
        return (sum(count * stack for count, stack in zip(stitches, _stacks(case), strict=True)),)

    return Gathered(adds, _LOTS)


def _untaken(pattern: Pattern, _: Any) -> Gathered:
    """The stacks, then for each seam and finish that is used up what will not take it."""
    seams = tuple(pattern.seams.values())
    finishes = sorted(USED_UP)

    def adds(case: Case) -> Sum:
        own = [_refusing(case, seam.layers, finish) for seam in seams for finish in finishes]
        return (*_stacks(case), *own)

    def settled(total: Sum) -> Hashable:
        stacks = total[: len(seams)]
        which = stacks.index(max(stacks))
        at = len(seams) + which * len(finishes)
        return max(stacks), total[at : at + len(finishes)]

    return Gathered(adds, _LOTS | {"leather"}, frozenset({"piece.finish"}), settled)


def _refusing(case: Case, layers: tuple[Layer, ...], finish: str) -> int:
    total = 0
    for layer in layers:
        part = case.piece.parts[case.piece.panels[layer.panel].part]
        if part.code != OUTSIDE and part.kind is not None and part.kind.edge.get(finish) == "refuse":
            total += layer.count * (case.shape.layer_um(layer) or 0)
    return total


def _minutes(_: Pattern, __: Any) -> Gathered:
    """Parts of a minute for each piece, and those that are spent once an order."""

    def adds(case: Case) -> Sum:
        piece, times = case.piece, case.piece.indexes.times
        each = sum(time_of(piece, times) for time_of in TIMES_BY_READ.values())
        once = 0 if piece.spec.monogram is None else times.monogram_once
        return (each + case.shape.split_panels * times.split_panel, once)

    reads = _LOTS | {*TIMES_BY_READ, "monogram"}
    return Gathered(adds, frozenset(reads))


def _ready_on(pattern: Pattern, use: Any) -> Gathered:
    minutes = _minutes(pattern, use)
    return Gathered(minutes.adds, minutes.reads, frozenset({"piece.finish"}))


#: Figures, each with what slots give to it. No other figure reads the lots of several parts.
ADDED_UP: Final[Mapping[str, Gathers]] = MappingProxyType(
    {
        "seam.stack": _seam,
        "spine.stack": _spine,
        "piece.closed": _closed,
        "piece.thickest": _thickest,
        "piece.thread_needed": _thread,
        "piece.edge_untaken": _untaken,
        "piece.minutes": _minutes,
        "piece.ready_on": _ready_on,
    }
)
#: Truths that hold of every complete spec whose parts all have lots.
COMPLETE: Final = frozenset({"seam.complete", "piece.thickest_complete"})
#: Sets that each part adds to, by the name that gives them; what is counted is the set.
JOINED: Final[Mapping[str, str]] = MappingProxyType(
    {
        "piece.leathers": "piece.leathers",
        "piece.color_families": "piece.color_families",
        "piece.last_lot_parts": "piece.last_lot_parts",
        "piece.flesh_parts": "piece.flesh_parts",
        "piece.leather_count": "piece.leathers",
    }
)


def joined(name: str, case: Case) -> frozenset[str]:
    """Return what the parts chosen in a case add to a set."""
    value = TERMS[JOINED[name]].measure(Whole(case))
    return value if isinstance(value, frozenset) else frozenset()
