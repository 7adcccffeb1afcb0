"""Measures of folds and stretch (FLD).

Strain of the outer fiber at a bend of thickness t round an inner radius r:
e = t / (2r + t), the textbook bend formula e = 1 / (2R/T + 1).
"""

from __future__ import annotations

from fractions import Fraction

from catalog.model import Number
from catalog.vocabulary import COATINGS, FLEX_REPORTS
from rules.subjects import FoldUse, Whole
from rules.vocabulary import number, truth, word


def bend_strain(thickness_um: int, inner_radius_um: int) -> Fraction:
    """Return the strain of the outer fiber, a ratio; both lengths in the same unit."""
    return Fraction(thickness_um, 2 * inner_radius_um + thickness_um)


@number("fold.strain", "ratio", "strain of the outer fibers at the fold", reads=["lots", "side"], grows=True)
def strain(use: FoldUse) -> Fraction | None:
    """Return the strain of the known layers together; None where none is known."""
    stack = use.case.shape.panels_stack(use.fold.panels, use.fold.skived_to_um)
    if use.case.shape.thickness(use.fold.panels[0]) is None:
        return None
    return bend_strain(stack.total_um, use.fold.inner_radius_um)


@number("fold.strain_limit", "ratio", "strain that the side on show stands", reads=["leather", "side"])
def strain_limit(use: FoldUse) -> Fraction | None:
    """Return the limit of the outer leather's kind for the side that shows."""
    kind = use.outer.kind
    return None if kind is None else kind.strain_limit[use.outer.side]


@number("fold.stack", "mm", "thickness folded", reads=["lots", "side"])
def stack(use: FoldUse) -> int | None:
    """Return the sum of the known layers, pared where the pattern says so, um; None while the outer one is open."""
    if use.case.shape.thickness(use.fold.panels[0]) is None:
        return None
    return use.case.shape.panels_stack(use.fold.panels, use.fold.skived_to_um).total_um


@number("fold.radius", "mm", "inner radius of the fold", reads=["pattern"])
def radius(use: FoldUse) -> int:
    """Return the inner radius, um."""
    return use.fold.inner_radius_um


@word("fold.kind", "kind of the leather outside of the fold", reads=["leather"], noun="kind")
def kind_folded(use: FoldUse) -> str | None:
    """Return the outer leather's kind."""
    return None if use.outer.kind is None else use.outer.kind.code


@truth("fold.stiff", "the leather outside of the fold is stiff", reads=["leather"])
def stiff(use: FoldUse) -> bool | None:
    """Whether the outer leather's kind is stiff."""
    return None if use.outer.kind is None else use.outer.kind.stiff


@truth("fold.glued", "several layers are folded together", reads=["pattern"])
def glued(use: FoldUse) -> bool:
    """Whether several panels are folded as one."""
    return len(use.fold.panels) > 1


@truth("fold.flesh_out", "the flesh side is outside of the fold", reads=["side"])
def flesh_out(use: FoldUse) -> bool:
    """Whether the outer part shows its flesh side."""
    return use.outer.side == "flesh"


@truth("fold.marks", "the leather marks or lightens where it is folded", reads=["leather"])
def marks(use: FoldUse) -> bool | None:
    """Whether the kind marks at folds."""
    return None if use.outer.kind is None else use.outer.kind.marks_at_folds


@number("fold.pared_to", "mm", "thickness the fold is pared to", reads=["pattern"])
def pared_to(use: FoldUse) -> int | None:
    """Return what the fold is pared to, um."""
    return use.fold.skived_to_um


@number("fold.skive_min", "mm", "thinnest edge of the leather", reads=["leather"])
def skive_min(use: FoldUse) -> int | None:
    """Return the outer kind's thinnest pared edge, um."""
    return None if use.outer.kind is None else use.outer.kind.skive_min_um


@truth("fold.pared", "the fold is thicker than what it is pared to", reads=["lots", "side"])
def pared(use: FoldUse) -> bool | None:
    """Whether paring takes anything off."""
    if use.fold.skived_to_um is None or use.case.shape.thickness(use.fold.panels[0]) is None:
        return None
    return use.case.shape.panels_stack(use.fold.panels, None).total_um > use.fold.skived_to_um


@truth("fold.daily", "the fold is opened and shut each day", reads=["pattern"])
def daily(use: FoldUse) -> bool:
    """Whether the pattern says that it is opened each day."""
    return use.fold.daily


@word("fold.coating", "finish that lies on the outer leather as a film", reads=["leather"], levels=("none", *COATINGS))
def coating(use: FoldUse) -> str | None:
    """Return the outer kind's coating, or none."""
    return None if use.outer.kind is None else use.outer.kind.coating or "none"


@word("fold.flex_report", "test of how the finish stands folding", reads=["leather"], levels=FLEX_REPORTS)
def flex_report(use: FoldUse) -> str | None:
    """Return none or on_file as the outer kind has it; None where nobody was asked."""
    return None if use.outer.kind is None else use.outer.kind.flex_report


@number(
    "piece.strap_stretch", "percent", "stretch of the strap", reads=["leather", "pattern"], of=("outside", "lining")
)
def strap_stretch(whole: Whole) -> Number | None:
    """Return the stretch of the least stretchy of outside and stitched lining, percent.

    None while one of them is open: a lining still to be chosen may hold the strap.
    """
    parts = [part for part in whole.piece.parts.values() if part.code in ("outside", "lining")]
    found = [part.kind.stretch_percent for part in parts if part.kind is not None]
    return min(found) if found and len(found) == len(parts) else None


@number("piece.pocket_stretch", "percent", "stretch of the pockets", reads=["leather", "pattern"], of=("pockets",))
def pocket_stretch(whole: Whole) -> Number | None:
    """Return the stretch of the part ``pockets``, percent."""
    pockets = whole.piece.parts.get("pockets")
    return None if pockets is None or pockets.kind is None else pockets.kind.stretch_percent


@truth("fold.across_spine", "the fold runs across the line of the spine", reads=["pattern"])
def across_spine(use: FoldUse) -> bool | None:
    """Whether the fold runs across the spine; None where the template does not say."""
    return use.fold.across_spine


@number("fold.stretch", "percent", "stretch of the leather outside of the fold", reads=["leather"])
def fold_stretch(use: FoldUse) -> Number | None:
    """Return the outer kind's stretch, percent."""
    return None if use.outer.kind is None else use.outer.kind.stretch_percent
