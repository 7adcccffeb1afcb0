"""Measures of stacks: seams, pared layers, the spine, the closed piece (STK)."""

from __future__ import annotations

from itertools import pairwise

from catalog.model import Number
from rules.closed import closed_um
from rules.subjects import LayerUse, SeamUse, SpineUse, Whole
from rules.vocabulary import number, truth, word


@number("seam.stack", "mm", "stack at the seam", reads=["lots", "side"], grows=True)
def stack(use: SeamUse) -> int:
    """Return the sum of the known layers, um."""
    return use.case.shape.seams[use.seam.code].total_um


@truth("seam.complete", "every layer of the seam is known", reads=["lots"])
def complete(use: SeamUse) -> bool:
    """Whether every layer is known."""
    return use.case.shape.seams[use.seam.code].complete


@number("seam.limit", "mm", "the seam's limit", reads=["pattern"])
def limit(use: SeamUse) -> int:
    """Return the seam's limit, um."""
    return use.seam.limit_um


@number("seam.stitch_limit", "mm", "the limit of the stitch", reads=["stitch", "pattern"])
def stitch_limit(use: SeamUse) -> Number | None:
    """Return the limit of the stitch, um; hand stitching with an awl from a pitch on takes more."""
    piece, pattern = use.piece, use.case.pattern
    if pattern is None or piece.stitch not in ("hand", "machine", "whip"):
        return None
    if piece.stitch != "hand":
        return piece.threshold(f"method_limit_{piece.stitch}_mm")
    awl = pattern.pitch_um >= piece.threshold("awl_from_pitch_mm")
    return piece.threshold("method_limit_hand_awl_mm" if awl else "method_limit_hand_fine_mm")


@number("layer.pared_to", "mm", "thickness the layer is pared to", reads=["pattern"])
def pared_to(use: LayerUse) -> int | None:
    """Return what the layer is pared to, um."""
    return use.layer.skived_to_um


@number("layer.skive_min", "mm", "thinnest edge of the leather", reads=["leather"])
def skive_min(use: LayerUse) -> int | None:
    """Return the kind's thinnest pared edge, um."""
    kind = use.piece.parts[use.parts[0]].kind
    return None if kind is None else kind.skive_min_um


@truth("layer.pared", "the layer is thicker than what it is pared to", reads=["lots", "side"])
def pared(use: LayerUse) -> bool | None:
    """Whether paring takes anything off."""
    thickness = use.case.shape.thickness(use.layer.panel)
    if thickness is None or use.layer.skived_to_um is None:
        return None
    return thickness.used_um > use.layer.skived_to_um


@number("spine.stack", "mm", "stack at the spine", reads=["lots", "side"], grows=True)
def spine_stack(use: SpineUse) -> int | None:
    """Return the sum at the spine, um, capped where it is pared."""
    spine = use.case.shape.spine
    return None if spine is None else spine.total_um


@number("spine.limit", "mm", "the spine's limit", reads=["pattern"])
def spine_limit(use: SpineUse) -> int | None:
    """Return the spine's limit, um."""
    spine = None if use.case.pattern is None else use.case.pattern.spine
    return None if spine is None else spine.limit_um


@number("piece.thickest", "mm", "stack of the thickest seam", reads=["lots", "side"])
def thickest(whole: Whole) -> int | None:
    """Return the known layers of the thickest seam, um; None while none is known."""
    seam = whole.case.shape.thickest_seam
    return None if seam is None else whole.case.shape.seams[seam.code].total_um or None


@truth("piece.thickest_complete", "every layer of the thickest seam is known", reads=["lots"])
def thickest_complete(whole: Whole) -> bool | None:
    """Whether the thickest seam is complete: a thin edge is judged only then."""
    seam = whole.case.shape.thickest_seam
    return None if seam is None else whole.case.shape.seams[seam.code].complete


@word("piece.finish", "edge finish", reads=["edge"], levels=("burnish", "stain", "paint", "turned", "raw"))
def finish(whole: Whole) -> str | None:
    """Return the finish of the edge."""
    return None if whole.piece.edge is None else whole.piece.edge.finish


@number("piece.closed", "mm", "thickness closed and full", reads=["lots", "side", "carry"], grows=True)
def closed(whole: Whole) -> Number | None:
    """Return the closed thickness, um."""
    return closed_um(whole.case)


@number("piece.closed_limit", "mm", "the limit of the closed piece", reads=["pattern"])
def closed_limit(whole: Whole) -> int | None:
    """Return the pattern's limit, um."""
    return None if whole.case.pattern is None else whole.case.pattern.closed.limit_um


@number("seam.step", "mm", "most that neighboring layers differ where neither is pared", reads=["lots", "side"])
def step(use: SeamUse) -> int | None:
    """Return the largest difference of two layers that lie on each other unpared, um; None where none do."""
    shape, layers = use.case.shape, use.seam.layers
    steps = []
    for below, above in pairwise(layers):
        one, other = shape.layer_um(below), shape.layer_um(above)
        pared = below.skived_to_um is not None or above.skived_to_um is not None
        if one is not None and other is not None and not pared:
            steps.append(abs(one - other))
    return max(steps, default=None)
