"""A spec resolved against a catalog: nouns where codes stood, and every choice accounted for.

Codes are compared without regard to case. Nothing is ever mapped silently: a code that the
catalog lacks stays unresolved, with the nearest code beside it, and all else is still judged.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import lcm
from typing import TYPE_CHECKING, Any, Generic, Protocol, TypeVar

from catalog.color import de00_milli
from catalog.model import (
    CarryItem,
    Catalog,
    Edge,
    Foil,
    Hardware,
    Kind,
    Leather,
    Lot,
    Modification,
    Number,
    Panel,
    Pattern,
    Swatch,
    Thread,
    Typeface,
    Zone,
)
from catalog.strict_yaml import suggest
from rules.bench import Times
from rules.lazy import once
from rules.spec import Spec

if TYPE_CHECKING:
    from rules.tariff import Tariff

GRAIN = "grain"
FLESH = "flesh"
OUTSIDE = "outside"
MATCH = "match"
Noun = TypeVar("Noun")
Colored = TypeVar("Colored", bound="_Colored")


class _Colored(Protocol):
    """A noun with a code and, perhaps, a color."""

    @property
    def code(self) -> str:
        """Its code."""

    @property
    def swatch(self) -> Swatch | None:
        """Its color."""


@dataclass(frozen=True, slots=True)
class PartUse:
    """A part of the pattern with the leather chosen for it (None: missing or unknown)."""

    code: str
    leather: Leather | None
    side: str

    @property
    def kind(self) -> Kind | None:
        """Return the leather's kind."""
        return None if self.leather is None else self.leather.kind


class Index(Generic[Noun]):
    """Nouns by code without regard to case."""

    def __init__(self, nouns: Mapping[str, Noun]) -> None:
        self._nouns = {code.casefold(): noun for code, noun in nouns.items()}
        self._codes = {code.casefold(): code for code in nouns}

    def find(self, code: str | None) -> Noun | None:
        """Return the noun, or None."""
        return None if code is None else self._nouns.get(code.casefold())

    def code(self, code: str) -> str:
        """Return the code as the catalog writes it, else as given."""
        return self._codes.get(code.casefold(), code)

    def nearest(self, code: str) -> str | None:
        """Return the nearest code by spelling, or None where nothing is near."""
        near = suggest(code.casefold(), self._codes)
        return None if near is None else self._codes[near]


@dataclass(frozen=True)
class Indexes:
    """The catalog's nouns, each found without regard to case, and its price list compiled."""

    catalog: Catalog
    tariff: Tariff

    @once
    def patterns(self) -> Index[Pattern]:
        """Patterns."""
        return Index(self.catalog.patterns)

    @once
    def leathers(self) -> Index[Leather]:
        """Leathers."""
        return Index(self.catalog.leathers)

    @once
    def lots(self) -> Index[Lot]:
        """Lots."""
        return Index(self.catalog.lots)

    @once
    def threads(self) -> Index[Thread]:
        """Threads."""
        return Index(self.catalog.threads)

    @once
    def edges(self) -> Index[Edge]:
        """Edges."""
        return Index(self.catalog.edges)

    @once
    def hardware(self) -> Index[Hardware]:
        """Hardware."""
        return Index(self.catalog.hardware)

    @once
    def typefaces(self) -> Index[Typeface]:
        """Typefaces."""
        return Index(self.catalog.typefaces)

    @once
    def foils(self) -> Index[Foil]:
        """Foils."""
        return Index(self.catalog.foils)

    @once
    def modifications(self) -> Index[Modification]:
        """Modifications."""
        return Index(self.catalog.modifications)

    @once
    def carry_items(self) -> Index[CarryItem]:
        """Things that must fit."""
        return Index(self.catalog.carry_items)

    @once
    def uses(self) -> Index[str]:
        """Uses that a spec may name."""
        return Index(self.catalog.uses)

    @once
    def times(self) -> Times:
        """Bench times in whole parts of a minute."""
        return Times(self.catalog)

    @once
    def yields(self) -> int:
        """The least number that the numerator of every kind's yield divides: area / yield, times it, is whole."""
        return lcm(*(kind.yield_ratio.numerator for kind in self.catalog.kinds.values()))

    @once
    def marking_stock(self) -> Hashable:
        """What the type cases and the rolls of foil hold; equal where it is the same."""
        faces = tuple(
            (face.code, face.sorts_per_letter, tuple(sorted(face.sorts.items())), tuple(sorted(face.worn.items())))
            for face in self.catalog.typefaces.values()
        )
        return faces, tuple((foil.code, foil.left_um) for foil in self.catalog.foils.values())

    def restocked(self, catalog: Catalog) -> Indexes:
        """Return indexes over the same catalog with another stock; what does not follow from it is shared."""
        found = Indexes(catalog, self.tariff)
        found.__dict__.update({name: getattr(self, name) for name in _STOCKLESS})
        return found

    @once
    def claims(self) -> Index[str]:
        """Claims that a spec may name."""
        return Index(self.catalog.claims)


#: Indexes that are the same whatever is in stock.
_STOCKLESS = ("patterns", "modifications", "carry_items", "uses", "claims", "times", "yields")


class Piece:
    """A spec with its nouns. Built once per check; everything on it is lot-independent."""

    def __init__(self, spec: Spec, indexes: Indexes) -> None:
        self.spec = spec
        self.indexes = indexes
        self.catalog = indexes.catalog
        self.pattern = indexes.patterns.find(spec.pattern)
        self.quantity = spec.quantity
        self.memo: dict[str, Any] = {}

    def threshold(self, name: str) -> Number:
        """Return a named limit in base units."""
        return self.catalog.thresholds[name].value

    @once
    def panels(self) -> Mapping[str, Panel]:
        """The pattern's panels by code; none where the pattern is unknown."""
        return {} if self.pattern is None else self.pattern.panels

    @once
    def parts(self) -> dict[str, PartUse]:
        """The pattern's parts in its order, each with its leather if one is chosen and known."""
        if self.pattern is None:
            return {}
        return {part: self._part(part) for part in self.pattern.parts}

    def _part(self, part: str) -> PartUse:
        asked = self.spec.parts.get(part)
        if asked is None:
            return PartUse(part, None, GRAIN)
        return PartUse(part, self.indexes.leathers.find(asked.leather), asked.side or GRAIN)

    @once
    def cut_from(self) -> dict[str, tuple[str, ...]]:
        """The parts cut from each leather, in the pattern's order."""
        found: dict[str, tuple[str, ...]] = {}
        for part in self.parts.values():
            if part.leather is not None:
                found[part.leather.code] = (*found.get(part.leather.code, ()), part.code)
        return found

    @property
    def outside(self) -> PartUse | None:
        """The part that shows."""
        return self.parts.get(OUTSIDE)

    @once
    def stitch(self) -> str | None:
        """The stitch asked for, else the pattern's first."""
        if self.spec.stitch is not None:
            return self.spec.stitch.lower()
        return None if self.pattern is None else self.pattern.stitches[0]

    @once
    def thread(self) -> Thread | None:
        """The thread, ``match`` resolved to the nearest of those that suit the stitch."""
        if not self.matches_thread:
            return self.indexes.threads.find(self.spec.thread)
        return self._nearest([thread for thread in self.catalog.threads.values() if self._suits(thread)])

    @property
    def matches_thread(self) -> bool:
        """Whether the thread is to match the outside."""
        return self.spec.thread is not None and self.spec.thread.casefold() == MATCH

    @property
    def matches_edge(self) -> bool:
        """Whether the edge is to match the outside."""
        return self.spec.edge is not None and self.spec.edge.casefold() == MATCH

    def _suits(self, thread: Thread) -> bool:
        if self.pattern is None or thread.status != "active":
            return False
        ratio = Fraction(thread.diameter_um, self.pattern.pitch_um)
        return self.threshold("stitch_ratio_min") <= ratio <= self.threshold("stitch_ratio_max")

    @once
    def edge(self) -> Edge | None:
        """The edge, ``match`` resolved to the nearest active paint, else stain."""
        if not self.matches_edge:
            return self.indexes.edges.find(self.spec.edge)
        for finish in ("paint", "stain"):
            if self.pattern is not None and finish in self.pattern.edge_finishes:
                edges = self.catalog.edges.values()
                return self._nearest([e for e in edges if e.finish == finish and e.status == "active"])
        return None

    def _nearest(self, nouns: list[Colored]) -> Colored | None:
        """Return the noun nearest to the outside by CIEDE2000, by code among equals."""
        if self.outside is None or self.outside.leather is None:
            return None
        swatch = self.outside.leather.swatch
        ranked = [(de00_milli(swatch, noun.swatch), noun.code, noun) for noun in nouns if noun.swatch is not None]
        return min(ranked, key=lambda row: row[:2])[2] if ranked else None

    @once
    def hardware(self) -> dict[str, Hardware]:
        """Known hardware by the pattern's own slots, in the pattern's order."""
        if self.pattern is None:
            return {}
        found = {slot: self.indexes.hardware.find(self.spec.hardware.get(slot)) for slot in self.pattern.fixings}
        return {slot: noun for slot, noun in found.items() if noun is not None}

    @once
    def modifications(self) -> tuple[str, ...]:
        """Modifications asked for, as the catalog writes them, each once."""
        return tuple(dict.fromkeys(self.indexes.modifications.code(code) for code in self.spec.modifications))

    @once
    def typeface(self) -> Typeface | None:
        """The monogram's typeface."""
        return None if self.spec.monogram is None else self.indexes.typefaces.find(self.spec.monogram.typeface)

    @once
    def foil(self) -> Foil | None:
        """The monogram's foil, where the method is foil."""
        monogram = self.spec.monogram
        if monogram is None or monogram.method != "foil":
            return None
        return self.indexes.foils.find(monogram.foil)

    @once
    def zone(self) -> Zone | None:
        """The monogram's zone."""
        if self.spec.monogram is None or self.spec.monogram.zone is None or self.pattern is None:
            return None
        return Index(self.pattern.zones).find(self.spec.monogram.zone)

    @once
    def use(self) -> str | None:
        """The use named, as the law file writes it."""
        use = self.spec.purpose.use
        return None if use is None else self.indexes.uses.code(use)

    @once
    def bearing(self) -> bool:
        """Whether the pattern bears a load."""
        return self.pattern is not None and self.pattern.load.load_class == "bearing"

    @once
    def ship_to(self) -> str:
        """The destination, home where none is named."""
        return (self.spec.ship_to or self.catalog.workshop.home_country).upper()

    def size_um(self, size: str) -> int | None:
        """Return a size asked for, if the pattern takes it."""
        if self.pattern is None or size not in self.pattern.sizes:
            return None
        return self.spec.sizes_um.get(size)

    @once
    def laid_by(self) -> tuple[Any, ...]:
        """All that the panels to be laid follow from."""
        code = None if self.pattern is None else self.pattern.code
        return code, self.quantity, tuple(sorted(self.spec.sizes_um.items()))

    @property
    def called(self) -> str:
        """Return what to call it in a sentence."""
        return "This piece" if self.pattern is None else self.pattern.name

    @once
    def complete(self) -> bool:
        """Whether every part has a known leather and thread, edge and hardware are chosen."""
        if self.pattern is None or any(part.leather is None for part in self.parts.values()):
            return False
        missing = [
            slot for slot, fixing in self.pattern.fixings.items() if fixing.required and slot not in self.hardware
        ]
        return self.thread is not None and self.edge is not None and not missing
