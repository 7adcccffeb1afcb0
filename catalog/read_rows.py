"""Carry items, thresholds, law and sources: rows that each say where they come from."""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from catalog import vocabulary as words
from catalog.fields import Node, Record
from catalog.model import CarryItem, LawRow, Number, Threshold
from catalog.reading import Reading, coded, frozen, read_entries
from catalog.strict_yaml import did_you_mean

_ITEM = ("name", "width_mm", "height_mm", "thickness_mm", "source")
_LAW_ROW = ("rule", "severity", "destination", "says", "source", "checked_on", "review_by")
_DESTINATION = re.compile(r"any|abroad|[A-Z]{2}(?:-[A-Z0-9]{1,3})?", re.ASCII)
_RULE = re.compile(r"[A-Z]{3}-[0-9]{2}|H-[A-Za-z0-9-]{1,40}", re.ASCII)

# Fields with figures that a catalog may leave out, and then their source too.
OPTIONAL_FIGURES: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "leathers": ("demand_dm2_per_week",),
        "lots": ("measured_on", "humidity_percent", "counted_on"),
        "edges": ("opened_on",),
        "hardware": ("flux_index",),
    }
)
# The fields with figures, by file. Every one needs a source, if only to say that it has none.
FIGURES: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "workshop": (
            "vat_percent", "labor_per_hour", "overhead_per_hour", "sundries_per_piece",
            "bench_minutes_per_week", "backlog_minutes", "rush_minutes_per_week", "rush_weeks",
            "rush_percent", "quote_days", "deposit_percent", "deposit_from",
        ),
        "kinds": (
            "thickness_held_mm", "split_min_mm", "skive_min_mm", "strain_limit", "tensile_n_per_mm2",
            "stretch_percent", "yield", "lot_drift_de00", "rub_rating", "price_per_sqft", "lead_days",
            "minimum_order_sqft",
        ),
        "leathers": ("srgb", "reserve_dm2"),
        "lots": ("left_dm2", "reserved_dm2", "thickness_mm", "free_rectangles_mm", "color_de00"),
        "threads": ("tex", "diameter_mm", "srgb", "left_m", "break_n"),
        "edges": ("srgb", "left_ml"),
        "hardware": ("size_mm", "grip_mm", "stock", "break_n"),
        "typefaces": ("cap_mm", "advance_mm", "space_mm", "sorts_per_letter", "sorts", "worn"),
        "foils": ("left_m",),
        "patterns": (
            "panels", "seams", "folds", "spine", "pockets", "zones", "closed", "pitch_mm", "edge_length_mm",
            "edge_time_factor", "hardware", "sizes", "load",
        ),
        "price-list": ("base", "part_share", "surcharges", "quantity_breaks", "price_point"),
        "labor": (
            "per_piece", "cut_panel", "split_panel", "skive_per_100_mm", "glue_per_100_mm",
            "prick_per_hole", "hand_stitch", "machine_stitch_per_100_mm", "whip_stitch", "edge_per_100_mm",
            "monogram_setup", "monogram_test_strike", "monogram_letter", "hardware_each", "modification", "dry_days",
        ),
    }
)  # fmt: skip


def read_carry_items(reading: Reading) -> Mapping[str, CarryItem]:
    """Read ``carry-items.yaml``; codes are unique across the groups."""
    groups = reading.root("carry-items.yaml").record(words.CARRY_GROUPS, words.MORE_CARRY_GROUPS)
    found: dict[str, CarryItem] = {}
    first_group: dict[str, str] = {}
    for group in (*words.CARRY_GROUPS, *(each for each in words.MORE_CARRY_GROUPS if groups.has(each))):
        for code, entry in coded(groups[group]):
            other = first_group.setdefault(code.casefold(), group)
            if other != group:
                entry.fault(f"the code '{code}' is used twice: the group {other} has it too", at_key=True)
            found[code] = _carry_item(code, group, entry)
    return MappingProxyType(found)


def read_thresholds(reading: Reading) -> Mapping[str, Threshold]:
    """Read ``thresholds.yaml``: every limit that rules call by name, and the workshop's own."""
    node = reading.root("thresholds.yaml")
    found = read_entries(node, _threshold)
    if isinstance(node.value, dict):
        written = {name.casefold() for name in node.value}
        missing = [name for name in words.THRESHOLDS if name.casefold() not in written]
        if missing:
            node.fault("missing: " + ", ".join(missing))
    return found


def read_law(reading: Reading) -> tuple[Mapping[str, LawRow], Mapping[str, str], Mapping[str, str]]:
    """Read ``law.yaml``: rows, and what is said of each use and each claim (fine or refuse)."""
    fields = reading.root("law.yaml").record(("rows", "uses", "claims"))
    rows = read_entries(fields["rows"], _law_row)
    uses, claims = (frozen(fields[name], lambda entry: entry.choice(("fine", "refuse"))) for name in ("uses", "claims"))
    for name in ("uses", "claims"):
        tuple(coded(fields[name]))
    return rows, uses, claims


def read_sources(reading: Reading) -> Mapping[str, Mapping[str, str]]:
    """Read ``sources.yaml``: a source for every field with figures (:data:`FIGURES`)."""
    files = reading.root("sources.yaml").record(tuple(FIGURES))
    found: dict[str, Mapping[str, str]] = {}
    for file, families in FIGURES.items():
        more = OPTIONAL_FIGURES.get(file, ())
        fields = files[file].record(families, more)
        stated = (*families, *(family for family in more if fields.has(family)))
        found[file] = MappingProxyType({family: fields[family].text() for family in stated})
    return MappingProxyType(found)


def _carry_item(code: str, group: str, node: Node) -> CarryItem:
    fields = node.record(_ITEM)
    return CarryItem(
        code=code,
        group=group,
        name=fields["name"].text(),
        width_um=fields["width_mm"].base("mm", above_zero=True),
        height_um=fields["height_mm"].base("mm", above_zero=True),
        thickness_um=fields["thickness_mm"].base("mm", above_zero=True),
        source=fields["source"].text(),
    )


def _threshold(name: str, node: Node) -> Threshold:
    fields = node.record(("value", "rule", "source"), ("unit",))
    unit = _threshold_unit(name, node, fields)
    return Threshold(
        name=name,
        value=_in_unit(fields["value"], unit),
        unit=unit,
        rule=_rule(fields["rule"]) if fields.has("rule") else None,
        source=fields["source"].text(),
    )


def _threshold_unit(name: str, node: Node, fields: Record) -> str:
    known = words.THRESHOLDS.get(name)
    own = fields["unit"].choice(_THRESHOLD_UNITS) if fields.has("unit") else None
    if known is None and own is None:
        near = did_you_mean(name, words.THRESHOLDS) or "; a limit of your own states its unit"
        node.fault(f"unknown threshold '{name}'{near}", at_key=True)
    if known is not None and own is not None and own != known:
        fields["unit"].fault(f"unit: {name} is held in {known}, not {own}")
    return known or own or "ratio"


_PLAIN = ("N", "min", "weeks", "days", "kg", "g", "percent", "kG2mm2")
_THRESHOLD_UNITS = ("mm", "m", "dm2", "ml", "de00", "lightness", "ratio", "count", *_PLAIN)


def _in_unit(node: Node, unit: str) -> Number:
    if unit == "ratio":
        return node.ratio(above_zero=False)
    if unit == "count":
        return node.whole()
    return node.number(unit) if unit in _PLAIN else node.base(unit)


def _law_row(code: str, node: Node) -> LawRow:
    fields = node.record(_LAW_ROW, ("species", "tannage", "jurisdiction"))
    return LawRow(
        code=code,
        rule=_rule(fields["rule"]),
        severity=fields["severity"].choice(words.SEVERITIES),
        species=fields["species"].text() if fields.has("species") else None,
        tannages=fields["tannage"].choices(words.TANNAGES) if fields.has("tannage") else (),
        destination=_destination(fields["destination"]),
        says=fields["says"].text(),
        source=fields["source"].text(),
        checked_on=fields["checked_on"].day(),
        review_by=fields["review_by"].day(),
        jurisdiction=fields["jurisdiction"].text() if fields.has("jurisdiction") else None,
    )


def _destination(node: Node) -> str:
    word = node.text()
    if word and not _DESTINATION.fullmatch(word):
        node.fault(f"destination: expected any, abroad, a country (US) or a region (US-CA), found '{word}'")
    return word


def _rule(node: Node) -> str:
    word = node.text()
    if word and not _RULE.fullmatch(word):
        node.fault(f"rule: expected an id such as STK-01 or H-..., found '{word}'")
    return word
