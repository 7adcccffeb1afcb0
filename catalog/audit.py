"""Figures that cannot be: each is sound alone and impossible beside another.

These refuse the start, for a verdict built on them would be wrong without a word. All are
listed at once, each where it is written. Stock that is merely low, or a price that is merely
odd, is no fault.
"""

from __future__ import annotations

import difflib
import string
from collections.abc import Iterator, Mapping
from decimal import Decimal
from fractions import Fraction

from catalog import vocabulary as words
from catalog.audit_patterns import audit_patterns
from catalog.audit_prices import audit_prices
from catalog.model import Catalog, Kind, LawRow, Lot, Span, Typeface
from catalog.stamps import stamp_um2
from catalog.strict_yaml import Document, Fault
from catalog.units import DM2_UM2, shown

# The thinnest lining split and the thickest sole bend that a bench meets; common practice, no source.
THICKNESS = Span(200, 12_000)

# How far a measured area may exceed the mill's: max(1.2 dm2, 3 %), the bench's own rule for
# accepting a hide; common practice, no source.
STAMP_TOLERANCE_UM2 = 12 * DM2_UM2 // 10
STAMP_TOLERANCE = Fraction(3, 100)

_LOOK_ALIKE = 0.8
_IN_ORDER = (
    ("belt_cut_min_mm", "belt_cut_max_mm"),
    ("paint_edge_min_mm", "paint_edge_max_mm"),
    ("stitch_ratio_min", "stitch_ratio_max"),
    ("stitch_ratio_max", "stitch_ratio_refuse"),
    ("letters_sign_off_over", "letters_refuse_over"),
)
_AT_LEAST_1 = ("closed_refuse_factor", "fold_refuse_factor")
_AT_MOST_1 = (
    "warn_share_of_limit", "edge_share_refuse", "grade_factor", "stitch_loop_factor", "fold_mark_strain",
)  # fmt: skip

Documents = Mapping[str, Document]


def audit(catalog: Catalog, documents: Documents, faulty: frozenset[str] = frozenset()) -> list[Fault]:
    """Return every impossible figure of a catalog, as far as its nouns could be read.

    Args:
        catalog: all that could be read; nouns with a fault of their own are not in it.
        documents: the files it was read from, for the places.
        faulty: files with faults already; ``workshop.yaml`` and ``price-list.yaml`` are one noun
            each, and are not looked at when listed here.
    """
    return [
        *_kinds(catalog, documents["kinds.yaml"], faulty),
        *_lots(catalog, documents["lots.yaml"]),
        *_typefaces(catalog, documents["typefaces.yaml"]),
        *_thresholds(catalog, documents["thresholds.yaml"]),
        *_law(catalog, documents["law.yaml"]),
        *_workshop(catalog, documents["workshop.yaml"], faulty),
        *audit_patterns(catalog, documents["patterns.yaml"], faulty),
        *audit_prices(catalog, documents["price-list.yaml"], faulty),
    ]


def _kinds(catalog: Catalog, document: Document, faulty: frozenset[str]) -> Iterator[Fault]:
    species = _species(catalog)
    for kind in catalog.kinds.values():
        yield from _thickness(document, (kind.code, "thickness_held_mm"), kind.held)
        yield from _kind_limits(kind, document)
        if near := _look_alike(kind.species, species):
            message = f"species: '{kind.species}' looks like '{near}'; is it the same? Law rows go by this word"
            yield document.fault((kind.code, "species"), message)
        if "price-list.yaml" not in faulty and kind.price_band not in catalog.price_list.bands:
            listed = ", ".join(catalog.price_list.bands)
            yield document.fault(
                (kind.code, "price_band"), f"price_band: the price list has {listed}, not '{kind.price_band}'"
            )


def _kind_limits(kind: Kind, document: Document) -> Iterator[Fault]:
    thickest = kind.held.max_um
    for name, limit in (("split_min_mm", kind.split_min_um), ("skive_min_mm", kind.skive_min_um)):
        if limit > thickest:
            message = f"{name}: {_mm(limit)} mm is more than the thickest held, {_mm(thickest)} mm"
            yield document.fault((kind.code, name), message)


def _lots(catalog: Catalog, document: Document) -> Iterator[Fault]:
    for lot in catalog.lots.values():
        yield from _thickness(document, (lot.code, "thickness_mm"), lot.thickness)
        yield from _lot_area(lot, document)
        yield from _lot_stamp(lot, document)


def _lot_area(lot: Lot, document: Document) -> Iterator[Fault]:
    if lot.reserved_um2 > lot.left_um2:
        message = f"reserved_dm2: {_dm2(lot.reserved_um2)} is reserved of {_dm2(lot.left_um2)} left"
        yield document.fault((lot.code, "reserved_dm2"), message)
        return
    rectangles = sum(rectangle.along_um * rectangle.across_um for rectangle in lot.rectangles)
    if rectangles > lot.free_um2:
        message = (
            f"free_rectangles_mm: together {_dm2(rectangles)} dm2, but only {_dm2(lot.free_um2)} dm2 is free "
            f"({_dm2(lot.left_um2)} left, {_dm2(lot.reserved_um2)} reserved); they may not overlap"
        )
        yield document.fault((lot.code, "free_rectangles_mm"), message)


def _lot_stamp(lot: Lot, document: Document) -> Iterator[Fault]:
    if lot.mill_stamp is None or lot.stamp_unit is None:
        return
    try:
        stamped = stamp_um2(lot.mill_stamp, lot.stamp_unit)
    except ValueError as error:
        yield document.fault((lot.code, "mill_stamp"), f"mill_stamp: {error}")
        return
    tolerance: Fraction = max(Fraction(STAMP_TOLERANCE_UM2), stamped * STAMP_TOLERANCE)
    most = stamped + tolerance
    if lot.left_um2 > most:
        message = (
            f"left_dm2: {_dm2(lot.left_um2)} is more than the stamp {lot.mill_stamp} says "
            f"({_dm2(stamped)} dm2, at most {_dm2(most)} with the tolerance for measuring)"
        )
        yield document.fault((lot.code, "left_dm2"), message)


def _typefaces(catalog: Catalog, document: Document) -> Iterator[Fault]:
    for typeface in catalog.typefaces.values():
        signs = string.ascii_uppercase + typeface.extra_signs
        for name, counts in (("sorts", typeface.sorts), ("worn", typeface.worn)):
            for sign in counts:
                if sign not in signs:
                    message = f"{name}: '{sign}' is neither a capital nor one of extra_signs"
                    yield document.fault((typeface.code, name, sign), message, at_key=True)
        yield from _worn(typeface, document)


def _worn(typeface: Typeface, document: Document) -> Iterator[Fault]:
    for sign, worn in typeface.worn.items():
        held = typeface.sorts.get(sign, typeface.sorts_per_letter)
        if worn > held:
            message = f"worn: {worn} of '{sign}' are worn, but the case holds {held}"
            yield document.fault((typeface.code, "worn", sign), message)


def _thresholds(catalog: Catalog, document: Document) -> Iterator[Fault]:
    held = catalog.thresholds
    for lower, upper in _IN_ORDER:
        if lower in held and upper in held and held[lower].value > held[upper].value:
            low, high = (shown(held[name].value, held[name].unit).normalize() for name in (lower, upper))
            yield document.fault((lower, "value"), f"{lower}: {low:f} is more than {upper}, {high:f}")
    for name in _AT_LEAST_1:
        if name in held and held[name].value < 1:
            yield document.fault((name, "value"), f"{name}: under 1 it would refuse what its own limit allows")
    for name in _AT_MOST_1:
        if name in held and held[name].value > 1:
            yield document.fault((name, "value"), f"{name}: a share of a whole is at most 1")


def _law(catalog: Catalog, document: Document) -> Iterator[Fault]:
    for row in catalog.law_rows.values():
        yield from _law_dates(row, document)
        if row.species and (near := _look_alike(row.species, _species(catalog))):
            message = f"species: '{row.species}' looks like '{near}'; is it the same? Kinds go by this word"
            yield document.fault(("rows", row.code, "species"), message)


def _law_dates(row: LawRow, document: Document) -> Iterator[Fault]:
    if row.review_by < row.checked_on:
        message = f"review_by: {row.review_by} is before checked_on, {row.checked_on}"
        yield document.fault(("rows", row.code, "review_by"), message)


def _workshop(catalog: Catalog, document: Document, faulty: frozenset[str]) -> Iterator[Fault]:
    shop = catalog.workshop
    if "workshop.yaml" not in faulty and shop.rush_minutes_per_week > shop.bench_minutes_per_week:
        message = (
            f"rush_minutes_per_week: {shop.rush_minutes_per_week} is more than the bench has in a week, "
            f"{shop.bench_minutes_per_week}"
        )
        yield document.fault(("rush_minutes_per_week",), message)


def _thickness(document: Document, path: tuple[str, ...], span: Span) -> Iterator[Fault]:
    for end, value in (("min", span.min_um), ("max", span.max_um)):
        if not THICKNESS.min_um <= value <= THICKNESS.max_um:
            sane = f"{_mm(THICKNESS.min_um)} to {_mm(THICKNESS.max_um)} mm"
            yield document.fault((*path, end), f"{end}: {_mm(value)} mm is no leather's thickness ({sane})")


def _species(catalog: Catalog) -> frozenset[str]:
    return frozenset(
        {kind.species for kind in catalog.kinds.values()}
        | {row.species for row in catalog.law_rows.values() if row.species}
        | set(words.SPECIES)
    )


def _look_alike(word: str, known: frozenset[str]) -> str | None:
    """Return a species spelled almost like ``word``: a slip here would switch a law row off."""
    if word in words.SPECIES:
        return None
    near = difflib.get_close_matches(word, sorted(known - {word}), n=1, cutoff=_LOOK_ALIKE)
    return near[0] if near else None


def _mm(value: int) -> str:
    return f"{shown(value, 'mm').normalize():f}"


def _dm2(value: int | Fraction) -> str:
    if isinstance(value, int):  # exact: a rounded "4 of 4" would explain nothing
        return f"{(Decimal(value) / DM2_UM2).normalize():f}"
    return f"{shown(value, 'dm2').normalize():f}"
