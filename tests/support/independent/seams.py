"""Stacks of several parts: seams, the spine, folds, the closed piece, the thread that they take (STK, FLD, STI)."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Any

from support.independent.board import Board, Term
from support.independent.data import Context
from support.independent.fit import contents_um

from catalog.model import Layer, Pattern, Seam

_NOTHING = 10**9


def stack(board: Board, pattern: Pattern, layers: Iterable[Layer]) -> list[Term]:
    """Return the height of layers as figures of the parts' options, micrometers."""
    by_part: dict[str, list[Layer]] = {}
    for layer in layers:
        by_part.setdefault(pattern.panels[layer.panel].part, []).append(layer)
    return [
        (sum(layer.count * option.layer_um(layer.panel, layer.skived_to_um) for layer in own), var)
        for part, own in by_part.items()
        for option, var in board.slots[f"part/{part}"].items()
    ]


def less(terms: Iterable[Term]) -> list[Term]:
    """Return figures with their signs turned."""
    return [(-figure, var) for figure, var in terms]


def plain(panels: Iterable[str]) -> list[Layer]:
    """Return one unpared layer of each panel."""
    return [Layer(panel, 1) for panel in panels]


def stitches(pattern: Pattern, seam: Seam) -> int:
    """Return length / pitch, rounded half up."""
    return int(Fraction(seam.length_um, pattern.pitch_um) + Fraction(1, 2))


def add_stacks(board: Board, told: Context) -> None:
    """STK-01, STK-03, STK-04, STK-07."""
    pattern = told.pattern
    for seam in pattern.seams.values():
        height = stack(board, pattern, seam.layers)
        board.at_most(height, seam.limit_um)
        limits = [(_stitch_limit(told, stitch), var) for stitch, var in board.slots["stitch"].items()]
        board.at_most([*height, *less(limits)], 0)
    spine = pattern.spine
    if spine is not None and (spine.skived_to_um is None or spine.skived_to_um > spine.limit_um):
        board.at_most(stack(board, pattern, plain(spine.panels)), spine.limit_um)
    closed = pattern.closed
    most = closed.limit_um * Fraction(told.threshold("closed_refuse_factor"))
    board.at_most(stack(board, pattern, closed.layers), most - contents_um(told))


def _stitch_limit(told: Context, stitch: Any) -> int | Fraction:
    if stitch != "hand":
        return told.threshold(f"method_limit_{stitch}_mm")
    awl = told.pattern.pitch_um >= told.threshold("awl_from_pitch_mm")
    return told.threshold("method_limit_hand_awl_mm" if awl else "method_limit_hand_fine_mm")


def add_folds(board: Board, told: Context) -> None:
    """FLD-01 to FLD-03 where they refuse, FLD-05: what is folded is thin enough for the outer kind.

    e = t / (2r + t) is at most some limit l just where t is at most 2rl / (1 - l). Paring to less than that helps.
    """
    pattern, factor = told.pattern, Fraction(told.threshold("fold_refuse_factor"))
    for fold in pattern.folds.values():
        outer = board.slots[f"part/{pattern.panels[fold.panels[0]].part}"]
        limits: list[Term] = []
        for option, var in outer.items():
            allowed = option.leather.kind.strain_limit[option.side] * factor
            most: int | Fraction = _NOTHING if allowed >= 1 else 2 * fold.inner_radius_um * allowed / (1 - allowed)
            if fold.skived_to_um is not None:
                most = _NOTHING if fold.skived_to_um <= most else most
                if option.leather.kind.skive_min_um > fold.skived_to_um:
                    most = min(most, fold.skived_to_um)
            limits.append((int(most), var))
        board.at_most([*stack(board, pattern, plain(fold.panels)), *less(limits)], 0)


def add_stretch(board: Board, told: Context) -> None:
    """FLD-06: of what bears a load, the outside or a lining stitched to it keeps its length."""
    if told.pattern.load.load_class not in ("light", "bearing"):
        return
    most = told.threshold("stretch_strap_percent")
    slots = [f"part/{part}" for part in ("outside", "lining") if part in told.pattern.parts]
    board.never(*(board.where(slot, lambda o: o.leather.kind.stretch_percent > most) for slot in slots))


def add_thread(board: Board, told: Context) -> None:
    """STI-01 and STI-02: the thread suits the pitch, and one spool holds enough of it for the order."""
    pattern, refused = told.pattern, told.threshold("stitch_ratio_refuse")
    threads = board.slots["thread"]
    board.bar(board.where("thread", lambda t: Fraction(t.diameter_um, pattern.pitch_um) > refused))
    total: list[Term] = []
    fixed = Fraction(told.threshold("thread_waste_m"))
    for seam in pattern.seams.values():
        count = stitches(pattern, seam)
        fixed += count * 2 * pattern.pitch_um
        total += [(count * 2 * figure, var) for figure, var in stack(board, pattern, seam.layers)]
    left = [(Fraction(thread.left_um, told.quantity), var) for thread, var in threads.items()]
    board.at_most([*total, *less(left)], -fixed)
