"""The codes of a catalog that may still be chosen, each with what a person needs to know of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from api.figures import mm
from catalog.model import Catalog, Swatch
from rules.spec import WORN_IN

ACTIVE: Final = "active"
_RETIRED: Final = "retired"
_FINE: Final = "fine"


@dataclass(frozen=True, slots=True)
class Code:
    """A code that is alive, and what a person needs to know to choose it."""

    code: str
    name: str
    family: str
    swatch: Swatch | None = None


def alive(catalog: Catalog) -> dict[str, tuple[Code, ...]]:
    """Return the codes that are neither retired nor used up, by the kind of noun that a column takes."""
    groups = {"notes": "note", "business_cards": "business_card", "notebooks": "notebook", "tools": "tool"}
    methods = dict.fromkeys(method for face in catalog.typefaces.values() for method in face.methods)
    stitches = dict.fromkeys(stitch for pattern in catalog.patterns.values() for stitch in pattern.stitches)
    return {
        "patterns": tuple(
            Code(each.code, each.name, "pattern") for each in catalog.patterns.values() if each.status == ACTIVE
        ),
        "leathers": tuple(
            Code(each.code, each.name, each.kind.name, each.swatch)
            for each in catalog.leathers.values()
            if each.status != _RETIRED and any(lot.free_um2 > 0 for lot in catalog.lots_of(each.code))
        ),
        "threads": tuple(
            Code(each.code, f"{each.color.capitalize()}, {mm(each.diameter_um)} mm", each.material, each.swatch)
            for each in catalog.threads.values()
            if each.status == ACTIVE and each.left_um > 0
        ),
        "stitches": tuple(Code(each, each.capitalize(), "stitch") for each in stitches),
        "edges": tuple(
            Code(each.code, each.color.capitalize(), each.finish, each.swatch)
            for each in catalog.edges.values()
            if each.status == ACTIVE and each.left_ul != 0
        ),
        "hardware": tuple(
            Code(each.code, f"{each.finish.capitalize()}, {mm(each.size_um)} mm", each.type.replace("_", " "))
            for each in catalog.hardware.values()
            if each.stock > 0
        ),
        "methods": tuple(Code(each, each.capitalize(), "marking") for each in methods),
        "typefaces": tuple(
            Code(each.code, f"Capitals {mm(each.cap_um)} mm", ", ".join(each.methods))
            for each in catalog.typefaces.values()
        ),
        "zones": _zones(catalog),
        "foils": tuple(
            Code(each.code, each.color.capitalize(), "foil") for each in catalog.foils.values() if each.left_um > 0
        ),
        "modifications": tuple(Code(each.code, each.name, "change") for each in catalog.modifications.values()),
        **{
            noun: tuple(
                Code(each.code, each.name, group.replace("_", " "))
                for each in catalog.carry_items.values()
                if each.group == group
            )
            for noun, group in groups.items()
        },
        "worn_in": tuple(Code(each, each.replace("_", " ").capitalize(), "pocket") for each in WORN_IN),
        "uses": _fine(catalog.uses, "use"),
        "claims": _fine(catalog.claims, "claim"),
    }


def _zones(catalog: Catalog) -> tuple[Code, ...]:
    found: dict[str, Code] = {}
    for pattern in catalog.patterns.values():
        for zone in pattern.zones.values():
            name = f"On the {zone.panel.replace('_', ' ')}, {zone.on}"
            found.setdefault(zone.code, Code(zone.code, name, "place for letters"))
    return tuple(found.values())


def _fine(grades: Mapping[str, str], family: str) -> tuple[Code, ...]:
    """Return what is not refused by its name alone: what is refused is never proposed."""
    return tuple(Code(code, code.replace("_", " ").capitalize(), family) for code, g in grades.items() if g == _FINE)
