"""Specs one change away from a spec: what a clerk would try first.

Each neighbor is a merge patch (RFC 7396), the spec that it makes, the slot it changes, and how
far in color it lies (CIEDE2000 to what stood there, thousandths; 0 where color plays no part).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from catalog.color import de00_milli
from catalog.model import Edge, Hardware, Leather, Pattern, Swatch, Thread
from rules.echo import mm
from rules.inches import in_inches, lengths_of, may_be_inches, mm_of_inches
from rules.piece import FLESH, GRAIN, OUTSIDE, Piece
from rules.spec import Monogram, PartChoice, Spec


@dataclass(frozen=True, slots=True)
class Neighbor:
    """A spec one change away."""

    slot: str
    change: dict[str, Any]
    spec: Spec
    says: str
    distance_milli: int = 0


def said_of_part(leather: Leather, part: str) -> str:
    """Return a leather for a part in words."""
    return f"{leather.name} for the {part}"


def said_of_side(side: str, part: str) -> str:
    """Return a side for a part in words."""
    return f"{side.capitalize()} side out for the {part}"


def said_of_thread(thread: Thread) -> str:
    """Return a thread in words."""
    return f"{thread.color.capitalize()} {thread.material} thread, {thread.diameter_um / 1000:g} mm"


def said_of_edge(edge: Edge) -> str:
    """Return an edge in words."""
    return f"{edge.color.capitalize()} {edge.finish} edge"


def said_of_hardware(hardware: Hardware) -> str:
    """Return hardware in words."""
    return f"{hardware.finish.capitalize()} {hardware.type.replace('_', ' ')}, {hardware.size_um / 1000:g} mm"


def neighbors_of(piece: Piece) -> list[Neighbor]:
    """Return the specs one change away, nearest in color first, in a fixed order."""
    pattern = piece.pattern
    if pattern is None:
        return []
    found = [
        *_converted(piece), *_sides(piece), *_stitches(piece, pattern), *_hardware(piece, pattern),
        *_sizes(piece, pattern),
        *_monograms(piece, pattern), *_modifications(piece), *_contents(piece, pattern), *_amounts(piece),
        *_threads(piece), *_edges(piece, pattern), *_leathers(piece),
    ]  # fmt: skip
    return sorted(found, key=lambda each: each.distance_milli)


def _distance(one: Swatch | None, other: Swatch | None) -> int:
    return 0 if one is None or other is None else de00_milli(one, other)


def _leathers(piece: Piece) -> Iterator[Neighbor]:
    for part in piece.parts.values():
        own = None if part.leather is None else part.leather
        for leather in piece.catalog.leathers.values():
            lining = leather.kind.lining_only and part.code == OUTSIDE
            if leather.status == "retired" or lining or leather == own:
                continue
            asked = piece.spec.parts.get(part.code)
            parts = {
                **piece.spec.parts,
                part.code: PartChoice(leather.code, None if asked is None else asked.side),
            }
            yield Neighbor(
                f"/parts/{part.code}", {"parts": {part.code: {"leather": leather.code}}},
                replace(piece.spec, parts=parts), said_of_part(leather, part.code),
                _distance(None if own is None else own.swatch, leather.swatch),
            )  # fmt: skip


def _sides(piece: Piece) -> Iterator[Neighbor]:
    for part, asked in piece.spec.parts.items():
        if part in piece.parts and asked.leather is not None:
            side = GRAIN if asked.side == FLESH else FLESH
            yield Neighbor(
                f"/parts/{part}", {"parts": {part: {"side": side}}},
                replace(piece.spec, parts={**piece.spec.parts, part: replace(asked, side=side)}),
                said_of_side(side, part),
            )  # fmt: skip


def _threads(piece: Piece) -> Iterator[Neighbor]:
    own = piece.thread
    for thread in piece.catalog.threads.values():
        if thread.status == "active" and thread != own:
            yield Neighbor(
                "/thread", {"thread": thread.code}, replace(piece.spec, thread=thread.code), said_of_thread(thread),
                _distance(None if own is None else own.swatch, thread.swatch),
            )  # fmt: skip


def _edges(piece: Piece, pattern: Pattern) -> Iterator[Neighbor]:
    own = piece.edge
    for edge in piece.catalog.edges.values():
        if edge.status == "active" and edge.finish in pattern.edge_finishes and edge != own:
            yield Neighbor(
                "/edge", {"edge": edge.code}, replace(piece.spec, edge=edge.code),
                said_of_edge(edge),
                _distance(None if own is None else own.swatch, edge.swatch),
            )  # fmt: skip


def _stitches(piece: Piece, pattern: Pattern) -> Iterator[Neighbor]:
    for stitch in pattern.stitches:
        if stitch != piece.stitch:
            says = f"{stitch.capitalize()} stitching"
            yield Neighbor("/stitch", {"stitch": stitch}, replace(piece.spec, stitch=stitch), says)


def _hardware(piece: Piece, pattern: Pattern) -> Iterator[Neighbor]:
    for slot, fixing in pattern.fixings.items():
        given = piece.spec.hardware.get(slot)
        for hardware in piece.catalog.hardware.values():
            if hardware.type in fixing.types and hardware != piece.hardware.get(slot):
                yield _hardware_neighbor(piece, slot, hardware.code, said_of_hardware(hardware))
        if given is not None and not fixing.required:
            yield _hardware_neighbor(piece, slot, None, f"No {slot}")


def _hardware_neighbor(piece: Piece, slot: str, code: str | None, says: str) -> Neighbor:
    kept = {place: own for place, own in piece.spec.hardware.items() if place != slot}
    changed = kept if code is None else {**kept, slot: code}
    return Neighbor(f"/hardware/{slot}", {"hardware": {slot: code}}, replace(piece.spec, hardware=changed), says)


def _sizes(piece: Piece, pattern: Pattern) -> Iterator[Neighbor]:
    for code, size in pattern.sizes.items():
        given = piece.spec.sizes_um.get(code)
        if given is None:
            continue
        for um in _near(size.offered_um, given):
            says = f"{code.removesuffix('_mm').replace('_', ' ').capitalize()} {um / 1000:g} mm"
            sizes = {**piece.spec.sizes_um, code: um}
            yield Neighbor(f"/sizes/{code}", {"sizes": {code: mm(um)}}, replace(piece.spec, sizes_um=sizes), says)


def _near(values: Iterable[int], given: int) -> list[int]:
    return sorted((value for value in values if value != given), key=lambda value: (abs(value - given), value))


def _monograms(piece: Piece, pattern: Pattern) -> Iterator[Neighbor]:
    monogram = piece.spec.monogram
    if monogram is None:
        return
    options: list[tuple[str, str, str]] = [
        ("typeface", code, f"Typeface {code}") for code in piece.catalog.typefaces if code != monogram.typeface
    ]
    options += [("zone", code, f"Letters in {code}") for code in pattern.zones if code != monogram.zone]
    options += [
        ("method", method, f"{method.capitalize()} letters") for method in ("blind", "ink") if method != monogram.method
    ]
    if monogram.method == "foil":
        options += [
            ("foil", foil.code, f"{foil.color.capitalize()} foil")
            for foil in piece.catalog.foils.values() if foil.code != monogram.foil
        ]  # fmt: skip
    for name, value, says in options:
        changed = _with(monogram, name, value)
        yield Neighbor(f"/monogram/{name}", {"monogram": {name: value}}, replace(piece.spec, monogram=changed), says)
    yield Neighbor("/monogram", {"monogram": None}, replace(piece.spec, monogram=None), "No monogram")


def _with(monogram: Monogram, name: str, value: str) -> Monogram:
    changes: dict[str, Any] = {name: value}
    return replace(monogram, **changes)


def _modifications(piece: Piece) -> Iterator[Neighbor]:
    for place, code in enumerate(piece.spec.modifications):
        left = tuple(each for each in piece.spec.modifications if each != code)
        known = piece.catalog.modifications.get(piece.indexes.modifications.code(code))
        says = f"Without {code if known is None else known.name.lower()}"
        change = {"modifications": list(left) or None}
        yield Neighbor(f"/modifications/{place}", change, replace(piece.spec, modifications=left), says)


def _contents(piece: Piece, pattern: Pattern) -> Iterator[Neighbor]:
    carry = piece.spec.carry
    if carry.cards:
        for cards in dict.fromkeys((carry.cards - 1, carry.cards - 2, pattern.closed.cards)):
            if 0 <= cards < carry.cards:
                changed = replace(carry, cards=cards)
                yield Neighbor(
                    "/carry/cards",
                    {"carry": {"cards": cards}},
                    replace(piece.spec, carry=changed),
                    f"{cards} cards",
                )
    if carry.business_cards is not None:
        change = {"carry": {"business_cards": None}}
        spec = replace(piece.spec, carry=replace(carry, business_cards=None))
        yield Neighbor("/carry/business_cards", change, spec, "No business cards")
    if carry.notes:
        spec = replace(piece.spec, carry=replace(carry, notes=()))
        yield Neighbor("/carry/notes", {"carry": {"notes": None}}, spec, "No banknotes")


def _converted(piece: Piece) -> Iterator[Neighbor]:
    """Give each length that is likely to be in inches, as mm; no other figure is touched."""
    for length in lengths_of(piece.spec):
        if may_be_inches(piece, length):
            change, spec = in_inches(piece.spec, length)
            yield Neighbor(length.at, change, spec, f"{mm(length.um):g} in, {mm(mm_of_inches(length.um)):g} mm")


def _amounts(piece: Piece) -> Iterator[Neighbor]:
    quantity = piece.quantity
    for fewer in dict.fromkeys((quantity - 1, quantity // 2, 1)):
        if 1 <= fewer < quantity:
            word = "piece" if fewer == 1 else "pieces"
            yield Neighbor("/quantity", {"quantity": fewer}, replace(piece.spec, quantity=fewer), f"{fewer} {word}")
    if piece.spec.rush:
        yield Neighbor("/rush", {"rush": False}, replace(piece.spec, rush=False), "No rush")
    elif piece.spec.ready_by is not None:
        yield Neighbor("/rush", {"rush": True}, replace(piece.spec, rush=True), "As a rush order")
