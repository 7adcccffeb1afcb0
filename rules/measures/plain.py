"""The plain slots of a spec as words and numbers, for the rules of a house: which leather, which thread, which size.

The trade's rules speak of behavior and name no code; a workshop's own may. Words that are codes of the catalog say so
(``noun``), so that a slip is found when the rule is read.
"""

from __future__ import annotations

from typing import Final

from catalog.vocabulary import SIDES, STITCHES
from rules.families import FAMILIES, family_of
from rules.subjects import PartScope, Whole
from rules.vocabulary import number, truth, word, words

_SIZES: Final = {
    "lug": ("lug_mm", "width between the lugs"),
    "taper": ("taper_mm", "width at the tip"),
    "width": ("width_mm", "width asked for"),
    "length": ("length_mm", "length asked for"),
    "waist": ("waist_to_hole_mm", "waist asked for"),
}


@word("part.name", "part", reads=[], noun="part")
def part_name(part: PartScope) -> str:
    """Return the part's name in the pattern."""
    return part.part.code


@word("part.leather", "leather of the part", reads=["leather"], noun="leather")
def part_leather(part: PartScope) -> str | None:
    """Return the leather's code."""
    return None if part.part.leather is None else part.part.leather.code


@word("part.kind", "kind of the part's leather", reads=["leather"], noun="kind")
def part_kind(part: PartScope) -> str:
    """Return the kind's code."""
    return part.kind.code


@word("part.species", "species of the part's leather", reads=["species"], noun="species")
def part_species(part: PartScope) -> str:
    """Return the species."""
    return part.kind.species


@word("part.side", "side that shows", reads=["side"], levels=SIDES)
def part_side(part: PartScope) -> str:
    """Return the side out, grain where none is asked for."""
    return part.part.side


@word("part.price_band", "price band of the part's leather", reads=["leather"], noun="band")
def part_price_band(part: PartScope) -> str:
    """Return the kind's band."""
    return part.kind.price_band


@word("part.color_family", "color family of the part's leather", reads=["leather"], levels=FAMILIES)
def part_color_family(part: PartScope) -> str | None:
    """Return what the bench calls the color."""
    return None if part.part.leather is None else family_of(part.part.leather.swatch)


@number("part.reserve", "dm2", "area of the part's leather that is kept back", reads=["leather"])
def part_reserve(part: PartScope) -> int | None:
    """Return the area kept for repairs and matching, square micrometers."""
    return None if part.part.leather is None else part.part.leather.reserve_um2


@truth("part.last_lot", "the part's leather is in its last lot", reads=["leather"])
def part_last_lot(part: PartScope) -> bool | None:
    """Whether no more of the leather comes after what is on the shelf."""
    return None if part.part.leather is None else part.part.leather.status == "last_lot"


@number("part.held_most", "mm", "thickest that the part's kind is held in", reads=["leather"])
def part_held_most(part: PartScope) -> int:
    """Return the most of the range in which the kind is bought, um."""
    return part.kind.held.max_um


@number("part.held_least", "mm", "thinnest that the part's kind is held in", reads=["leather"])
def part_held_least(part: PartScope) -> int:
    """Return the least of the range in which the kind is bought, um."""
    return part.kind.held.min_um


@words("piece.leathers", "leathers of the piece", reads=["leather"], noun="leather")
def piece_leathers(whole: Whole) -> frozenset[str]:
    """Return the codes of the leathers chosen so far."""
    return frozenset(whole.piece.cut_from)


@number("piece.leather_count", "count", "different leathers in the piece", reads=["leather"])
def piece_leather_count(whole: Whole) -> int:
    """Return how many different leathers are chosen so far."""
    return len(whole.piece.cut_from)


@words("piece.last_lot_parts", "parts from a leather in its last lot", reads=["leather"], noun="part")
def piece_last_lot_parts(whole: Whole) -> frozenset[str]:
    """Return the parts whose leather is in its last lot."""
    parts = whole.piece.parts.values()
    return frozenset(part.code for part in parts if part.leather is not None and part.leather.status == "last_lot")


@words("piece.flesh_parts", "parts with the flesh side out", reads=["side"], noun="part")
def piece_flesh_parts(whole: Whole) -> frozenset[str]:
    """Return the parts that show their flesh side."""
    return frozenset(part.code for part in whole.piece.parts.values() if part.side == "flesh")


@words("piece.color_families", "color families in the piece", reads=["leather"], noun="color family")
def piece_color_families(whole: Whole) -> frozenset[str]:
    """Return the color families of the leathers chosen so far."""
    chosen = (part.leather for part in whole.piece.parts.values())
    return frozenset(family_of(leather.swatch) for leather in chosen if leather is not None)


@word("piece.outside_leather", "leather of the outside", reads=["leather"], of=("outside",), noun="leather")
def piece_outside_leather(whole: Whole) -> str | None:
    """Return the code of the outside's leather."""
    outside = whole.piece.outside
    return None if outside is None or outside.leather is None else outside.leather.code


@word("piece.outside_kind", "kind of the outside", reads=["leather"], of=("outside",), noun="kind")
def piece_outside_kind(whole: Whole) -> str | None:
    """Return the kind of the outside's leather."""
    outside = whole.piece.outside
    return None if outside is None or outside.kind is None else outside.kind.code


@word("piece.thread", "thread", reads=["thread"], noun="thread")
def piece_thread(whole: Whole) -> str | None:
    """Return the thread's code, of a match what it came to."""
    return None if whole.piece.thread is None else whole.piece.thread.code


@word("piece.edge", "edge", reads=["edge"], noun="edge")
def piece_edge(whole: Whole) -> str | None:
    """Return the edge's code, of a match what it came to."""
    return None if whole.piece.edge is None else whole.piece.edge.code


@word("piece.edge_color", "color of the edge", reads=["edge"], noun="edge color")
def piece_edge_color(whole: Whole) -> str | None:
    """Return the color as the catalog calls it."""
    return None if whole.piece.edge is None else whole.piece.edge.color


@number("piece.edge_lightness", "lightness", "lightness of the edge", reads=["edge"])
def piece_edge_lightness(whole: Whole) -> int | None:
    """Return L* of the edge, thousandths; None where the finish has no color of its own."""
    edge = whole.piece.edge
    return None if edge is None or edge.swatch is None else edge.swatch.lightness_milli


@word("piece.stitch", "stitch", reads=["stitch", "pattern"], levels=STITCHES)
def piece_stitch(whole: Whole) -> str | None:
    """Return the stitch asked for, else the pattern's first; None for a word that is no stitch."""
    stitch = whole.piece.stitch
    return stitch if stitch in STITCHES else None


@number("piece.pitch", "mm", "stitch pitch of the pattern", reads=["pattern"])
def piece_pitch(whole: Whole) -> int | None:
    """Return the distance from stitch to stitch, um."""
    return None if whole.piece.pattern is None else whole.piece.pattern.pitch_um


@word("piece.monogram_zone", "place of the monogram", reads=["monogram", "pattern"], noun="zone")
def piece_monogram_zone(whole: Whole) -> str | None:
    """Return the zone's code; None without a monogram or where the pattern lacks the zone."""
    return None if whole.piece.zone is None else whole.piece.zone.code


@word("piece.destination", "destination", reads=["ship_to"], noun="place")
def piece_destination(whole: Whole) -> str:
    """Return the destination by ISO 3166, home where none is named."""
    return whole.piece.ship_to


@truth("piece.abroad", "it is sent abroad", reads=["ship_to"])
def piece_abroad(whole: Whole) -> bool:
    """Whether it leaves the country of the workshop."""
    return whole.piece.ship_to.partition("-")[0] != whole.piece.catalog.workshop.home_country.upper()


@words("piece.hardware", "hardware of the piece", reads=["hardware", "pattern"], noun="hardware")
def piece_hardware(whole: Whole) -> frozenset[str]:
    """Return the codes of the hardware in the pattern's places."""
    return frozenset(each.code for each in whole.piece.hardware.values())


@words("piece.modifications", "modifications asked for", reads=["modifications"], noun="modification")
def piece_modifications(whole: Whole) -> frozenset[str]:
    """Return the modifications asked for, as the catalog writes them."""
    return frozenset(whole.piece.modifications)


def _size(name: str, size: str, label: str) -> None:
    """Register a size that the pattern takes, um; None where it is not asked for."""

    @number(f"piece.{name}", "mm", label, reads=["sizes", "pattern"])
    def size_asked(whole: Whole) -> int | None:
        return whole.piece.size_um(size)


for _name, (_code, _label) in _SIZES.items():
    _size(_name, _code, _label)
