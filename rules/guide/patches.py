"""What changes from a spec to another, as a merge patch (RFC 7396), as a spec, and in words."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from rules.echo import mm
from rules.guide.domain import Domain, Matched, Slot
from rules.guide.views import foreign_in
from rules.neighbors import said_of_edge, said_of_hardware, said_of_part, said_of_side, said_of_thread
from rules.piece import GRAIN, Piece
from rules.spec import PartChoice, Spec


@dataclass(frozen=True, slots=True)
class Change:
    """A merge patch, the spec that it makes, and what it says."""

    patch: dict[str, Any]
    spec: Spec
    says: str


@dataclass
class _Growing:
    """A change that is put together slot by slot."""

    spec: Spec
    patch: dict[str, Any] = field(default_factory=dict)
    says: list[str] = field(default_factory=list)

    def put(self, field_name: str, value: Any, shown: Any, says: str) -> None:
        """Change a field of its own."""
        changed: dict[str, Any] = {field_name: value}
        self.spec = replace(self.spec, **changed)
        self.patch[field_name] = shown
        self.says.append(says)

    def put_in(self, field_name: str, name: str, shown: Any, says: str) -> None:
        """Note what changes in a field that holds several."""
        self.patch.setdefault(field_name, {})[name] = shown
        self.says.append(says)


def change_to(domain: Domain, piece: Piece, values: Sequence[int], only: Collection[int] | None = None) -> Change:
    """Return what changes from a piece's spec to certain values of the slots of a domain, or of some of them only."""
    growing = _Growing(piece.spec)
    for pointer in foreign_in(piece):
        _dropped(pointer, growing)
    for number, (slot, place) in enumerate(zip(domain.slots, values, strict=True)):
        if only is not None and number not in only:
            continue
        _CHANGES[slot.read](domain, piece, slot, slot.values[place], growing)
    return Change(growing.patch, growing.spec, "; ".join(growing.says))


def _dropped(pointer: str, growing: _Growing) -> None:
    """Leave out what the pattern lacks."""
    _, name, own = pointer.split("/")
    growing.put_in(name, own, None, f"Leave out {own}")
    at = "sizes_um" if name == "sizes" else name
    changed: dict[str, Any] = {at: {each: value for each, value in getattr(growing.spec, at).items() if each != own}}
    growing.spec = replace(growing.spec, **changed)


def _part(domain: Domain, piece: Piece, slot: Slot, value: Any, growing: _Growing) -> None:
    asked, use = piece.spec.parts.get(slot.part), piece.parts[slot.part]
    patch: dict[str, str] = {}
    if use.leather is None or use.leather.code != value.leather:
        patch["leather"] = value.leather
        growing.says.append(said_of_part(domain.shop.catalog.leathers[value.leather], slot.part))
    if value.side != ((asked.side if asked is not None else None) or GRAIN):
        patch["side"] = value.side
        growing.says.append(said_of_side(value.side, slot.part))
    if patch:
        growing.patch.setdefault("parts", {})[slot.part] = patch
        side = value.side if "side" in patch or asked is None else asked.side
        parts = {**growing.spec.parts, slot.part: PartChoice(value.leather, None if side == GRAIN else side)}
        growing.spec = replace(growing.spec, parts=parts)


def _color(domain: Domain, piece: Piece, slot: Slot, value: Any, growing: _Growing) -> None:
    own = piece.thread if slot.read == "thread" else piece.edge
    matches = piece.matches_thread if slot.read == "thread" else piece.matches_edge
    if isinstance(value, Matched) or (own is not None and own.code == value and not matches):
        return
    catalog = domain.shop.catalog
    says = said_of_thread(catalog.threads[value]) if slot.read == "thread" else said_of_edge(catalog.edges[value])
    growing.put(slot.read, value, value, says)


def _stitch(_: Domain, piece: Piece, __: Slot, value: Any, growing: _Growing) -> None:
    if value != piece.stitch:
        growing.put("stitch", value, value, f"{value.capitalize()} stitching")


def _hardware(domain: Domain, piece: Piece, _: Slot, value: Any, growing: _Growing) -> None:
    wanted = dict(value)
    own = {place: piece.indexes.hardware.code(code) for place, code in piece.spec.hardware.items()}
    for place in domain.pattern.fixings:
        code = wanted.get(place)
        if code == own.get(place):
            continue
        says = f"No {place}" if code is None else said_of_hardware(domain.shop.catalog.hardware[code])
        growing.put_in("hardware", place, code, says)
        kept = {at: each for at, each in growing.spec.hardware.items() if at != place}
        growing.spec = replace(growing.spec, hardware=kept if code is None else {**kept, place: code})


def _sizes(_: Domain, piece: Piece, __: Slot, value: Any, growing: _Growing) -> None:
    for code, um in value:
        if piece.spec.sizes_um.get(code) != um:
            says = f"{code.removesuffix('_mm').replace('_', ' ').capitalize()} {um / 1000:g} mm"
            growing.put_in("sizes", code, mm(um), says)
            growing.spec = replace(growing.spec, sizes_um={**growing.spec.sizes_um, code: um})


def _modifications(domain: Domain, piece: Piece, _: Slot, value: Any, growing: _Growing) -> None:
    if set(value) == set(piece.modifications):
        return
    kept = [code for code in piece.modifications if code in value]
    codes = (*kept, *(code for code in value if code not in kept))
    growing.put("modifications", codes, list(codes) or None, "; ".join(_modified(domain, piece, value)))


def _modified(domain: Domain, piece: Piece, value: Any) -> Iterator[str]:
    names = domain.shop.catalog.modifications
    for code in dict.fromkeys([*piece.modifications, *value]):
        if (code in value) != (code in piece.modifications):
            name = names[code].name.lower() if code in names else code
            yield f"With {name}" if code in value else f"Without {name}"


def _monogram(domain: Domain, piece: Piece, _: Slot, value: Any, growing: _Growing) -> None:
    asked = piece.spec.monogram
    if asked is None:
        return
    if value is None:
        growing.put("monogram", None, None, "No monogram")
        return
    own = {"method": asked.method, "typeface": asked.typeface, "zone": asked.zone, "foil": asked.foil}
    for name, given in own.items():
        code = getattr(value, name)
        if code is None or (given is not None and given.casefold() == code.casefold()):
            continue
        growing.put_in("monogram", name, code, _lettered(domain, name, code))
        changed: dict[str, Any] = {name: code}
        growing.spec = replace(growing.spec, monogram=replace(growing.spec.monogram or asked, **changed))


def _lettered(domain: Domain, name: str, code: str) -> str:
    match name:
        case "method":
            return f"{code.capitalize()} letters"
        case "typeface":
            return f"Typeface {code}"
        case "zone":
            return f"Letters in {code}"
        case _:
            return f"{domain.shop.catalog.foils[code].color.capitalize()} foil"


def _purpose(_: Domain, piece: Piece, __: Slot, value: Any, growing: _Growing) -> None:
    if value.use != piece.use:
        growing.put_in("purpose", "use", value.use, f"For {value.use.replace('_', ' ')}")
        growing.spec = replace(growing.spec, purpose=replace(growing.spec.purpose, use=value.use))


_CHANGES = {
    "part": _part, "thread": _color, "edge": _color, "stitch": _stitch, "hardware": _hardware, "sizes": _sizes,
    "modifications": _modifications, "monogram": _monogram, "purpose": _purpose,
}  # fmt: skip
