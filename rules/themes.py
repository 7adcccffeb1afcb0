"""Themes for random specs: a good spec bent in one direction, so that rarer rules are met.

A theme picks patterns, leathers and supplies by what they are, never by code.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Protocol, TypeVar

from catalog.model import Catalog, Leather, Pattern, Zone
from rules.spec import Blade, BusinessCardsAsked, Monogram, NoteAsked, PartChoice, Purpose, Spec

Item = TypeVar("Item")


class Draw(Protocol):
    """Where chance comes from; ``random.Random`` is one."""

    def randrange(self, stop: int, /) -> int:
        """Return a whole number from 0 up to, not including, ``stop``."""
        ...


def known_good(pattern: Pattern) -> Spec:
    """Return the pattern's own defaults as a complete spec, purpose added where load is bearing."""
    bearing = pattern.load.load_class == "bearing"
    return Spec(
        pattern=pattern.code,
        parts={part: PartChoice(leather) for part, leather in pattern.default_parts.items()},
        thread=pattern.default_thread,
        edge=pattern.default_edge,
        hardware=dict(pattern.default_hardware),
        sizes_um={code: size.default_um for code, size in pattern.sizes.items() if size.default_um is not None},
        purpose=Purpose(use=pattern.uses[0] if bearing else None, dog_kg=30 if pattern.load.scales_with_dog else None),
    )


def pick(draw: Draw, items: Sequence[Item]) -> Item:
    """Return one of the items."""
    return items[draw.randrange(len(items))]


def chosen(catalog: Catalog, draw: Draw, suits: Callable[[Pattern], bool]) -> Pattern:
    """Return a pattern that suits, or any where none does."""
    return pick(
        draw, [pattern for pattern in catalog.patterns.values() if suits(pattern)] or [*catalog.patterns.values()]
    )


def _given(spec: Spec, catalog: Catalog, draw: Draw, part: str, suits: Callable[[Leather], bool]) -> Spec:
    """Give a part a leather that suits, if any does."""
    codes = [leather.code for leather in catalog.leathers.values() if leather.status != "retired" and suits(leather)]
    return replace(spec, parts={**spec.parts, part: PartChoice(pick(draw, codes))}) if codes else spec


def _held(spec: Spec, catalog: Catalog, draw: Draw, pattern: Pattern, part: str) -> Spec:
    """Give a part a leather of which a lot lies near the thickness that the part takes."""
    panels = [panel for panel in pattern.panels.values() if panel.part == part]
    least = min(panel.thickness.min_um for panel in panels)
    most = max(panel.thickness.max_um for panel in panels) + 300
    near = {lot.leather for lot in catalog.lots.values() if least <= lot.thickness.max_um <= most}
    return _given(spec, catalog, draw, part, lambda leather: leather.code in near)


def _any_pattern(_: Pattern) -> bool:
    return True


def _any_leather(_: Leather) -> bool:
    return True


def _fittings(catalog: Catalog, draw: Draw, pattern: Pattern, end_um: int | None = None) -> dict[str, str]:
    """Return hardware of a fitting type for each required place, of the strap's width mostly where one is given."""
    found = {}
    for slot, fixing in pattern.fixings.items():
        if fixing.required:
            codes = [code for code, noun in catalog.hardware.items() if noun.type in fixing.types]
            sized = [code for code in codes if catalog.hardware[code].size_um == end_um]
            found[slot] = pick(draw, sized if sized and draw.randrange(6) else codes)
    return found


def _leathers(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """Leathers of a fitting thickness, any thread that is in stock."""
    pattern = chosen(catalog, draw, _any_pattern)
    spec = known_good(pattern)
    for part in pattern.parts:
        if draw.randrange(2):
            spec = _held(spec, catalog, draw, pattern, part)
    return spec


def _matched(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """Thread and edge to match an outside of any color."""
    pattern = chosen(catalog, draw, lambda each: "paint" in each.edge_finishes)
    spec = _held(known_good(pattern), catalog, draw, pattern, "outside")
    return replace(spec, thread=pick(draw, ("match", spec.thread)), edge=pick(draw, ("match", spec.edge)))


def _noted(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """Banknotes for a pattern that takes them folded, or not at all."""
    use = pick(draw, ("note_half", "note_half", "note_thirds", ""))
    pattern = chosen(catalog, draw, lambda each: use == _note_pocket(each))
    items = [item.code for item in catalog.carry_items.values() if item.group == "note"]
    spec = known_good(pattern)
    notes = (NoteAsked(pick(draw, items), 1 + draw.randrange(14)),)
    return replace(spec, carry=replace(spec.carry, notes=notes))


def _note_pocket(pattern: Pattern) -> str:
    return next((pocket.use for pocket in pattern.pockets.values() if pocket.use.startswith("note_")), "")


def _strap(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """A bearing strap in any stout leather, thread, hardware and size."""
    pattern = chosen(catalog, draw, lambda each: each.load.load_class == "bearing")
    spec = known_good(pattern)
    stout = {lot.leather for lot in catalog.lots.values() if lot.thickness.max_um >= 3_000}
    spec = _given(spec, catalog, draw, "outside", lambda leather: leather.code in stout)
    sizes = {
        code: pick(draw, size.offered_um) if size.offered_um else 700_000 + 100_000 * draw.randrange(8)
        for code, size in pattern.sizes.items()
    }
    thread = pick(draw, [spec.thread, spec.thread, *catalog.threads])
    dog_kg = 20 + draw.randrange(40) if pattern.load.scales_with_dog else None
    purpose = replace(spec.purpose, dog_kg=dog_kg)
    hardware = _fittings(catalog, draw, pattern, sizes.get("width_mm"))
    return replace(spec, hardware=hardware, sizes_um=sizes, thread=thread, purpose=purpose)


def _worn(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """Something worn on the skin, with any buckle and lug."""
    pattern = chosen(catalog, draw, lambda each: each.skin_contact)
    spec = known_good(pattern)
    for part in pattern.parts:
        if draw.randrange(2):
            suits = _given(spec, catalog, draw, part, _any_leather)
            spec = suits if draw.randrange(2) else _held(spec, catalog, draw, pattern, part)
    sizes = dict(spec.sizes_um)
    if "lug_mm" in pattern.sizes:
        sizes["lug_mm"] = pick(draw, (*pattern.sizes["lug_mm"].offered_um, 23_000))
    end = sizes.get("lug_mm", 20_000) - sizes.get("taper_mm", 2_000)
    hardware = _fittings(catalog, draw, pattern, end)
    return replace(spec, hardware=hardware, sizes_um=sizes)


def _lettered(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """Letters in a zone of the pattern, by a method that the typeface knows; now and then a worn letter."""
    pattern = chosen(catalog, draw, lambda each: bool(each.zones))
    face = pick(draw, [*catalog.typefaces.values()])
    zone = pick(draw, [*pattern.zones.values()])
    text = pick(draw, ("A.B.", *face.worn, *face.worn, "LEA", "ROSA MARIA"))
    method = pick(draw, face.methods)
    foil = pick(draw, [*catalog.foils]) if method == "foil" else None
    spec = replace(known_good(pattern), monogram=Monogram(text, method, face.code, zone.code, foil))
    return _held(spec, catalog, draw, pattern, pattern.panels[zone.panel].part)


def _edged(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """An outside of a fitting thickness and any edge that the pattern offers."""
    pattern = chosen(catalog, draw, lambda each: len(each.edge_finishes) > 2)
    finish = pick(draw, pattern.edge_finishes)
    edges = [code for code, edge in catalog.edges.items() if edge.finish == finish] or [*catalog.edges]
    spec = replace(known_good(pattern), edge=pick(draw, edges))
    for part in pattern.parts:
        if part == "outside" or draw.randrange(3) == 0:
            spec = _held(spec, catalog, draw, pattern, part)
    return spec


def _shipped(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """A species that the law file names, sent somewhere."""
    named = {row.species for row in catalog.law_rows.values() if row.rule in ("LAW-01", "LAW-02")}
    to = [row.destination for row in catalog.law_rows.values() if row.destination not in ("any", "abroad")]
    pattern = chosen(catalog, draw, _any_pattern)
    part = pick(draw, [each for each in pattern.parts if each != "outside"] or pattern.parts)
    spec = _given(known_good(pattern), catalog, draw, part, lambda leather: leather.kind.species in named)
    return replace(spec, ship_to=pick(draw, [*to, *[each.partition("-")[0] for each in to], "DE"]))


def _several(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """Several of one, now and then more than thread and fittings last for."""
    pattern = chosen(catalog, draw, _any_pattern)
    spec = _held(known_good(pattern), catalog, draw, pattern, pick(draw, pattern.parts))
    scarce = [code for code, thread in catalog.threads.items() if thread.left_um < 5_000_000]
    thread = pick(draw, [spec.thread, spec.thread, *scarce])
    return replace(spec, quantity=pick(draw, (2, 2, 3, 4, 5, 6, 8, 12, 24)), thread=thread)


def _hurried(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """Wanted soon."""
    spec = known_good(chosen(catalog, draw, _any_pattern))
    if draw.randrange(2):
        return replace(spec, rush=True, quantity=1 + draw.randrange(5))
    return replace(spec, ready_by=today + timedelta(days=7 + 7 * draw.randrange(5)))


def _glued(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """A pattern with a glued or pared fold, in any leathers."""
    pattern = chosen(
        catalog, draw,
        lambda each: any(len(fold.panels) > 1 or fold.skived_to_um is not None for fold in each.folds.values()),
    )  # fmt: skip
    spec = known_good(pattern)
    for part in pattern.parts:
        spec = _given(spec, catalog, draw, part, _any_leather)
    return spec


def _fastened(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """Any closure that the pattern offers, now and then for a child."""
    pattern = chosen(catalog, draw, lambda each: any(len(fixing.types) > 1 for fixing in each.fixings.values()))
    hardware = _fittings(catalog, draw, pattern)
    return replace(known_good(pattern), hardware=hardware, purpose=Purpose(child_under_3=draw.randrange(4) == 0))


def _shedding(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """An outside that sheds color beside pale thread or leather."""
    pattern = chosen(catalog, draw, lambda each: len(each.parts) > 1 and each.load.load_class == "none")
    spec = _given(known_good(pattern), catalog, draw, "outside", lambda leather: leather.kind.rub_rating <= 2)
    pale = [code for code, thread in catalog.threads.items() if thread.swatch.lightness_milli > 55_000]
    if draw.randrange(2) and pale:
        spec = replace(spec, thread=pick(draw, pale))
    part = pick(draw, [each for each in pattern.parts if each != "outside"])
    return _given(spec, catalog, draw, part, lambda leather: leather.swatch.lightness_milli > 65_000)


def _turned(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """A turned edge on an outside that may be too stout to turn, or shows its flesh side."""
    pattern = chosen(catalog, draw, lambda each: "turned" in each.edge_finishes)
    turned = next((code for code, edge in catalog.edges.items() if edge.finish == "turned"), pattern.default_edge)
    spec = replace(known_good(pattern), edge=turned)
    spec = _given(spec, catalog, draw, "outside", lambda leather: leather.kind.skive_min_um > 400)
    return _shown(spec, draw, "outside") if draw.randrange(3) == 0 else spec


def _shown(spec: Spec, draw: Draw, part: str) -> Spec:
    return replace(spec, parts={**spec.parts, part: replace(spec.parts[part], side="flesh")})


def _reversed(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """The flesh side out, with or without the hide's stamp."""
    pattern = chosen(catalog, draw, lambda each: "measure_mark" in each.modifications)
    spec = _given(known_good(pattern), catalog, draw, "outside", lambda leather: leather.kind.back_shown == "fine")
    if draw.randrange(4):
        spec = _shown(spec, draw, "outside")
    marks = ("measure_mark",) if draw.randrange(3) else ()
    return replace(spec, modifications=marks, quantity=1 + draw.randrange(2))


def _carded(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """Cards and business cards for a pattern that takes cards."""
    pattern = chosen(catalog, draw, lambda each: any(pocket.use in ("card", "box") for pocket in each.pockets.values()))
    spec = known_good(pattern)
    cards = [item.code for item in catalog.carry_items.values() if item.group == "business_card"]
    carry = replace(spec.carry, cards=draw.randrange(14))
    if draw.randrange(2):
        carry = replace(carry, business_cards=BusinessCardsAsked(pick(draw, cards), 1 + draw.randrange(40)))
    return replace(spec, carry=carry)


def _stained(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """A stained edge on an outside of any color."""
    pattern = chosen(catalog, draw, lambda each: "stain" in each.edge_finishes)
    stains = [code for code, edge in catalog.edges.items() if edge.finish == "stain"] or [*catalog.edges]
    spec = _held(known_good(pattern), catalog, draw, pattern, "outside")
    return replace(spec, edge=pick(draw, stains))


def _misspelled(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """One code with a letter lost."""
    spec = known_good(chosen(catalog, draw, _any_pattern))
    if draw.randrange(2) and spec.edge is not None:
        return replace(spec, edge=spec.edge[:-1])
    return replace(spec, thread=None if spec.thread is None else spec.thread[:-1])


def _many(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """More of one than there are fittings."""
    pattern = chosen(catalog, draw, lambda each: any(fixing.required for fixing in each.fixings.values()))
    return replace(known_good(pattern), hardware=_fittings(catalog, draw, pattern), quantity=4 + draw.randrange(16))


def _bladed(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """A blade for a pattern that takes one."""
    pattern = chosen(catalog, draw, lambda each: any(pocket.use == "blade" for pocket in each.pockets.values()))
    spec = known_good(pattern)
    blade = Blade(
        24_000 + 1_000 * draw.randrange(8), 2_500 + 500 * draw.randrange(3), 100_000 + 5_000 * draw.randrange(7)
    )
    part = pick(draw, pattern.parts)
    return _held(replace(spec, carry=replace(spec.carry, blade=blade)), catalog, draw, pattern, part)


def _passported(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """A passport, thick or thin, for a pattern that has a pocket for one, or has not."""
    suits = bool(draw.randrange(3))
    pattern = chosen(catalog, draw, lambda each: suits == any(p.use == "passport" for p in each.pockets.values()))
    spec = known_good(pattern)
    return replace(spec, carry=replace(spec.carry, passport=True, passport_um=4_000 + 500 * draw.randrange(5)))


def _machined(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """Machine stitching through a stout stack."""
    pattern = chosen(catalog, draw, lambda each: "machine" in each.stitches)
    spec = replace(known_good(pattern), stitch="machine")
    stout = {lot.leather for lot in catalog.lots.values() if lot.thickness.max_um >= 2_000}
    part = pick(draw, pattern.parts)
    return _given(spec, catalog, draw, part, lambda leather: leather.code in stout)


def _spread(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """More of one than a single lot of the outside, or of the pockets, holds."""
    pattern = chosen(catalog, draw, lambda each: len(each.parts) < 4)
    lots = Counter(lot.leather for lot in catalog.lots.values())
    spec = known_good(pattern)
    part = pick(draw, pattern.parts)
    panels = [panel for panel in pattern.panels.values() if panel.part == part]
    fits = {
        lot.leather
        for lot in catalog.lots.values()
        if lots[lot.leather] > 1 and all(lot.thickness.max_um <= panel.thickness.max_um + 200 for panel in panels)
    }
    spec = _given(spec, catalog, draw, part, lambda leather: leather.code in fits)
    return replace(spec, quantity=3 + draw.randrange(9))


def _foreign(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """A part or a place for hardware that the pattern lacks."""
    pattern = chosen(catalog, draw, _any_pattern)
    spec = known_good(pattern)
    parts = {part for each in catalog.patterns.values() for part in each.parts} - set(pattern.parts)
    if parts and draw.randrange(2):
        part = pick(draw, sorted(parts))
        return replace(spec, parts={**spec.parts, part: PartChoice(pick(draw, list(catalog.leathers)))})
    slots = {slot for each in catalog.patterns.values() for slot in each.fixings} - set(pattern.fixings)
    slot = pick(draw, sorted(slots)) if slots else "clip"
    return replace(spec, hardware={**spec.hardware, slot: pick(draw, list(catalog.hardware))})


def _inner(pattern: Pattern, zone: Zone) -> bool:
    return pattern.panels[zone.panel].part != "outside"


def _thin(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """Blind letters on a thin leather."""
    pattern = chosen(catalog, draw, lambda each: any(_inner(each, zone) for zone in each.zones.values()))
    zones = list(pattern.zones.values())
    zone = pick(draw, [zone for zone in zones if _inner(pattern, zone)] or zones)
    thin = {lot.leather for lot in catalog.lots.values() if lot.thickness.max_um < 800}
    part = pattern.panels[zone.panel].part
    blind = [face.code for face in catalog.typefaces.values() if "blind" in face.methods]
    spec = _given(known_good(pattern), catalog, draw, part, lambda leather: leather.code in thin)
    return replace(spec, monogram=Monogram("O.B.", "blind", pick(draw, blind), zone.code))


def _laminated(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """Several leathers folded as one."""
    pattern = chosen(catalog, draw, lambda each: any(len(fold.panels) > 1 for fold in each.folds.values()))
    spec = known_good(pattern)
    for part in pattern.parts:
        spec = _held(spec, catalog, draw, pattern, part)
    return spec


def _out_of_place(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """A leather of the past, a lining outside, or a catalog of last season."""
    spec = known_good(chosen(catalog, draw, _any_pattern))
    old = [leather.code for leather in catalog.leathers.values() if leather.status == "retired"]
    linings = [leather.code for leather in catalog.leathers.values() if leather.kind.lining_only]
    match draw.randrange(3):
        case 0 if old:
            return replace(spec, parts={**spec.parts, "outside": PartChoice(pick(draw, old))})
        case 1 if linings:
            return replace(spec, parts={**spec.parts, "outside": PartChoice(pick(draw, linings))})
        case _:
            return replace(spec, catalog_revision="R0")


Theme = Callable[[Catalog, Draw, date], Spec]
#: As often as each is listed: the rarer a rule, the more often the theme that brings it into play.
THEMES: tuple[Theme, ...] = (
    _leathers, _matched, _noted, _strap, _worn, _laminated, _lettered, _stained, _several, _carded, _hurried, _thin,
    _shipped, _reversed, _fastened, _edged, _worn, _matched, _noted, _out_of_place, _strap, _several, _misspelled,
    _laminated, _lettered, _turned, _machined, _carded, _passported, _stained, _several, _shedding, _many, _worn,
    _noted, _glued, _bladed, _lettered, _carded, _several, _leathers, _spread, _spread, _matched, _foreign,
)  # fmt: skip


def theme_at(place: int) -> Theme:
    """Return a theme by its place in a round, so that a sample can go through all of them evenly."""
    return THEMES[place % len(THEMES)]
