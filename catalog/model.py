"""The facts of a workshop as frozen nouns.

Every figure is exact: lengths and thicknesses in micrometers (``_um``), areas in square
micrometers (``_um2``), liquids in microliters (``_ul``), money in minor units of the
workshop's currency (``_minor``), color distances and lightness in thousandths (``_milli``);
ratios are ``Fraction``. Mappings keep the order of the file; codes are unique within a noun
when compared without regard to case.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from functools import cached_property
from typing import Any

from catalog.goods import (
    Edge,
    Foil,
    FreeRectangle,
    Hardware,
    HeldPanel,
    Kind,
    Leather,
    Lot,
    LotCare,
    Swatch,
    Thread,
    Typeface,
)
from catalog.quantities import Grade, Lab, Number, Side, Span
from catalog.shapes import (
    Closed,
    Fixing,
    Fold,
    Layer,
    Load,
    Panel,
    Pattern,
    Pocket,
    Seam,
    Size,
    Spine,
    Zone,
)
from catalog.strict_yaml import Document

__all__ = [
    "CarryItem",
    "Catalog",
    "Closed",
    "Edge",
    "Fixing",
    "Foil",
    "Fold",
    "FreeRectangle",
    "Grade",
    "Hardware",
    "HeldPanel",
    "Kind",
    "Lab",
    "Labor",
    "LawRow",
    "Layer",
    "Leather",
    "Load",
    "Lot",
    "LotCare",
    "Modification",
    "Number",
    "Panel",
    "Pattern",
    "Pocket",
    "PriceList",
    "PricePoint",
    "PriceRow",
    "QuantityBreak",
    "Seam",
    "Side",
    "Size",
    "Span",
    "Spine",
    "Swatch",
    "Thread",
    "Threshold",
    "Typeface",
    "Workshop",
    "Zone",
]


@dataclass(frozen=True, slots=True)
class Modification:
    """A small change that a customer may ask for."""

    code: str
    name: str


@dataclass(frozen=True, slots=True)
class CarryItem:
    """A thing that must fit. ``group`` is card, passport, business_card, note, notebook or tool."""

    code: str
    group: str
    name: str
    width_um: int
    height_um: int
    thickness_um: int
    source: str


@dataclass(frozen=True, slots=True)
class Threshold:
    """A named limit in the base unit of ``unit`` (see :mod:`catalog.units`)."""

    name: str
    value: Number
    unit: str
    rule: str | None
    source: str


@dataclass(frozen=True, slots=True)
class LawRow:
    """A dated pointer for the owner to check; never legal advice.

    ``destination`` is where it is looked at, ``jurisdiction`` whose law it points to, in words. From the day
    after ``review_by`` on, whoever is told of it is told that too.
    """

    code: str
    rule: str
    severity: str
    species: str | None
    tannages: tuple[str, ...]
    destination: str
    says: str
    source: str
    checked_on: date
    review_by: date
    jurisdiction: str | None = None

    def past_review(self, today: date) -> bool:
        """Whether the row should have been looked at again before today."""
        return today > self.review_by


@dataclass(frozen=True, slots=True)
class PricePoint:
    """Totals are rounded up to ``step`` from ``from``, to ``step_below`` under it."""

    from_minor: int
    step_minor: int
    step_below_minor: int


@dataclass(frozen=True, slots=True)
class QuantityBreak:
    """From ``quantity`` pieces on, ``percent`` off."""

    quantity: int
    percent: Number


@dataclass(frozen=True, slots=True)
class PriceRow:
    """A surcharge: ``amount_minor`` once a piece, or for each of a count after the first ``beyond``.

    ``says`` is the line in words; ``{count}`` in it stands for how many are charged. ``when`` is the
    condition as the file writes it, in the grammar of the rule book, and ``for_each`` a name of its
    vocabulary: this package knows neither, :mod:`rules.tariff` reads them.
    """

    code: str
    says: str
    amount_minor: int
    when: Mapping[str, Any]
    for_each: str | None = None
    beyond: int = 0


@dataclass(frozen=True, slots=True)
class PriceList:
    """Prices with tax, minor units. ``base[pattern][band]``; a missing cell is priced by hand.

    ``document`` is the file, for the places of faults in its conditions.
    """

    base_minor: Mapping[str, Mapping[str, int]]
    part_share: Mapping[str, Fraction]
    surcharges: tuple[PriceRow, ...]
    breaks: tuple[QuantityBreak, ...]
    point: PricePoint
    bands: tuple[str, ...]
    reference_band: str
    document: Document = field(repr=False, compare=False)


@dataclass(frozen=True, slots=True)
class Labor:
    """Minutes at the bench by operation, exact, and whole days an edge dries afterwards, by finish."""

    per_piece: Mapping[str, Number]
    cut_panel: Number
    split_panel: Number
    skive_per_100_mm: Number
    glue_per_100_mm: Number
    prick_per_hole: Number
    hand_stitch: Number
    machine_stitch_per_100_mm: Number
    whip_stitch: Number
    edge_per_100_mm: Mapping[str, Number]
    monogram_setup: Number
    monogram_test_strike: Number
    monogram_letter: Number
    hardware_each: Number
    modification: Mapping[str, Number]
    dry_days: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Workshop:
    """The shop: currency, tax, calendar and capacity. Money in minor units.

    ``parcel_sachet`` is what keeps parcels dry: none, tested (its maker vouches for it), untested, or None where
    nobody asks.
    """

    code: str
    name: str
    currency: str
    minor_digits: int
    vat_percent: Number
    home_country: str
    time_zone: str
    holiday_calendar: str
    working_weekdays: tuple[int, ...]
    catalog_revision: str
    labor_per_hour_minor: int
    overhead_per_hour_minor: int
    sundries_per_piece_minor: int
    bench_minutes_per_week: int
    backlog_minutes: int
    rush_minutes_per_week: int
    rush_weeks: int
    rush_percent: Number
    quote_days: int
    deposit_percent: Number
    deposit_from_minor: int
    parcel_sachet: str | None = None


@dataclass(frozen=True)
class Catalog:
    """Everything a workshop knows of itself, keyed by the code as the file writes it.

    ``sources`` holds, per file without its ending and per field of it, where the figures come
    from; ``house`` the text of the workshop's own rules and worked orders by file, which :mod:`rules` reads;
    ``content_hash`` is ``sha256:...`` over all files.
    """

    workshop: Workshop
    kinds: Mapping[str, Kind]
    leathers: Mapping[str, Leather]
    lots: Mapping[str, Lot]
    threads: Mapping[str, Thread]
    edges: Mapping[str, Edge]
    hardware: Mapping[str, Hardware]
    typefaces: Mapping[str, Typeface]
    foils: Mapping[str, Foil]
    patterns: Mapping[str, Pattern]
    modifications: Mapping[str, Modification]
    carry_items: Mapping[str, CarryItem]
    thresholds: Mapping[str, Threshold]
    law_rows: Mapping[str, LawRow]
    uses: Mapping[str, str]
    claims: Mapping[str, str]
    price_list: PriceList
    labor: Labor
    sources: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    house: Mapping[str, str] = field(default_factory=dict)
    content_hash: str = field(default="")

    def lots_of(self, leather: str) -> tuple[Lot, ...]:
        """Return the lots of a leather in catalog order."""
        return self._by_leather.get(leather, ())

    def law_of(self, rule: str) -> tuple[LawRow, ...]:
        """Return the rows of the law file under a rule's id, in catalog order."""
        return self._by_rule.get(rule, ())

    def shelf(self, leather: str) -> str:
        """Return a name for all lots of a leather as they stand; "" where it has none."""
        lots = self._by_leather.get(leather)
        return lots[0].key if lots else ""

    @cached_property
    def _by_rule(self) -> Mapping[str, tuple[LawRow, ...]]:
        found: dict[str, tuple[LawRow, ...]] = {}
        for row in self.law_rows.values():
            found[row.rule] = (*found.get(row.rule, ()), row)
        return found

    @cached_property
    def _by_leather(self) -> Mapping[str, tuple[Lot, ...]]:
        found: dict[str, tuple[Lot, ...]] = {}
        for lot in self.lots.values():
            found[lot.leather] = (*found.get(lot.leather, ()), lot)
        return found
