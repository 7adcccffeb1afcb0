"""Patterns of a catalog under the names that its files use."""

from __future__ import annotations

from typing import Any

from api.figures import figure, figure_or_none, mm, span_mm
from catalog.model import (
    Closed,
    Fixing,
    Fold,
    Layer,
    Load,
    Panel,
    Pattern,
    Pocket,
    Seam,
    Size,
    Spine,
    Zone,
)


def pattern(noun: Pattern) -> dict[str, Any]:
    """Return a pattern."""
    return {
        "code": noun.code,
        "name": noun.name,
        "status": noun.status,
        "parts": list(noun.parts),
        "panels": {code: _panel(panel) for code, panel in noun.panels.items()},
        "seams": {code: _seam(seam) for code, seam in noun.seams.items()},
        "folds": {code: _fold(fold) for code, fold in noun.folds.items()},
        "spine": _spine(noun.spine),
        "pockets": {code: _pocket(pocket) for code, pocket in noun.pockets.items()},
        "zones": {code: _zone(zone) for code, zone in noun.zones.items()},
        "closed": _closed(noun.closed),
        "pitch_mm": mm(noun.pitch_um),
        "stitches": list(noun.stitches),
        "edge_finishes": list(noun.edge_finishes),
        "edge_length_mm": mm(noun.edge_length_um),
        "hardware": {code: _fixing(fixing) for code, fixing in noun.fixings.items()},
        "sizes": {code: _size(size) for code, size in noun.sizes.items()},
        "load": _load(noun.load),
        "skin_contact": noun.skin_contact,
        "uses": list(noun.uses),
        "modifications": list(noun.modifications),
        "faces": list(noun.faces),
        "stamp_lands": noun.stamp_lands,
        "defaults": {
            "parts": dict(noun.default_parts),
            "thread": noun.default_thread,
            "edge": noun.default_edge,
            "hardware": dict(noun.default_hardware),
        },
    }


def _layers(layers: tuple[Layer, ...]) -> list[dict[str, Any]]:
    return [
        {"panel": each.panel, "count": each.count, "skived_to_mm": figure_or_none(each.skived_to_um, "mm")}
        for each in layers
    ]


def _panel(panel: Panel) -> dict[str, Any]:
    return {
        "part": panel.part,
        "count": panel.count,
        "width_mm": mm(panel.width_um),
        "height_mm": mm(panel.height_um),
        "cut_width_mm": mm(panel.cut_width_um),
        "cut_height_mm": mm(panel.cut_height_um),
        "thickness_mm": span_mm(panel.thickness),
        "direction": "any" if panel.turnable else "long",
        "reverse_seen": panel.reverse_seen,
        "pair": panel.pair,
    }


def _seam(seam: Seam) -> dict[str, Any]:
    return {
        "length_mm": mm(seam.length_um),
        "limit_mm": mm(seam.limit_um),
        "layers": _layers(seam.layers),
        "from_edge_mm": figure_or_none(seam.from_edge_um, "mm"),
    }


def _fold(fold: Fold) -> dict[str, Any]:
    return {
        "panels": list(fold.panels),
        "inner_radius_mm": mm(fold.inner_radius_um),
        "skived_to_mm": figure_or_none(fold.skived_to_um, "mm"),
        "daily": fold.daily,
        "across_spine": fold.across_spine,
    }


def _spine(spine: Spine | None) -> dict[str, Any] | None:
    if spine is None:
        return None
    return {
        "panels": list(spine.panels),
        "limit_mm": mm(spine.limit_um),
        "skived_to_mm": figure_or_none(spine.skived_to_um, "mm"),
    }


def _pocket(pocket: Pocket) -> dict[str, Any]:
    return {
        "use": pocket.use,
        "width_mm": mm(pocket.width_um),
        "height_mm": mm(pocket.height_um),
        "depth_mm": mm(pocket.depth_um),
        "count": pocket.count,
    }


def _zone(zone: Zone) -> dict[str, Any]:
    return {
        "panel": zone.panel,
        "width_mm": mm(zone.width_um),
        "height_mm": mm(zone.height_um),
        "on": zone.on,
        "mirrored": zone.mirrored,
    }


def _closed(closed: Closed) -> dict[str, Any]:
    return {
        "limit_mm": mm(closed.limit_um),
        "layers": _layers(closed.layers),
        "carried": {
            "cards": closed.cards,
            "notes": closed.notes,
            "business_cards": closed.business_cards,
            "passport_mm": mm(closed.passport_um),
        },
        "outline_mm": _outline(closed),
    }


def _outline(closed: Closed) -> dict[str, Any] | None:
    if closed.width_um is None or closed.height_um is None:
        return None
    return {"width": mm(closed.width_um), "height": mm(closed.height_um)}


def _fixing(fixing: Fixing) -> dict[str, Any]:
    return {
        "types": list(fixing.types),
        "required": fixing.required,
        "layers": _layers(fixing.layers),
        "skived_to_mm": figure_or_none(fixing.skived_to_um, "mm"),
    }


def _size(size: Size) -> dict[str, Any]:
    return {
        "offered": [mm(value) for value in size.offered_um] or None,
        "min": figure_or_none(size.min_um, "mm"),
        "max": figure_or_none(size.max_um, "mm"),
        "default": figure_or_none(size.default_um, "mm"),
    }


def _load(load: Load) -> dict[str, Any]:
    return {
        "class": load.load_class,
        "required_break_n": figure_or_none(load.required_break_n, "N"),
        "end_factor": None if load.end_factor is None else figure(load.end_factor, "ratio"),
        "scales_with_dog": load.scales_with_dog,
        "end_seam": load.end_seam,
    }
