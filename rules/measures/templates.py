"""Measures of the data itself: templates, names, magnets, prices, the rack. Asked of the catalog, not of a spec."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, ClassVar

from catalog.model import Catalog, Hardware, Leather, Number, Pattern, Pocket, Seam
from catalog.model import Layer as SeamLayer
from rules.ir import Stage
from rules.job import Data, Priced
from rules.subjects import Plain
from rules.vocabulary import number, stage_subject, truth

_STAGE: tuple[Stage, ...] = ("catalog",)
_CARD = "card"
_REFUSED = "refuse"
_DAYS_A_WEEK = 7
#: What a name of a leather must not be left at.
_UNSTATED = frozenset({"unstated", "unknown", "mixed"})


@dataclass(frozen=True)
class Datum(Plain):
    """Something of the catalog. It has no case."""

    catalog: Catalog
    case: ClassVar[None] = None

    @property
    def params(self) -> dict[str, Any]:
        """Codes behind the sentence."""
        return self.subject

    @property
    def words(self) -> dict[str, str]:
        """The words of a sentence: what it is."""
        return {name: str(value).replace("_", " ") for name, value in self.subject.items()}

    def threshold(self, name: str) -> Number:
        """Return a limit of the workshop in base units."""
        return self.catalog.thresholds[name].value


@dataclass(frozen=True)
class OfLeather(Datum):
    """Something of a leather."""

    leather: Leather

    @property
    def at(self) -> tuple[str, ...]:
        """The leather."""
        return (f"/leathers/{self.leather.code}",)

    @property
    def subject(self) -> dict[str, Any]:
        """The leather."""
        return {"leather": self.leather.code}

    @property
    def words(self) -> dict[str, str]:
        """The leather's name."""
        return {"leather": self.leather.name}


@dataclass(frozen=True)
class StitchLine(Datum):
    """A seam of a template, and how far from the edge it runs."""

    pattern: Pattern
    seam: Seam

    @property
    def at(self) -> tuple[str, ...]:
        """The seam."""
        return (f"/patterns/{self.pattern.code}/seams/{self.seam.code}",)

    @property
    def subject(self) -> dict[str, Any]:
        """Pattern and seam."""
        return {"pattern": self.pattern.code, "seam": self.seam.code}


@stage_subject("stitchline", "each seam of a template", ("pattern", "seam"), stages=_STAGE, has_case=False)
def each_stitch_line(data: Data) -> Iterator[StitchLine]:
    """List the seams of all templates."""
    for pattern in data.catalog.patterns.values():
        for seam in pattern.seams.values():
            yield StitchLine(data.catalog, pattern, seam)


@number("stitchline.from_edge", "mm", "distance of the stitches from the edge", reads=())
def from_edge(line: StitchLine) -> int | None:
    """Return the distance, um; None where the template does not say."""
    return line.seam.from_edge_um


@number("stitchline.least", "mm", "the least distance for its thickest stack", reads=())
def least(line: StitchLine) -> Number:
    """Return the larger of a fixed distance and a share of the thickest stack plus a margin, um."""
    stack = min(line.seam.limit_um, sum(_thickest(line.pattern, layer) for layer in line.seam.layers))
    by_stack = line.threshold("stitch_edge_per_stack") * stack + line.threshold("stitch_edge_beside_mm")
    return max(line.threshold("stitch_edge_min_mm"), by_stack)


def _thickest(pattern: Pattern, layer: SeamLayer) -> int:
    most = pattern.panels[layer.panel].thickness.max_um
    return layer.count * (most if layer.skived_to_um is None else min(most, layer.skived_to_um))


@dataclass(frozen=True)
class CardPocket(Datum):
    """A pocket for cards of a template."""

    pattern: Pattern
    pocket: Pocket

    @property
    def at(self) -> tuple[str, ...]:
        """The pocket."""
        return (f"/patterns/{self.pattern.code}/pockets/{self.pocket.code}",)

    @property
    def subject(self) -> dict[str, Any]:
        """Pattern and pocket."""
        return {"pattern": self.pattern.code, "pocket": self.pocket.code}


@stage_subject(
    "cardpocket", "each pocket for cards of a template", ("pattern", "pocket"), stages=_STAGE, has_case=False
)
def each_card_pocket(data: Data) -> Iterator[CardPocket]:
    """List the pockets for cards of all templates."""
    for pattern in data.catalog.patterns.values():
        for pocket in pattern.pockets.values():
            if pocket.use == _CARD:
                yield CardPocket(data.catalog, pattern, pocket)


@number("cardpocket.width", "mm", "width of the pocket", reads=())
def width(use: CardPocket) -> int:
    """Return the clear width, um."""
    return use.pocket.width_um


@number("cardpocket.least", "mm", "the least width for a card and those on it", reads=())
def least_width(use: CardPocket) -> Number | None:
    """Return a card's side + cards in the pocket x an embossed card's thickness + ease, um.

    A pocket as wide as a card is long takes it lying, a narrower one standing. The card is the largest of the
    catalog's cards (ISO/IEC 7810 ID-1: 85.60 x 53.98 mm); None where it has none.
    """
    cards = [item for item in use.catalog.carry_items.values() if item.group == _CARD]
    if not cards:
        return None
    card = max(cards, key=lambda item: item.width_um)
    long, short = sorted((card.width_um, card.height_um), reverse=True)
    side = long if use.pocket.width_um >= long else short
    embossed = use.threshold("card_embossed_mm")
    stacked = max(1, use.pocket.depth_um // embossed)
    return side + stacked * embossed + use.threshold("card_ease_soft_mm")


@dataclass(frozen=True)
class Naming(OfLeather):
    """What a leather is called when it is offered."""

    @property
    def words(self) -> dict[str, str]:
        """The leather's name, and the words in it that promise too much."""
        return super().words | {"promised": ", ".join(self.promised)}

    @property
    def promised(self) -> list[str]:
        """Claims that the law file refuses and that the name, an alias or the kind's name makes."""
        said = " ".join((self.leather.name, self.leather.kind.name, *self.leather.aliases)).casefold()
        plain = "".join(sign for sign in said if sign.isalnum())
        refused = (claim for claim, grade in self.catalog.claims.items() if grade == _REFUSED)
        return [claim for claim in refused if claim.casefold().replace("_", "") in plain]


@stage_subject("naming", "the name of each leather", ("leather", "promised"), stages=_STAGE, has_case=False)
def each_name(data: Data) -> Iterator[Naming]:
    """List the leathers that are still offered."""
    for leather in data.catalog.leathers.values():
        if leather.status != "retired":
            yield Naming(data.catalog, leather)


@truth("naming.promises", "the name makes a claim that may not be made", reads=())
def promises(use: Naming) -> bool:
    """Whether a claim that the law file refuses stands in the name."""
    return bool(use.promised)


@truth("naming.species_stated", "the animal is named", reads=())
def species_stated(use: Naming) -> bool:
    """Whether the leather's kind says which animal it is from."""
    return use.leather.kind.species.casefold() not in _UNSTATED


@dataclass(frozen=True)
class Magnet(Datum):
    """A magnet among the hardware."""

    hardware: Hardware

    @property
    def at(self) -> tuple[str, ...]:
        """The hardware."""
        return (f"/hardware/{self.hardware.code}",)

    @property
    def subject(self) -> dict[str, Any]:
        """The hardware."""
        return {"hardware": self.hardware.code}


@stage_subject("magnet", "each magnet", ("hardware",), stages=_STAGE, has_case=False)
def each_magnet(data: Data) -> Iterator[Magnet]:
    """List the magnets."""
    for hardware in data.catalog.hardware.values():
        if hardware.magnetic:
            yield Magnet(data.catalog, hardware)


@number("magnet.flux_index", "kG2mm2", "flux index", reads=())
def flux_index(magnet: Magnet) -> Number | None:
    """Return the flux index, kG2mm2; None where nobody measured it."""
    return magnet.hardware.flux_index


@truth("magnet.loose", "the magnet is loose or may come off", reads=())
def loose(magnet: Magnet) -> bool | None:
    """Whether it is not captive and covered; None where nobody asks."""
    return magnet.hardware.loose


@number("magnet.size", "mm", "size of the magnet", reads=())
def size(magnet: Magnet) -> int:
    """Return its nominal size, um."""
    return magnet.hardware.size_um


@dataclass(frozen=True)
class ShownPrice(Datum):
    """A price as it is shown."""

    price: Priced

    @property
    def at(self) -> tuple[str, ...]:
        """The price of the pattern."""
        return (f"/price-list/base/{self.price.pattern}",)

    @property
    def subject(self) -> dict[str, Any]:
        """Pattern and quantity."""
        return {"pattern": self.price.pattern, "quantity": self.price.quantity}


@stage_subject("shownprice", "each price as it is shown", ("pattern", "quantity"), stages=_STAGE, has_case=False)
def each_shown_price(data: Data) -> Iterator[ShownPrice]:
    """List the prices."""
    for price in data.prices:
        yield ShownPrice(data.catalog, price)


@number("shownprice.lines", "money", "sum of the lines", reads=())
def lines(use: ShownPrice) -> int:
    """Return the sum of the lines as they are shown, minor units."""
    return sum(use.price.lines_minor)


@number("shownprice.each", "money", "price of one piece", reads=())
def each_minor(use: ShownPrice) -> int:
    """Return the price of one piece, minor units."""
    return use.price.each_minor


@number("shownprice.all_pieces", "money", "price of one piece x quantity", reads=())
def all_pieces(use: ShownPrice) -> int:
    """Return each x quantity, minor units."""
    return use.price.each_minor * use.price.quantity


@number("shownprice.total", "money", "total", reads=())
def total(use: ShownPrice) -> int:
    """Return the total, minor units."""
    return use.price.total_minor


@dataclass(frozen=True)
class Rack(OfLeather):
    """What is on the rack of a leather."""


@stage_subject("rack", "what is on the rack of each leather", ("leather",), stages=_STAGE, has_case=False)
def each_rack(data: Data) -> Iterator[Rack]:
    """List the leathers that can be had again."""
    for leather in data.catalog.leathers.values():
        if leather.status == "active":
            yield Rack(data.catalog, leather)


@number("rack.free", "dm2", "free leather in all lots", reads=())
def free(rack: Rack) -> int:
    """Return the free area of every lot, um2."""
    return sum(lot.free_um2 for lot in rack.catalog.lots_of(rack.leather.code))


@number("rack.reorder_at", "dm2", "what is used until more can come, and the reserve", reads=())
def reorder_at(rack: Rack) -> Number | None:
    """Return use a week x weeks until it comes + the reserve, um2; None where nobody keeps count of its use."""
    weekly, leather = rack.leather.weekly_um2, rack.leather
    if weekly is None:
        return None
    whole, rest = divmod(weekly * leather.kind.lead_days, _DAYS_A_WEEK)
    return whole + bool(rest) + leather.reserve_um2
