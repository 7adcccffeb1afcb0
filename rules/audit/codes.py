"""Codes of the catalog that occur in nothing that can be made, and patterns, or a whole book, of which nothing can.

"Can be made" is: not refused, at once or once the maker agreed. First by search; where no spec was found, whether one
choice alone is refused whatever else is chosen, which settles it; and else by what each pattern comes to, exact
(:mod:`rules.audit.guided`): either it has a spec that nobody met, or it shows that there is none.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import islice, product
from typing import Any, Final

from catalog.model import Pattern
from rules.audit.exact import MOST, Exact, in_common
from rules.audit.guided import Picture
from rules.audit.held import HELD, proof_over
from rules.audit.report import EXHAUSTIVE, Kind, Report
from rules.audit.search import Code, Search
from rules.facets import Facet
from rules.guide.judged import REFUSES
from rules.shop import Shop
from rules.spec import Monogram, PartChoice, Spec
from rules.themes import known_good

#: Specs tried for a code in one pattern, specs that can be made in which it is tried, and combinations of sizes.
_TRIED: Final = 144
_BASES: Final = 12
_SIZES: Final = 24
_SIDES: Final = ("grain", "flesh")
Shown = Callable[[Spec], Mapping[str, Any]]
Alone = tuple[Spec, frozenset[Facet]]
"""A spec in which one thing is chosen, and the facets that it settles."""
Why = tuple[str, str]
"""Why there is nothing, as the end of a sentence and more, and the proof."""
_SLOTS: Final[Mapping[str, str]] = {
    "leather": "/parts/", "thread": "/thread", "edge": "/edge", "hardware": "/hardware/",
    "typeface": "/monogram/typeface", "foil": "/monogram/foil", "modification": "/modifications",
}  # fmt: skip


def nouns_of(shop: Shop) -> dict[str, Sequence[str]]:
    """Return the codes that a spec may choose, by noun, patterns aside."""
    catalog = shop.catalog
    return {
        "leather": tuple(catalog.leathers), "thread": tuple(catalog.threads), "edge": tuple(catalog.edges),
        "hardware": tuple(catalog.hardware), "typeface": tuple(catalog.typefaces), "foil": tuple(catalog.foils),
        "modification": tuple(catalog.modifications),
    }  # fmt: skip


def dead_codes(
    search: Search, exact: Exact, shown: Shown, pictures: Mapping[str, Picture | None]
) -> Iterator[Report]:  # fmt: skip
    """Give the codes of which nothing can be made. Of a pattern or a book of which nothing can be made, only that."""
    shop, found = search.shop, search.found
    patterns = shop.catalog.patterns
    search.judge([known_good(pattern) for pattern in patterns.values()])
    search.judge([spec for each in pictures.values() if each is not None and (spec := each.spec_with()) is not None])
    codes = [(noun, code) for noun, held in nouns_of(shop).items() for code in held]
    for code in codes:
        _seek(search, code)
        if code not in found.alive:
            search.judge(list(_known_with(pictures, code)))
    void = [pattern for pattern in patterns.values() if not found.made.get(pattern.code)]
    if len(void) == len(patterns):
        yield _dead("void_book", ("book", shop.catalog.workshop.code), search, _all_void(exact, void, pictures), shown)
        return
    for pattern in void:
        why = _void(exact, pattern, pictures.get(pattern.code))
        yield _dead("void_pattern", ("pattern", pattern.code), search, why, shown)
    gone = {pattern.code for pattern in void}
    for code in codes:
        places = _places(shop, code)
        if code not in found.alive and (not places or not places <= gone):
            yield _dead("dead_code", code, search, _why(exact, shop, code) or _closed(pictures, places, code), shown)


def _dead(kind: Kind, code: Code, search: Search, why: Why | None, shown: Shown) -> Report:
    """Return the report of a code of which nothing can be made; the witness is the spec that comes nearest."""
    found, (noun, name) = search.found, code
    blocked = found.blocked.get(code, {})
    mostly = sorted(blocked, key=lambda rule: (-blocked[rule], rule))[:3]
    if why is not None:
        says, proof = f"Nothing can be made with {noun} {name}: {why[0]}", why[1]
    else:
        by = f" Mostly refused by {', '.join(mostly)}." if mostly else ""
        says, proof = f"No spec with {noun} {name} was found that can be made.{by}", found.proof
    nearest = found.refused.get(code)
    return Report(kind, f"{noun} {name}", says, proof, None if nearest is None else {"spec": shown(nearest[1])})


def _seek(search: Search, code: Code) -> None:
    """Try a code in every place where it may stand, until something can be made with it."""
    for pattern in search.shop.catalog.patterns.values():
        if code in search.found.alive:
            return
        bases = search.found.made.get(pattern.code, [])[:_BASES]
        search.judge(list(islice(_with(search.shop, code, pattern, bases or [known_good(pattern)]), _TRIED)))


def _with(shop: Shop, code: Code, pattern: Pattern, bases: Sequence[Spec]) -> Iterator[Spec]:
    noun, chosen = code
    match noun:
        case "leather":
            for part, side, base in product(pattern.parts, _SIDES, bases):
                yield replace(base, parts={**base.parts, part: PartChoice(chosen, side)}, lots={})
        case "thread" | "edge":
            change: dict[str, Any] = {noun: chosen}
            yield from (replace(base, **change) for base in bases)
        case "hardware":
            slots = [
                slot for slot, fixing in pattern.fixings.items() if shop.catalog.hardware[chosen].type in fixing.types
            ]
            for slot, base, sizes in product(slots, bases, _sizes(pattern)):
                yield replace(base, hardware={**base.hardware, slot: chosen}, sizes_um={**base.sizes_um, **sizes})
        case "typeface" | "foil":
            yield from _lettered(shop, code, pattern, bases)
        case _:
            if chosen in pattern.modifications:
                for base in bases:
                    yield replace(base, modifications=tuple(dict.fromkeys((*base.modifications, chosen))))


def _sizes(pattern: Pattern) -> list[dict[str, int]]:
    """Return combinations of the sizes offered, as few as tell."""
    lists = [[(code, um) for um in size.offered_um] for code, size in pattern.sizes.items() if size.offered_um]
    return [dict(some) for some in islice(product(*lists), _SIZES)]


def _lettered(shop: Shop, code: Code, pattern: Pattern, bases: Sequence[Spec]) -> Iterator[Spec]:
    catalog, (noun, chosen) = shop.catalog, code
    faces = [face for face in catalog.typefaces.values() if noun == "foil" or face.code == chosen]
    for face, zone, base in product(faces, pattern.zones, bases):
        for method in face.methods:
            foils = [chosen] if noun == "foil" else [*catalog.foils] if method == "foil" else [None]
            if noun == "typeface" or method == "foil":
                yield from (replace(base, monogram=Monogram("A", method, face.code, zone, foil)) for foil in foils)


def _places(shop: Shop, code: Code) -> frozenset[str]:
    """Return the patterns in which a code may stand."""
    noun, chosen = code
    return frozenset(pattern.code for pattern in shop.catalog.patterns.values() if _takes(shop, noun, chosen, pattern))


def _takes(shop: Shop, noun: str, code: str, pattern: Pattern) -> bool:
    match noun:
        case "hardware":
            return any(shop.catalog.hardware[code].type in fixing.types for fixing in pattern.fixings.values())
        case "typeface" | "foil":
            return bool(pattern.zones)
        case "modification":
            return code in pattern.modifications
        case _:
            return True


def _known_with(pictures: Mapping[str, Picture | None], code: Code) -> Iterator[Spec]:
    """Give a spec with a code that can be made, if any pattern has one."""
    for picture in pictures.values():
        for pointer, value in _options(picture, code) if picture is not None else ():
            spec = picture.spec_with(pointer, value) if picture is not None else None
            if spec is not None:
                yield spec
                return


def _options(picture: Picture, code: Code) -> Iterator[tuple[str, Any]]:
    """Give the options of a pattern that are a code: slot and value."""
    noun, chosen = code
    for slot in picture.guidance.slots:
        if slot.pointer.startswith(_SLOTS[noun]):
            for option in slot.options:
                value = option.value["leather"] if isinstance(option.value, dict) else option.value
                if value == chosen:
                    yield slot.pointer, option.value


def _closed(pictures: Mapping[str, Picture | None], places: frozenset[str], code: Code) -> Why | None:
    """Return why nothing can be made with a code where it is an option of each pattern with a place for it.

    ``places`` are these patterns. None where one cannot be gone through, or has a spec with it.
    """
    rules: dict[str, None] = {}
    specs = 0
    for pattern in sorted(places):
        picture = pictures.get(pattern)
        options = [] if picture is None else list(_options(picture, code))
        if picture is None or not options or any(picture.usable(*option) for option in options):
            return None
        if not picture.void:
            rules |= dict.fromkeys(rule for option in options for rule in picture.rules_of(*option))
        specs += picture.specs
    return f"{', '.join(sorted(rules))} close it wherever it is an option. {HELD}", proof_over(specs)


def _all_void(exact: Exact, patterns: Sequence[Pattern], pictures: Mapping[str, Picture | None]) -> Why | None:
    rules = _refusing(exact, [(Spec(pattern.code), frozenset()) for pattern in patterns])
    if rules is not None:
        return f"{rules} refuses every pattern, whatever is chosen.", EXHAUSTIVE
    known = [picture for picture in pictures.values() if picture is not None and picture.void]
    if len(known) < len(patterns):
        return None
    several = "; ".join(f"{each.pattern.code}: {', '.join(each.in_the_way(REFUSES))}" for each in known)
    return f"{several}. {HELD}", proof_over(sum(each.specs for each in known))


def _void(exact: Exact, pattern: Pattern, picture: Picture | None) -> Why | None:
    """Return why nothing can be made of a pattern, where the pattern alone decides it or all was gone through."""
    rules = _refusing(exact, [(Spec(pattern.code), frozenset())])
    if rules is not None:
        return f"{rules} refuses the pattern, whatever is chosen.", EXHAUSTIVE
    if picture is None or not picture.void:
        return None
    return f"{', '.join(picture.in_the_way(REFUSES))} together leave nothing. {HELD}", proof_over(picture.specs)


def _refusing(exact: Exact, alone: Sequence[Alone]) -> str | None:
    """Return the rules of which one refuses each of some ways to choose; None where some way is refused by none."""
    found: list[frozenset[str]] = []
    for spec, settled in alone:
        rules = exact.refuses(spec, settled)
        if rules is None:
            return None
        found += rules
    return " or ".join(in_common(found)) or None


def _why(exact: Exact, shop: Shop, code: Code) -> Why | None:
    """Return why nothing can be made with a code, where the choice of it alone decides it; else None."""
    if not _places(shop, code):
        return "no pattern has a place for it.", EXHAUSTIVE
    alone = _alone(shop, code)
    rules = None if alone is None else _refusing(exact, alone)
    return None if rules is None else (f"{rules} refuses it wherever it is chosen.", EXHAUSTIVE)


def _alone(shop: Shop, code: Code) -> list[Alone] | None:
    """Return every way to choose a code alone; None where there are too many, or other ways to come by it."""
    noun, chosen = code
    patterns = shop.catalog.patterns.values()
    match noun:
        case "leather":
            return [
                (
                    Spec(pattern.code, {part: PartChoice(chosen, side)}),
                    frozenset((read, part) for read in ("leather", "species", "side", "lots")),
                )
                for pattern in patterns for part in pattern.parts for side in _SIDES
            ]  # fmt: skip
        case "thread":
            if shop.catalog.threads[chosen].status == "active":
                return None  # whoever asks for a match may come by it too, under other rules
            return [(Spec(pattern.code, thread=chosen), frozenset({("thread", "")})) for pattern in patterns]
        case "edge":
            if shop.catalog.edges[chosen].status == "active":
                return None
            return [(Spec(pattern.code, edge=chosen), frozenset({("edge", "")})) for pattern in patterns]
        case "hardware":
            return _fitted(shop, chosen)
        case _:
            return None


def _fitted(shop: Shop, code: str) -> list[Alone] | None:
    """Return every set of fittings with one of them, pattern by pattern."""
    found: list[Alone] = []
    others: list[str | None] = [*shop.catalog.hardware, None]
    for pattern in shop.catalog.patterns.values():
        if len(others) ** max(0, len(pattern.fixings) - 1) * len(pattern.fixings) > MOST:
            return None
        for slot in pattern.fixings:
            rest = [each for each in pattern.fixings if each != slot]
            for codes in product(others, repeat=len(rest)):
                chosen = {each: given for each, given in zip(rest, codes, strict=True) if given is not None}
                found.append((Spec(pattern.code, hardware={slot: code, **chosen}), frozenset({("hardware", "")})))
    return found
