"""A partial spec as it is asked for: what is fixed, what is only context, what no catalog has."""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from typing import Any, TypeVar

from catalog.model import CarryItem, Catalog, Leather, Lot, Pattern

Noun = TypeVar("Noun")

#: Of a spec, what the customer says and nobody chooses for him.
_CONTEXT = ("pattern", "carry", "purpose", "quantity", "ship_to", "rush", "lots")


def um(mm: Any) -> int:
    """Return millimeters of a JSON figure as whole micrometers."""
    return int(Decimal(str(mm)) * 1000)


def mm(micrometers: int) -> int | float:
    """Return micrometers as a JSON figure of millimeters."""
    return micrometers // 1000 if micrometers % 1000 == 0 else micrometers / 1000


def find(nouns: Mapping[str, Noun], code: str | None) -> Noun | None:
    """Return a noun by its code, without regard to case."""
    if code is None:
        return None
    if code in nouns:
        return nouns[code]
    return next((noun for key, noun in nouns.items() if key.casefold() == code.casefold()), None)


def named(nouns: Mapping[str, Any], code: str) -> str | None:
    """Return a code as the catalog writes it, or None."""
    return next((key for key in nouns if key.casefold() == code.casefold()), None)


def edited(spec: Mapping[str, Any], pointer: str | None, value: Any) -> tuple[dict[str, Any], frozenset[str]]:
    """Return a spec in which an option is chosen, and the slots that are to stay empty by it.

    Raises:
        ValueError: a pointer to something that is not chosen.
    """
    changed: dict[str, Any] = deepcopy({name: each for name, each in spec.items() if each is not None})
    if pointer is None:
        return changed, frozenset()
    head, _, tail = pointer.strip("/").partition("/")
    if head == "modifications":
        changed["modifications"] = [] if value is None else [*changed.get("modifications", []), value]
        return changed, frozenset({"modifications"} if value is None else ())
    if head == "monogram":
        return _lettered(changed, tail, value)
    if head in ("thread", "stitch", "edge"):
        changed[head] = value
        return changed, frozenset()
    if head not in ("parts", "hardware", "sizes", "purpose") or not tail:
        raise ValueError(f"{pointer} is nothing to choose")
    changed[head] = {**changed.get(head, {}), tail: value}
    return changed, frozenset({f"hardware/{tail}"} if head == "hardware" and value is None else ())


def _lettered(spec: dict[str, Any], tail: str, value: Any) -> tuple[dict[str, Any], frozenset[str]]:
    if not tail:
        spec["monogram"] = value
        return spec, frozenset({"monogram"} if value is None else ())
    if value is None and tail == "foil":
        spec["monogram"] = {**spec["monogram"], "foil": None} if spec.get("monogram") else None
        return spec, frozenset({"foil"})
    if value is None:
        spec["monogram"] = None
        return spec, frozenset({"monogram"})
    spec["monogram"] = {**(spec.get("monogram") or {}), tail: value}
    return spec, frozenset()


def context_key(spec: Mapping[str, Any]) -> str:
    """Return all of a spec that is never chosen, as text: equal where it is the same."""
    told = {name: spec.get(name) for name in _CONTEXT}
    told["text"] = (spec.get("monogram") or {}).get("text")
    told["lengths"] = {name: (spec.get("sizes") or {}).get(name) for name in ("length_mm", "waist_to_hole_mm")}
    told["matches"] = _matches(spec)
    return json.dumps(told, sort_keys=True, default=str)


@dataclass(frozen=True)
class Context:
    """What a spec says that is not chosen, against the catalog. Lengths in micrometers."""

    catalog: Catalog
    pattern: Pattern
    quantity: int
    ship_to: str
    rush: bool
    cards: int | None
    notes: tuple[tuple[CarryItem, int], ...]
    business: tuple[CarryItem, int] | None
    passport: bool
    passport_um: int | None
    blade: tuple[int, int, int] | None
    notebook: tuple[int | None, int | None, int | None] | None
    use: str | None
    child: bool
    dog_kg: Fraction | None
    lots: Mapping[str, tuple[Lot, ...]]
    text: str | None
    lengths: Mapping[str, int] = field(default_factory=dict)
    matches: tuple[str, ...] = ()

    def threshold(self, name: str) -> int | Fraction:
        """Return a named limit in base units."""
        return self.catalog.thresholds[name].value

    @property
    def bearing(self) -> bool:
        """Whether the pattern bears a load."""
        return self.pattern.load.load_class == "bearing"


class RefusedError(Exception):
    """The spec is refused whatever is still chosen; ``str()`` names the rule."""


def context_of(catalog: Catalog, spec: Mapping[str, Any]) -> Context:
    """Read what is not chosen.

    Raises:
        RefusedError: by a rule that nothing chosen can satisfy (CAT-01, CAT-04, LAW-12, LOD-04).
    """
    pattern = find(catalog.patterns, spec["pattern"])
    if pattern is None:
        raise RefusedError("CAT-01 pattern")
    if pattern.status == "retired":
        raise RefusedError("CAT-02 pattern")
    carry, purpose = spec.get("carry") or {}, spec.get("purpose") or {}
    _claims(catalog, purpose)
    business, blade, book = carry.get("business_cards"), carry.get("blade"), carry.get("notebook")
    for tool in carry.get("tools") or ():
        _item(catalog, tool["item"], "tool")
    text = (spec.get("monogram") or {}).get("text")
    passport = carry.get("passport")
    return Context(
        catalog=catalog,
        pattern=pattern,
        quantity=spec.get("quantity") or 1,
        ship_to=(spec.get("ship_to") or catalog.workshop.home_country).upper(),
        rush=bool(spec.get("rush")),
        cards=carry.get("cards"),
        notes=tuple((_item(catalog, each["item"], "note"), _count(each)) for each in carry.get("notes") or ()),
        business=None if business is None else (_item(catalog, business["item"], "business_card"), _count(business)),
        passport=passport is not None,
        passport_um=um(passport["thickness_mm"]) if passport and passport.get("thickness_mm") is not None else None,
        blade=None if blade is None else (um(blade["width_mm"]), um(blade["thickness_mm"]), um(blade["length_mm"])),
        notebook=None if book is None else _notebook(catalog, book),
        use=_use(catalog, purpose),
        child=bool(purpose.get("child_under_3")),
        dog_kg=None if purpose.get("dog_kg") is None else Fraction(str(purpose["dog_kg"])),
        lots=_lots(catalog, pattern, spec),
        text=None if text is None else unicodedata.normalize("NFC", text),
        lengths=_lengths(spec),
        matches=_matches(spec),
    )


def _matches(spec: Mapping[str, Any]) -> tuple[str, ...]:
    """Return which of thread and edge are to match the outside."""
    return tuple(slot for slot in ("thread", "edge") if (spec.get(slot) or "").casefold() == "match")


def _lengths(spec: Mapping[str, Any]) -> dict[str, int]:
    sizes = spec.get("sizes") or {}
    return {name: um(sizes[name]) for name in ("length_mm", "waist_to_hole_mm") if sizes.get(name) is not None}


def _count(asked: Mapping[str, Any]) -> int:
    count = asked.get("count")
    return 1 if count is None else int(count)


def _item(catalog: Catalog, code: str, group: str) -> CarryItem:
    item = find(catalog.carry_items, code)
    if item is None or item.group != group:
        raise RefusedError(f"CAT-01 {group}")
    return item


def _notebook(catalog: Catalog, book: Mapping[str, Any]) -> tuple[int | None, int | None, int | None]:
    """Return width, height and thickness of the pages; sizes of its own before the published ones."""
    item = None if book.get("item") is None else _item(catalog, book["item"], "notebook")
    width, height, block = (
        None if book.get(name) is None else um(book[name]) for name in ("width_mm", "height_mm", "block_mm")
    )
    least = catalog.thresholds["inch_below_mm"].value
    if any(side is not None and side < least for side in (width, height)):
        raise RefusedError("CAT-09 notebook")
    if item is not None:
        width, height = item.width_um if width is None else width, item.height_um if height is None else height
    return width, height, block


def _claims(catalog: Catalog, purpose: Mapping[str, Any]) -> None:
    for claim in purpose.get("claims") or ():
        grade = find(catalog.claims, claim)
        if grade is None:
            raise RefusedError("CAT-01 claim")
        if grade == "refuse":
            raise RefusedError("LAW-12")


def _use(catalog: Catalog, purpose: Mapping[str, Any]) -> str | None:
    use = purpose.get("use")
    if use is None:
        return None
    known = named(catalog.uses, use)
    if known is None:
        raise RefusedError("CAT-01 use")
    if catalog.uses[known] == "refuse":
        raise RefusedError("LOD-04")
    return known


def _lots(catalog: Catalog, pattern: Pattern, spec: Mapping[str, Any]) -> dict[str, tuple[Lot, ...]]:
    found: dict[str, tuple[Lot, ...]] = {}
    for part, codes in (spec.get("lots") or {}).items():
        lots = [find(catalog.lots, code) for code in codes or ()]
        if any(lot is None for lot in lots):
            raise RefusedError("CAT-01 lot")
        if lots and part not in pattern.parts:
            raise RefusedError("CAT-04 lots")
        if lots:
            found[part] = tuple({lot.code: lot for lot in lots if lot is not None}.values())
    return found


def leather_of(catalog: Catalog, code: str) -> Leather:
    """Return a leather. Raises RefusedError where the catalog lacks it (CAT-01)."""
    leather = find(catalog.leathers, code)
    if leather is None:
        raise RefusedError("CAT-01 leather")
    return leather
