"""Kinds, leathers and lots: what stands on the rack."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from functools import partial
from types import MappingProxyType
from typing import cast

from catalog import vocabulary as words
from catalog.color import swatch
from catalog.fields import Node, Record
from catalog.model import FreeRectangle, Grade, Kind, Leather, Lot, LotCare, Swatch
from catalog.reading import Reading, read_entries

_KIND = (
    "name", "species", "tannage", "thickness_held_mm", "split", "split_min_mm", "skive_min_mm",
    "strain_limit", "edge", "mark", "back_shown", "marks_at_folds", "tensile_n_per_mm2", "stretch_percent",
    "stiff", "yield", "lot_drift_de00", "rub_rating", "price_per_sqft", "price_band", "lead_days",
    "minimum_order_sqft", "lining_only",
)  # fmt: skip
_KIND_MAY = ("coating", "flex_report", "reports")
_LEATHER = ("kind", "name", "srgb", "reserve_dm2", "status", "aliases")
_LOT = (
    "leather", "form", "mill_stamp", "stamp_unit", "left_dm2", "reserved_dm2", "thickness_mm",
    "free_rectangles_mm", "color_de00", "stamp_legible", "grade",
)  # fmt: skip
_CARE = (
    "measured_on", "measured_damp", "humidity_percent", "counted_on", "forest_statement_asked", "forest_statement",
)  # fmt: skip


def read_kinds(reading: Reading) -> Mapping[str, Kind]:
    """Read ``kinds.yaml``; money in the workshop's currency."""
    return read_entries(reading.root("kinds.yaml"), lambda code, node: _kind(code, node, reading.digits))


def read_leathers(reading: Reading, kinds: Mapping[str, Kind]) -> Mapping[str, Leather]:
    """Read ``leathers.yaml``; a leather whose kind has a fault is left out."""

    def build(code: str, node: Node) -> Leather | None:
        fields = node.record(_LEATHER, ("demand_dm2_per_week",))
        weekly = "demand_dm2_per_week"
        kind = kinds.get(reading.reference(fields["kind"], "kind"))
        leather = partial(
            Leather,
            code=code,
            name=fields["name"].text(),
            swatch=read_swatch(fields["srgb"]),
            reserve_um2=fields["reserve_dm2"].base("dm2"),
            status=fields["status"].choice(words.LEATHER_STATES),
            aliases=fields["aliases"].distinct(fields["aliases"].texts()),
            weekly_um2=fields[weekly].base("dm2") if fields.has(weekly) else None,
        )
        return None if kind is None else leather(kind=kind)

    return read_entries(reading.root("leathers.yaml"), build)


def read_lots(reading: Reading) -> Mapping[str, Lot]:
    """Read ``lots.yaml``."""
    return read_entries(reading.root("lots.yaml"), lambda code, node: _lot(code, node, reading))


def read_swatch(node: Node) -> Swatch:
    """Read a color such as ``"#4a1420"``."""
    try:
        return swatch(node.text() or "#000000")
    except ValueError as error:
        node.fault(f"{node.name}: {error}")
        return swatch("#000000")


def _kind(code: str, node: Node, digits: int) -> Kind:
    fields = node.record(_KIND, _KIND_MAY)
    return Kind(
        code=code,
        name=fields["name"].text(),
        species=fields["species"].text(),
        tannage=fields["tannage"].choice(words.TANNAGES),
        held=fields["thickness_held_mm"].span(),
        split=_grade(fields["split"]),
        split_min_um=fields["split_min_mm"].base("mm", above_zero=True),
        skive_min_um=fields["skive_min_mm"].base("mm", above_zero=True),
        strain_limit=_each(fields["strain_limit"], words.SIDES),
        edge=_grades(fields["edge"], words.EDGE_FINISHES),
        mark=_grades(fields["mark"], words.MARKS),
        back_shown=_grade(fields["back_shown"]),
        marks_at_folds=fields["marks_at_folds"].flag(),
        tensile_n_per_mm2=fields["tensile_n_per_mm2"].number("N/mm2", above_zero=True),
        stretch_percent=fields["stretch_percent"].number("%"),
        stiff=fields["stiff"].flag(),
        yield_ratio=fields["yield"].ratio(at_most=1),
        lot_drift_milli=fields["lot_drift_de00"].base("de00"),
        rub_rating=fields["rub_rating"].whole(at_least=1, at_most=5),
        price_per_sqft_minor=fields["price_per_sqft"].money(digits),
        price_band=fields["price_band"].text(),
        lead_days=fields["lead_days"].whole(),
        minimum_order_sqft=fields["minimum_order_sqft"].number("sq ft"),
        lining_only=fields["lining_only"].flag(),
        coating=fields["coating"].choice(words.COATINGS) if fields.has("coating") else None,
        flex_report=fields["flex_report"].choice(words.FLEX_REPORTS) if fields.has("flex_report") else None,
        reports=fields["reports"].choice(words.REPORTS) if fields.has("reports") else None,
    )


def _lot(code: str, node: Node, reading: Reading) -> Lot:
    fields = node.record(_LOT, _CARE)
    return Lot(
        code=code,
        leather=reading.reference(fields["leather"], "leather"),
        form=fields["form"].choice(words.LOT_FORMS),
        mill_stamp=_stamp(fields),
        stamp_unit=None if fields["stamp_unit"].blank else fields["stamp_unit"].choice(words.STAMP_UNITS),
        left_um2=fields["left_dm2"].base("dm2"),
        reserved_um2=fields["reserved_dm2"].base("dm2"),
        thickness=fields["thickness_mm"].span(),
        rectangles=tuple(_rectangle(item) for item in fields["free_rectangles_mm"].items()),
        drift_milli=fields["color_de00"].base("de00"),
        stamp_legible=fields["stamp_legible"].flag(),
        grade=fields["grade"].choice(words.LOT_GRADES),
        care=_care(fields),
    )


def _care(fields: Record) -> LotCare:
    """Return what is kept of measuring, counting and papers; what is not written is None."""
    never = fields.has("measured_on") and fields["measured_on"].value == words.NEVER
    measured = fields["measured_on"].day() if fields.has("measured_on") and not never else None
    statement = fields["forest_statement"].text() if fields.has("forest_statement") else None
    return LotCare(
        measured_on=measured,
        never_measured=never if fields.has("measured_on") else None,
        measured_damp=fields["measured_damp"].flag() if fields.has("measured_damp") else None,
        humidity_percent=fields["humidity_percent"].percent() if fields.has("humidity_percent") else None,
        counted_on=fields["counted_on"].day() if fields.has("counted_on") else None,
        forest_asked=fields["forest_statement_asked"].flag() if fields.has("forest_statement_asked") else None,
        forest_statement=statement,
    )


def _stamp(fields: Record) -> str | None:
    stamp = fields["mill_stamp"]
    if stamp.blank != fields["stamp_unit"].blank:
        stamp.fault("mill_stamp and stamp_unit belong together: give both, or null for both")
    return stamp.text_or_none()


def _rectangle(node: Node) -> FreeRectangle:
    fields = node.record(("along", "across"))
    return FreeRectangle(fields["along"].base("mm", above_zero=True), fields["across"].base("mm", above_zero=True))


def _grade(node: Node) -> Grade:
    return cast(Grade, node.choice(words.GRADES))


def _grades(node: Node, keys: tuple[str, ...]) -> Mapping[str, Grade]:
    fields = node.record(keys)
    return MappingProxyType({key: _grade(fields[key]) for key in keys})


def _each(node: Node, keys: tuple[str, ...]) -> Mapping[str, Fraction]:
    fields = node.record(keys)
    return MappingProxyType({key: fields[key].ratio(at_most=1) for key in keys})
