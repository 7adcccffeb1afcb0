"""Leathers and supplies of a catalog under the names that its files use."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from api.figures import figure, figure_or_none, mm, money, span_mm
from catalog.model import (
    CarryItem,
    Edge,
    Foil,
    Hardware,
    Kind,
    Leather,
    Thread,
    Typeface,
    Workshop,
)


def kind(noun: Kind, workshop: Workshop) -> dict[str, Any]:
    """Return a kind."""
    return {
        "code": noun.code,
        "name": noun.name,
        "species": noun.species,
        "tannage": noun.tannage,
        "thickness_held_mm": span_mm(noun.held),
        "split": noun.split,
        "split_min_mm": mm(noun.split_min_um),
        "skive_min_mm": mm(noun.skive_min_um),
        "strain_limit": {side: figure(limit, "ratio") for side, limit in noun.strain_limit.items()},
        "edge": dict(noun.edge),
        "mark": dict(noun.mark),
        "back_shown": noun.back_shown,
        "marks_at_folds": noun.marks_at_folds,
        "tensile_n_per_mm2": figure(noun.tensile_n_per_mm2, "ratio"),
        "stretch_percent": figure(noun.stretch_percent, "ratio"),
        "stiff": noun.stiff,
        "yield": figure(noun.yield_ratio, "ratio"),
        "lot_drift_de00": figure(noun.lot_drift_milli, "de00"),
        "rub_rating": noun.rub_rating,
        "price_per_sqft": money(noun.price_per_sqft_minor, workshop.minor_digits),
        "currency": workshop.currency,
        "price_band": noun.price_band,
        "lead_days": noun.lead_days,
        "minimum_order_sqft": figure(noun.minimum_order_sqft, "ratio"),
        "lining_only": noun.lining_only,
        "coating": noun.coating,
        "flex_report": noun.flex_report,
        "reports": noun.reports,
    }


def leather(noun: Leather) -> dict[str, Any]:
    """Return a leather."""
    return {
        "code": noun.code,
        "kind": noun.kind.code,
        "name": noun.name,
        "srgb": noun.swatch.srgb,
        "reserve_dm2": figure(noun.reserve_um2, "dm2"),
        "status": noun.status,
        "aliases": list(noun.aliases),
        "demand_dm2_per_week": figure_or_none(noun.weekly_um2, "dm2"),
    }


def thread(noun: Thread) -> dict[str, Any]:
    """Return a thread."""
    return {
        "code": noun.code,
        "material": noun.material,
        "tex": figure(noun.tex, "ratio"),
        "diameter_mm": mm(noun.diameter_um),
        "color": noun.color,
        "srgb": noun.swatch.srgb,
        "left_m": figure(noun.left_um, "m"),
        "break_n": figure(noun.break_n, "N"),
        "status": noun.status,
        "supply": noun.supply,
    }


def edge(noun: Edge) -> dict[str, Any]:
    """Return an edge."""
    return {
        "code": noun.code,
        "finish": noun.finish,
        "color": noun.color,
        "srgb": None if noun.swatch is None else noun.swatch.srgb,
        "left_ml": figure_or_none(noun.left_ul, "ml"),
        "status": noun.status,
        "opened_on": None if noun.opened_on is None else noun.opened_on.isoformat(),
    }


def hardware(noun: Hardware) -> dict[str, Any]:
    """Return a fitting."""
    return {
        "code": noun.code,
        "type": noun.type,
        "size_mm": mm(noun.size_um),
        "grip_mm": span_mm(noun.grip),
        "finish": noun.finish,
        "nickel_report": noun.nickel_report,
        "magnetic": noun.magnetic,
        "stock": noun.stock,
        "break_n": figure_or_none(noun.break_n, "N"),
        "tone": noun.tone,
        "flux_index": figure_or_none(noun.flux_index, "kG2mm2"),
        "loose": noun.loose,
        "faces_leather": noun.faces_leather,
    }


def typeface(noun: Typeface) -> dict[str, Any]:
    """Return a typeface."""
    return {
        "code": noun.code,
        "methods": list(noun.methods),
        "cap_mm": mm(noun.cap_um),
        "advance_mm": mm(noun.advance_um),
        "space_mm": mm(noun.space_um),
        "extra_signs": noun.extra_signs,
        "sorts_per_letter": noun.sorts_per_letter,
        "sorts": dict(noun.sorts),
        "worn": dict(noun.worn),
    }


def foil(noun: Foil) -> dict[str, Any]:
    """Return a foil."""
    return {"code": noun.code, "color": noun.color, "left_m": figure(noun.left_um, "m")}


def carry_item(noun: CarryItem) -> dict[str, Any]:
    """Return a carry item."""
    return {
        "code": noun.code,
        "group": noun.group,
        "name": noun.name,
        "width_mm": mm(noun.width_um),
        "height_mm": mm(noun.height_um),
        "thickness_mm": mm(noun.thickness_um),
        "source": noun.source,
    }


Render = Callable[[Any], dict[str, Any]]

#: By resource that is not a pattern: the catalog's attribute, and how one of its nouns is shown.
SUPPLIES: Final[Mapping[str, tuple[str, Render]]] = {
    "leathers": ("leathers", leather),
    "threads": ("threads", thread),
    "edges": ("edges", edge),
    "hardware": ("hardware", hardware),
    "typefaces": ("typefaces", typeface),
    "foils": ("foils", foil),
    "carry-items": ("carry_items", carry_item),
}
