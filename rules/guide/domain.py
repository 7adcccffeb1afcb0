"""What can be chosen for a pattern: slots with their values, and the spec that values make.

A slot here is what rules read as one (a facet): all sizes together, a monogram as a whole. What a caller sees are its
views (:mod:`rules.guide.views`). A part's value is a leather, a side and the lots it would be cut from.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations, product
from math import comb
from typing import Any, Final

import numpy as np

from catalog.goods import Hardware
from catalog.model import Lot, Pattern, Size
from rules.case import Case
from rules.choices import NEVER_FILLED, waists_um
from rules.diagram.constraint import Table
from rules.facets import Facet, lots_value
from rules.guide.letters import letters_to_try
from rules.lots import named_lots
from rules.piece import FLESH, GRAIN, MATCH, OUTSIDE, Piece
from rules.shop import Shop
from rules.spec import Monogram, PartChoice, Purpose, Spec
from rules.vocabulary import BY_PART

#: Facets that are a slot of their own, in the order in which they are taken.
WHOLE: Final = ("edge", "stitch", "thread", "hardware", "sizes", "modifications", "monogram", "purpose")
#: Sets of lots of one leather that are looked at for one part.
MOST_SETS: Final = 1 << 10


@dataclass(frozen=True, slots=True)
class PartValue:
    """A leather for a part with its side, and the lots it is cut from: one, several, or () where it has none."""

    leather: str
    side: str
    lots: tuple[Lot, ...]


@dataclass(frozen=True, slots=True)
class Matched:
    """A thread or an edge that is to match the outside, and what that comes to with some of the leathers."""

    code: str


@dataclass(frozen=True)
class Slot:
    """One slot: ``part`` names the part where it is one's leather, else ``read`` the facet that it is.

    ``values`` are PartValues, codes (None: nothing), or what the field of a spec holds.
    """

    read: str
    part: str
    values: tuple[Any, ...]


@dataclass(frozen=True)
class Domain:
    """The slots of a pattern in one shop, over what a spec leaves fixed.

    ``base`` is the spec without what the slots say. ``letters`` are the texts that each value of a monogram is tried
    with, the first standing for it. ``matches`` are the slots that are to match the outside, each with what it comes
    to for a leather there.
    """

    shop: Shop
    pattern: Pattern
    base: Spec
    slots: tuple[Slot, ...]
    letters: tuple[tuple[str, ...], ...] = ()
    matches: Mapping[int, Mapping[str, str | None]] = field(default_factory=dict)
    limited: bool = False

    @property
    def sizes(self) -> tuple[int, ...]:
        """How many values each slot has."""
        return tuple(len(slot.values) for slot in self.slots)

    def numbers(self) -> Mapping[Facet, int]:
        """Return the slot that each facet is read from; what is not here is fixed."""
        found: dict[Facet, int] = {}
        for number, slot in enumerate(self.slots):
            if slot.read == "part":
                found |= {(read, slot.part): number for read in BY_PART}
            else:
                found[slot.read, ""] = number
                if slot.read == "monogram":
                    found["letters", ""] = number
        return found

    def lettered(self, texts: Mapping[int, str]) -> Domain:
        """Return the domain with one text for each value of the monogram, by its place."""
        return replace(self, letters=tuple((texts.get(place, own[0]),) for place, own in enumerate(self.letters)))

    def piece(self, chosen: Mapping[int, int]) -> Piece:
        """Return the piece of some values, by slot; nothing is chosen in the others.

        What is to match comes to what its value says, whether the outside is chosen or not: :meth:`links` lets no
        other outside stand beside it.
        """
        piece = self.shop.piece(self.spec(chosen))
        for number, place in chosen.items():
            slot = self.slots[number]
            value = slot.values[place]
            if isinstance(value, Matched):
                nouns = piece.indexes.threads if slot.read == "thread" else piece.indexes.edges
                piece.__dict__[slot.read] = nouns.find(value.code)
        return piece

    def links(self) -> list[Table]:
        """Return which outsides may stand beside what is to match them."""
        found = []
        for number, comes_to in self.matches.items():
            outside = next(at for at, slot in enumerate(self.slots) if slot.part == OUTSIDE)
            leathers = list(comes_to)
            own = np.array([leathers.index(value.leather) for value in self.slots[outside].values], dtype=np.intp)
            values = self.slots[number].values
            holds = [
                [not isinstance(value, Matched) or value.code == comes_to[leather] for value in values]
                for leather in leathers
            ]
            places = np.arange(len(values), dtype=np.intp)
            found.append(Table((outside, number), (own, places), np.array(holds, dtype=bool), label=MATCH))
        return found

    def panels(self, part: str) -> int:
        """Return how many panels of a part the order has: it is never cut from more lots."""
        each = sum(panel.count for panel in self.pattern.panels.values() if panel.part == part)
        return each * self.base.quantity

    def spec(self, chosen: Mapping[int, int]) -> Spec:
        """Return the spec of some values, by slot."""
        fields: dict[str, Any] = {}
        parts: dict[str, PartChoice] = {}
        for number, place in chosen.items():
            slot = self.slots[number]
            value = slot.values[place]
            if slot.read == "part":
                parts[slot.part] = PartChoice(value.leather, value.side)
            elif slot.read == "monogram":
                fields["monogram"] = None if value is None else replace(value, text=self.letters[place][0])
            elif isinstance(value, Matched):
                fields[slot.read] = MATCH
            else:
                fields[_FIELD.get(slot.read, slot.read)] = dict(value) if slot.read in _MAPPED else value
        return replace(self.base, parts=parts, **fields)

    def lots(self, chosen: Mapping[int, int]) -> dict[str, tuple[Lot, ...]]:
        """Return the lots of some values, by part."""
        return {
            self.slots[number].part: self.slots[number].values[place].lots
            for number, place in chosen.items()
            if self.slots[number].read == "part"
        }

    def case(self, chosen: Mapping[int, int], today: Any) -> Case:
        """Return the case of some values, by slot."""
        return Case(self.piece(chosen), self.lots(chosen), self.shop.warehouse, today)


#: Where a slot's value stands in a spec, where not under its own name; and which stand there as a mapping.
_FIELD: Final[Mapping[str, str]] = {"sizes": "sizes_um"}
_MAPPED: Final = ("sizes", "hardware")


def facet_key(slot: Slot, place: int, facets: Iterable[Facet]) -> Hashable:
    """Return what some facets read of a value: equal keys are the same to whoever reads these alone."""
    value = slot.values[place]
    reads = {read for read, part in facets if part in ("", slot.part)}
    if slot.read == "part":
        return (
            value.leather if reads & {"leather", "species"} else None,
            value.side if "side" in reads else None,
            lots_value(value.lots) if "lots" in reads else None,
        )
    return value  # type: ignore[no-any-return]


def domain_of(shop: Shop, spec: Spec) -> Domain:
    """Return what can be chosen where a spec leaves a slot open or chose something, for its pattern.

    What the spec chose is among the values even where it is no longer offered.

    Raises:
        ValueError: no pattern is known.
    """
    piece = shop.piece(spec)
    pattern = piece.pattern
    if pattern is None:
        raise ValueError("no pattern is known")
    listed = _Values(shop, piece, pattern)
    slots = [Slot("part", part, tuple(listed.part(part))) for part in pattern.parts]
    slots += [Slot(read, "", tuple(values)) for read in WHOLE if (values := getattr(listed, read)())]
    monograms = next(slot.values for slot in slots if slot.read == "monogram")
    matches = {number: listed.matches[slot.read] for number, slot in enumerate(slots) if slot.read in listed.matches}
    fixed: dict[str, Any] = {
        "parts": {}, "lots": {}, "thread": None, "stitch": None, "edge": None, "hardware": {}, "sizes_um": {},
        "monogram": None, "modifications": (),
    }  # fmt: skip
    letters = tuple(listed.letters(each) for each in monograms)
    if any(slot.read == "purpose" for slot in slots):
        fixed["purpose"] = replace(spec.purpose, use=None)
    return Domain(shop, pattern, replace(spec, **fixed), tuple(slots), letters, matches, listed.limited)


def asked_of(spec: Spec, piece: Piece) -> Hashable:
    """Return all of a spec that its domain follows from; equal ones have the same domain in the same shop."""
    asked = spec.monogram
    retired = tuple(
        (part, use.leather.code)
        for part, use in piece.parts.items()
        if use.leather is not None and (use.leather.status == "retired" or spec.lots)
    )
    purpose = replace(spec.purpose, use=None) if piece.bearing else spec.purpose
    return (
        None if piece.pattern is None else piece.pattern.code, spec.quantity, purpose, spec.carry, spec.ship_to,
        spec.rush, spec.ready_by, spec.repeats, spec.catalog_revision, spec.marks_ok, spec.mixed_metals_ok, spec.noted,
        tuple(spec.lots.items()), tuple(spec.sizes_um.items()), retired, piece.matches_thread, piece.matches_edge,
        None if asked is None else (asked.text, asked.artwork),
    )  # fmt: skip


class _Values:
    """The values of each slot."""

    def __init__(self, shop: Shop, piece: Piece, pattern: Pattern) -> None:
        self._shop = shop
        self._catalog = shop.catalog
        self._piece = piece
        self._pattern = pattern
        self.limited = False
        self.matches = {read: self._match(read) for read in ("thread", "edge") if getattr(piece, f"matches_{read}")}

    def _match(self, read: str) -> dict[str, str | None]:
        """Return what a match comes to with each leather outside."""
        found: dict[str, str | None] = {}
        for leather in self._catalog.leathers:
            asked: dict[str, Any] = {read: MATCH, "parts": {OUTSIDE: PartChoice(leather)}}
            nearest = getattr(self._shop.piece(Spec(self._pattern.code, **asked)), read)
            found[leather] = None if nearest is None else nearest.code
        return found

    def _matched(self, read: str) -> list[Matched]:
        codes = dict.fromkeys(self.matches.get(read, {}).values())
        return [Matched(code) for code in codes if code is not None]

    def part(self, part: str) -> Iterator[PartValue]:
        own = self._piece.parts[part].leather
        named = named_lots(self._piece, part)
        for leather in self._catalog.leathers.values():
            if leather.status == "retired" and leather != own:
                continue
            lots = [named] if named and leather == own else self._sets(leather.code)
            for side in (GRAIN, FLESH):
                yield from (PartValue(leather.code, side, each) for each in lots)

    def _sets(self, leather: str) -> Sequence[tuple[Lot, ...]]:
        """Return the sets of lots that a part may take, one first; () alone where there is none."""
        lots = sorted(self._catalog.lots_of(leather), key=lambda lot: lot.code)
        if not lots:
            return [()]
        found: list[tuple[Lot, ...]] = []
        for size in range(1, len(lots) + 1):
            if size > 1 and len(found) + comb(len(lots), size) > MOST_SETS:
                self.limited = True
                break
            found += combinations(lots, size)
        return found

    def thread(self) -> list[Matched | str]:
        return [*self._matched("thread"), *self._catalog.threads]

    def stitch(self) -> list[str]:
        return list(self._pattern.stitches)

    def edge(self) -> list[Matched | str]:
        return [*self._matched("edge"), *self._catalog.edges]

    def hardware(self) -> list[tuple[tuple[str, str], ...]]:
        places = [
            [(place, code) for code in self._suiting(fixing.types)] + ([] if fixing.required else [None])
            for place, fixing in self._pattern.fixings.items()
        ]
        return [tuple(each for each in chosen if each is not None) for chosen in product(*places)] if places else []

    def _suiting(self, types: Iterable[str]) -> list[str]:
        hardware: Iterable[Hardware] = self._catalog.hardware.values()
        return [each.code for each in hardware if each.type in types]

    def sizes(self) -> list[tuple[tuple[str, int], ...]]:
        own = self._piece.spec.sizes_um
        sizes = [
            [(code, um) for um in self._made(code, size, own.get(code))] for code, size in self._pattern.sizes.items()
        ]
        return list(product(*sizes)) if sizes else []

    def _made(self, code: str, size: Size, given: int | None) -> list[int]:
        """Return the sizes that are made; of a range its ends, what is usual and what was asked for."""
        made = list(size.offered_um)
        if not made:
            low, high = size.min_um, size.max_um
            if code in NEVER_FILLED:
                low, high = waists_um(self._piece)
            usual = size.default_um if code not in NEVER_FILLED else None
            made = sorted({um for um in (low, usual, high) if um is not None})
        return made if given is None or given in made else sorted([*made, given])

    def modifications(self) -> list[tuple[str, ...]]:
        codes = self._pattern.modifications
        return [each for size in range(len(codes) + 1) for each in combinations(codes, size)]

    def monogram(self) -> list[Monogram | None]:
        asked, catalog = self._piece.spec.monogram, self._catalog
        if not self._pattern.zones:
            return [None]
        found: list[Monogram | None] = [None]
        methods = dict.fromkeys(method for face in catalog.typefaces.values() for method in face.methods)
        artwork = asked is not None and asked.artwork
        for method, typeface, zone in product(methods, catalog.typefaces, self._pattern.zones):
            foils: Iterable[str | None] = catalog.foils if method == "foil" else (None,)
            found += [Monogram("", method, typeface, zone, foil, artwork) for foil in foils]
        return found

    def letters(self, monogram: Monogram | None) -> tuple[str, ...]:
        """Return the texts that a monogram is tried with."""
        asked = self._piece.spec.monogram
        if asked is not None:
            return (asked.text,)
        return ("",) if monogram is None else letters_to_try(self._catalog.typefaces[str(monogram.typeface)])

    def purpose(self) -> list[Purpose]:
        load, asked = self._pattern.load, self._piece.spec.purpose
        if load.load_class != "bearing":
            return []
        uses = list(self._pattern.uses)
        dogs = [asked.dog_kg] if asked.dog_kg is not None or not load.scales_with_dog else [1]
        return [replace(asked, use=use, dog_kg=dog) for use in uses for dog in dogs]
