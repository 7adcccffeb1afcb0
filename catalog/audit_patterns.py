"""Patterns that nobody can build, and defaults that the pattern itself does not offer."""

from __future__ import annotations

from collections.abc import Iterator

from catalog.model import Catalog, Layer, Pattern, Size, Spine
from catalog.strict_yaml import Document, Fault, did_you_mean
from catalog.units import shown
from catalog.vocabulary import OUTSIDE


def audit_patterns(catalog: Catalog, document: Document, faulty: frozenset[str]) -> Iterator[Fault]:
    """Return every impossible figure of the patterns.

    Args:
        catalog: all that could be read.
        document: ``patterns.yaml``.
        faulty: files with faults; where the hardware has some, its types are not all known.
    """
    for pattern in catalog.patterns.values():
        yield from _panels(pattern, document)
        yield from _zones(pattern, document)
        yield from _stacks(pattern, document)
        if "hardware.yaml" not in faulty:
            yield from _fixings(catalog, pattern, document)
        yield from _sizes(pattern, document)
        if pattern.status == "active":
            yield from _default_leathers(catalog, pattern, document)
            yield from _default_supplies(catalog, pattern, document)


def _panels(pattern: Pattern, document: Document) -> Iterator[Fault]:
    for panel in pattern.panels.values():
        sides = (
            ("cut_width_mm", panel.cut_width_um, panel.width_um),
            ("cut_height_mm", panel.cut_height_um, panel.height_um),
        )
        for name, cut, finished in sides:
            if cut < finished:
                message = f"{name}: {_mm(cut)} mm is less than the finished {_mm(finished)} mm"
                yield document.fault((pattern.code, "panels", panel.code, name), message)


def _zones(pattern: Pattern, document: Document) -> Iterator[Fault]:
    for zone in pattern.zones.values():
        panel = pattern.panels[zone.panel]
        # Letters may run along a strap, so either way round will do.
        zone_sides = sorted((zone.width_um, zone.height_um))
        panel_sides = sorted((panel.width_um, panel.height_um))
        if any(side > room for side, room in zip(zone_sides, panel_sides, strict=True)):
            message = (
                f"the zone, {_mm(zone.width_um)} x {_mm(zone.height_um)} mm, is larger than its panel, "
                f"{_mm(panel.width_um)} x {_mm(panel.height_um)} mm"
            )
            yield document.fault((pattern.code, "zones", zone.code), message)


def _stacks(pattern: Pattern, document: Document) -> Iterator[Fault]:
    for seam in pattern.seams.values():
        thinnest = sum(layer.count * _thinnest(pattern, layer) for layer in seam.layers)
        if thinnest > seam.limit_um:
            path = (pattern.code, "seams", seam.code, "limit_mm")
            yield document.fault(path, _never(seam.limit_um, thinnest))
    if pattern.spine is not None:
        yield from _spine(pattern, pattern.spine, document)


def _spine(pattern: Pattern, spine: Spine, document: Document) -> Iterator[Fault]:
    thinnest = sum(_thinnest(pattern, Layer(panel, 1)) for panel in spine.panels)
    if spine.skived_to_um is not None:
        thinnest = min(thinnest, spine.skived_to_um)
    if thinnest > spine.limit_um:
        yield document.fault((pattern.code, "spine", "limit_mm"), _never(spine.limit_um, thinnest))


def _thinnest(pattern: Pattern, layer: Layer) -> int:
    thinnest = pattern.panels[layer.panel].thickness.min_um
    return thinnest if layer.skived_to_um is None else min(thinnest, layer.skived_to_um)


def _never(limit: int, thinnest: int) -> str:
    return f"limit_mm: {_mm(limit)} mm can never be met: the thinnest layers allowed make {_mm(thinnest)} mm"


def _fixings(catalog: Catalog, pattern: Pattern, document: Document) -> Iterator[Fault]:
    types = {hardware.type for hardware in catalog.hardware.values()}
    for fixing in pattern.fixings.values():
        for index, word in enumerate(fixing.types):
            if word not in types:
                message = f"types: no hardware is of the type '{word}'{did_you_mean(word, types)}"
                yield document.fault((pattern.code, "hardware", fixing.code, "types", index), message)


def _sizes(pattern: Pattern, document: Document) -> Iterator[Fault]:
    for size in pattern.sizes.values():
        if size.default_um is not None and not offered(size, size.default_um):
            message = f"default: {_mm(size.default_um)} mm is not among the {size.code} offered"
            yield document.fault((pattern.code, "sizes", size.code, "default"), message)


def offered(size: Size, value_um: int) -> bool:
    """Say whether a pattern offers a value of a size: listed, where values are, and within the range."""
    return (
        (not size.offered_um or value_um in size.offered_um)
        and (size.min_um is None or value_um >= size.min_um)
        and (size.max_um is None or value_um <= size.max_um)
    )


def _default_leathers(catalog: Catalog, pattern: Pattern, document: Document) -> Iterator[Fault]:
    for part, code in pattern.default_parts.items():
        leather = catalog.leathers.get(code)
        if leather is None:
            continue
        path = (pattern.code, "defaults", "parts", part)
        if leather.status == "retired":
            yield document.fault(path, f"{part}: {code} is retired and cannot be a default")
        if part == OUTSIDE and leather.kind.lining_only:
            yield document.fault(path, f"{part}: {code} is a lining leather and cannot be outside")


def _default_supplies(catalog: Catalog, pattern: Pattern, document: Document) -> Iterator[Fault]:
    edge = catalog.edges.get(pattern.default_edge or "")
    if edge is not None and edge.finish not in pattern.edge_finishes:
        listed = ", ".join(pattern.edge_finishes)
        message = f"edge: {edge.code} is {edge.finish}; this pattern offers {listed}"
        yield document.fault((pattern.code, "defaults", "edge"), message)
    for slot, code in pattern.default_hardware.items():
        hardware, fixing = catalog.hardware.get(code), pattern.fixings.get(slot)
        if hardware is not None and fixing is not None and hardware.type not in fixing.types:
            message = f"{slot}: {code} is a {hardware.type}; this pattern takes {', '.join(fixing.types)}"
            yield document.fault((pattern.code, "defaults", "hardware", slot), message)


def _mm(value: int) -> str:
    return f"{shown(value, 'mm').normalize():f}"
