"""Random specs over a catalog: mostly near to what can be made, some far off.

Chance comes in as an argument. A spec starts from its pattern's defaults and is changed in a
few places, so that refused, sign-off and buildable ones are all common and every rule that
random specs can reach fires now and then. For property tests, benchmarks and comparisons.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date, timedelta

from catalog.model import Catalog, Pattern
from rules.spec import (
    Blade,
    BusinessCardsAsked,
    CutThen,
    LotThen,
    Monogram,
    NoteAsked,
    PartChoice,
    Repeated,
    Spec,
)
from rules.themes import THEMES, Draw, known_good, pick, theme_at

_TEXTS = (
    "A.B.",
    "Q",
    "ANNA",
    "R&D",
    "JO",
    "MAXIMILIAN",
    "BARTHOLOMEW J.",
    "é",
    "No 7",
    "W",
    "LEA",
    "T.O.M.",
    "OTTO",
)
_METHODS = ("blind", "foil", "ink", "laser")
_CHANGES = (1, 1, 2, 2, 3, 5)
#: Every fifteenth spec comes with a word for the maker. Not by chance, which the other draws would follow.
_NOTED = 15
_NOTE = "A present; no invoice, please."


def sample_specs(catalog: Catalog, draw: Draw, today: date, count: int) -> Iterator[Spec]:
    """Give ``count`` random specs that go through all themes evenly, each eighth one changed at random."""
    for place in range(count):
        if place % 8 == 0:
            spec = _changed(catalog, draw, today)
        else:
            spec = _bent(theme_at(place - place // 8 - 1)(catalog, draw, today), catalog, draw, today)
        yield replace(spec, note=_NOTE) if place % _NOTED == _NOTED // 2 else spec


def sample_spec(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """Return one random spec: on a theme that brings a few rules into play, or changed at random."""
    if draw.randrange(8):
        return _bent(pick(draw, THEMES)(catalog, draw, today), catalog, draw, today)
    return _changed(catalog, draw, today)


def _changed(catalog: Catalog, draw: Draw, today: date) -> Spec:
    """Return a pattern's defaults, changed in a few places at random."""
    pattern = pick(draw, list(catalog.patterns.values()))
    spec = known_good(pattern)
    for _ in range(pick(draw, _CHANGES)):
        spec = pick(draw, _MUTATIONS)(spec, pattern, catalog, draw, today)
    return spec


def _bent(spec: Spec, catalog: Catalog, draw: Draw, today: date) -> Spec:
    """Change one small thing now and then."""
    if draw.randrange(4):
        return spec
    return pick(draw, _MILD)(spec, catalog.patterns[spec.pattern], catalog, draw, today)


def _leather(spec: Spec, pattern: Pattern, catalog: Catalog, draw: Draw, today: date) -> Spec:
    part = pick(draw, pattern.parts)
    side = pick(draw, ("grain", "grain", "grain", "flesh"))
    return replace(spec, parts={**spec.parts, part: PartChoice(pick(draw, list(catalog.leathers)), side)})


def _outside(spec: Spec, pattern: Pattern, catalog: Catalog, draw: Draw, today: date) -> Spec:
    side = pick(draw, ("grain", "flesh"))
    return replace(spec, parts={**spec.parts, "outside": PartChoice(pick(draw, list(catalog.leathers)), side)})


def _thread(spec: Spec, pattern: Pattern, catalog: Catalog, draw: Draw, today: date) -> Spec:
    return replace(spec, thread=pick(draw, [*catalog.threads, *catalog.threads, "match", "TH-NONE"]))


def _edge(spec: Spec, pattern: Pattern, catalog: Catalog, draw: Draw, today: date) -> Spec:
    edges = [*catalog.edges, *catalog.edges, "match", "match", "ED-NONE"]
    return replace(spec, edge=pick(draw, edges))


def _stitch(spec: Spec, pattern: Pattern, catalog: Catalog, draw: Draw, today: date) -> Spec:
    return replace(spec, stitch=pick(draw, ("hand", "machine", "machine", "whip")))


def _hardware(spec: Spec, pattern: Pattern, catalog: Catalog, draw: Draw, today: date) -> Spec:
    slots = [*pattern.fixings, *pattern.fixings, *pattern.fixings, "clip"]
    slot = pick(draw, slots)
    fitting = [
        code for code, hardware in catalog.hardware.items()
        if slot in pattern.fixings and hardware.type in pattern.fixings[slot].types
    ]  # fmt: skip
    return replace(spec, hardware={**spec.hardware, slot: pick(draw, fitting + fitting + list(catalog.hardware))})


def _size(spec: Spec, pattern: Pattern, catalog: Catalog, draw: Draw, today: date) -> Spec:
    if not pattern.sizes:
        return replace(spec, sizes_um={"lug_mm": 20_000}) if draw.randrange(4) == 0 else spec
    code = pick(draw, list(pattern.sizes))
    size = pattern.sizes[code]
    values = [*size.offered_um, 17_000, 23_000, 30_000] if size.offered_um else [400_000, 900_000, 1_300_000, 1_900_000]
    return replace(spec, sizes_um={**spec.sizes_um, code: pick(draw, values)})


def _monogram(spec: Spec, pattern: Pattern, catalog: Catalog, draw: Draw, today: date) -> Spec:
    method = pick(draw, _METHODS)
    return replace(
        spec,
        monogram=Monogram(
            text=pick(draw, _TEXTS), method=method, typeface=pick(draw, list(catalog.typefaces)),
            zone=pick(draw, [*pattern.zones, *pattern.zones, "Z-NONE"]),
            foil=pick(draw, [*catalog.foils, None]) if method == "foil" else None, artwork=draw.randrange(6) == 0,
        ),
    )  # fmt: skip


def _modification(spec: Spec, pattern: Pattern, catalog: Catalog, draw: Draw, today: date) -> Spec:
    offered = [*pattern.modifications, *pattern.modifications, *catalog.modifications]
    return replace(spec, modifications=tuple(dict.fromkeys([*spec.modifications, pick(draw, offered)])))


def _carry(spec: Spec, pattern: Pattern, catalog: Catalog, draw: Draw, today: date) -> Spec:
    items = catalog.carry_items.values()
    notes = [item.code for item in items if item.group == "note"]
    cards = [item.code for item in items if item.group == "business_card"]
    carry = spec.carry
    match draw.randrange(5):
        case 0:
            carry = replace(carry, cards=draw.randrange(14))
        case 1:
            carry = replace(carry, notes=(NoteAsked(pick(draw, [*notes, "NOTE-NONE"]), 1 + draw.randrange(12)),))
        case 2:
            carry = replace(carry, business_cards=BusinessCardsAsked(pick(draw, cards), 1 + draw.randrange(40)))
        case 3:
            carry = replace(carry, passport=True, passport_um=3_000 + 500 * draw.randrange(8))
        case _:
            blade = Blade(
                20_000 + 1_000 * draw.randrange(12),
                2_000 + 500 * draw.randrange(5),
                90_000 + 10_000 * draw.randrange(5),
            )
            carry = replace(carry, blade=blade)
    return replace(spec, carry=carry)


def _purpose(spec: Spec, pattern: Pattern, catalog: Catalog, draw: Draw, today: date) -> Spec:
    purpose = spec.purpose
    match draw.randrange(4):
        case 0:
            purpose = replace(purpose, use=pick(draw, list(catalog.uses)))
        case 1:
            purpose = replace(purpose, dog_kg=5 + draw.randrange(60))
        case 2:
            purpose = replace(purpose, claims=(pick(draw, [*catalog.claims, "CLAIM-NONE"]),))
        case _:
            purpose = replace(purpose, child_under_3=True)
    return replace(spec, purpose=purpose)


def _order(spec: Spec, pattern: Pattern, catalog: Catalog, draw: Draw, today: date) -> Spec:
    match draw.randrange(5):
        case 0:
            return replace(spec, ship_to=pick(draw, ("XA", "US", "US-CA", "DE", "JP")))
        case 1:
            return replace(spec, rush=True, quantity=pick(draw, (1, 2, 3, spec.quantity)))
        case 2:
            return replace(spec, ready_by=today + timedelta(days=7 * draw.randrange(8)))
        case 3:
            return replace(spec, catalog_revision=pick(draw, ("R11", catalog.workshop.catalog_revision)))
        case _:
            return replace(spec, quantity=pick(draw, (2, 3, 4, 6, 8, 12, 30)))


def _revision(spec: Spec, pattern: Pattern, catalog: Catalog, draw: Draw, today: date) -> Spec:
    return replace(spec, catalog_revision=pick(draw, ("R0", catalog.workshop.catalog_revision)))


def _quantity(spec: Spec, pattern: Pattern, catalog: Catalog, draw: Draw, today: date) -> Spec:
    return replace(spec, quantity=pick(draw, (2, 2, 3, 3, 4, 5, 6, 8, 10, 15)))


def _slip(spec: Spec, pattern: Pattern, catalog: Catalog, draw: Draw, today: date) -> Spec:
    """A gap, a slot that the pattern lacks, or a code that nobody has."""
    part = pick(draw, pattern.parts)
    match draw.randrange(6):
        case 0:
            return replace(spec, parts={code: use for code, use in spec.parts.items() if code != part})
        case 1:
            return replace(spec, parts={**spec.parts, "lining": PartChoice(pick(draw, list(catalog.leathers)))})
        case 2:
            return replace(spec, parts={**spec.parts, part: PartChoice("SH-BLAK")})
        case 3:
            return replace(spec, thread=None)
        case 4:
            return replace(spec, edge=None)
        case _:
            return replace(spec, hardware={})


def _lots(spec: Spec, pattern: Pattern, catalog: Catalog, draw: Draw, today: date) -> Spec:
    part = pick(draw, pattern.parts)
    asked = spec.parts.get(part)
    own = [lot.code for lot in catalog.lots.values() if asked is not None and lot.leather == asked.leather]
    if not own:
        return spec
    chosen = tuple(own) if draw.randrange(3) == 0 else (pick(draw, own),)
    return replace(spec, lots={**spec.lots, part: chosen})


def as_repeat(spec: Spec, catalog: Catalog, draw: Draw) -> Spec:
    """Return the spec as a repeat of an order cut from lots of today or of the past, mostly of the same leather."""
    drifts = {}
    for part, asked in spec.parts.items():
        leather = pick(draw, list(catalog.leathers)) if draw.randrange(8) == 0 else asked.leather
        if leather is not None:
            stock = [LotThen(lot.code, lot.drift_milli) for lot in catalog.lots_of(leather)]
            past = [LotThen(f"L0{number}", 100 * draw.randrange(45)) for number in range(2)]
            lots = [pick(draw, stock + past) for _ in range(1 + draw.randrange(2))]
            side = pick(draw, ("grain", "flesh")) if draw.randrange(8) == 0 else asked.side or "grain"
            drifts[part] = CutThen(leather, side, tuple(dict.fromkeys(lots)))
    order = f"o{draw.randrange(1000)}"
    return replace(spec, repeat_of=order, repeats=Repeated(order, drifts))


Mutation = Callable[[Spec, Pattern, Catalog, Draw, date], Spec]
_MILD: tuple[Mutation, ...] = (_purpose, _order, _order, _revision, _monogram, _modification, _stitch)
_MUTATIONS: tuple[Mutation, ...] = (
    _leather, _leather, _leather, _outside, _outside, _thread, _edge, _stitch, _hardware, _size, _monogram, _monogram,
    _modification, _carry, _carry, _purpose, _order, _quantity, _slip, _lots,
)  # fmt: skip
