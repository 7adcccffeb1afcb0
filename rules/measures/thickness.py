"""Measures of a panel's thickness from a lot (THK)."""

from __future__ import annotations

from catalog.vocabulary import LOT_FORMS
from rules.subjects import PanelUse, Whole
from rules.vocabulary import number, truth, word

_USES = (
    "too_thin", "fits", "tolerated", "flesh_out", "unsplittable", "too_delicate", "bearing", "split_sign_off", "split",
)  # fmt: skip


@number("panel.upper", "mm", "upper thickness of the lot", reads=["lots"])
def upper(use: PanelUse) -> int:
    """Return the lot's upper thickness, um."""
    return use.lot.thickness.max_um


@number("panel.lower", "mm", "lower thickness of the lot", reads=["lots"])
def lower(use: PanelUse) -> int:
    """Return the lot's lower thickness, um."""
    return use.lot.thickness.min_um


@number("panel.least", "mm", "the panel's minimum", reads=["pattern"])
def least(use: PanelUse) -> int:
    """Return the panel's minimum, um."""
    return use.panel.thickness.min_um


@number("panel.most", "mm", "the panel's maximum", reads=["pattern"])
def most(use: PanelUse) -> int:
    """Return the panel's maximum, um."""
    return use.panel.thickness.max_um


@number("panel.spread", "mm", "range of thickness within the lot", reads=["lots"])
def spread(use: PanelUse) -> int:
    """Return the lot's range, um."""
    return use.lot.thickness.max_um - use.lot.thickness.min_um


@word("panel.use", "how the lot's thickness suits the panel", reads=["lots", "side", "pattern"], levels=_USES)
def use_of(use: PanelUse) -> str:
    """Return the first rule of use that applies (see :func:`rules.case.thickness_from`)."""
    return use.use.how


@number("panel.split_min", "mm", "thinnest that a split may leave", reads=["leather"])
def split_min(use: PanelUse) -> int:
    """Return the kind's thinnest split, um."""
    return use.kind.split_min_um


@word("panel.form", "form of the lot", reads=["lots"], levels=LOT_FORMS)
def form(use: PanelUse) -> str:
    """Return the lot's form."""
    return use.lot.form


@truth("piece.bearing", "the pattern bears a load", reads=["pattern"])
def bearing(whole: Whole) -> bool:
    """Whether the pattern's load class is bearing."""
    return whole.piece.bearing


@word("piece.load_class", "load class of the pattern", reads=["pattern"], levels=("none", "light", "bearing"))
def load_class(whole: Whole) -> str | None:
    """Return the pattern's load class."""
    return None if whole.piece.pattern is None else whole.piece.pattern.load.load_class
