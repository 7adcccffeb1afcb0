"""Figures by their paths: found, changed, and the same as if the file had been written otherwise."""

from __future__ import annotations

import re
from dataclasses import fields
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from catalog.figures import Figure, FigureError, figure_at, with_figures
from catalog.load import load_catalog
from catalog.model import Catalog, FreeRectangle, Span
from catalog.strict_yaml import read


@pytest.mark.parametrize(
    ("path", "unit", "value"),
    [
        ("thresholds.nest_gap_mm", "mm", 3_000),
        ("thresholds.grade_factor", "ratio", Fraction(4, 5)),
        ("kinds.pullup.strain_limit.grain", "ratio", Fraction(2, 5)),
        ("kinds.goat.mark.ink", "", "sign_off"),
        ("kinds.pig.lot_drift_de00", "de00", 2_000),
        ("lots.L124.thickness_mm.max", "mm", 1_200),
        ("lots.L115.left_dm2", "dm2", 31 * 10**10),
        ("threads.TH-P05-COR.left_m", "m", 2_000_000),
        ("edges.ED-PNT-GAR.left_ml", "ml", 12_000),
        ("hardware.HW-BELT35-BR.break_n", "N", 1_500),
        ("typefaces.FA-SER14.sorts.A", "count", 6),
        ("patterns.twofold.seams.side.limit_mm", "mm", 4_800),
        ("patterns.wstrap.seams.rim.layers.1.skived_to_mm", "mm", 500),
        ("patterns.belt.load.end_factor", "ratio", Fraction(3, 4)),
        ("carry-items.card.ID-1.width_mm", "mm", 85_600),
        ("workshop.rush_minutes_per_week", "min", 240),
    ],
)
def test_a_figure_is_found_under_the_names_of_its_file(oddlestone: Catalog, path: str, unit: str, value: Any) -> None:
    assert figure_at(oddlestone, path) == Figure(path, unit, value)


AGREEING = {
    "thresholds.nest_gap_mm": ("thresholds.nest_gap_mm.value", "3.05"),
    "thresholds.fold_mark_strain": ("thresholds.fold_mark_strain.value", "0.26"),
    "thresholds.margin_floor_percent": ("thresholds.margin_floor_percent.value", "36"),
    "kinds.bridle.strain_limit.flesh": ("kinds.bridle.strain_limit.flesh", "0.26"),
    "kinds.bridle.edge.paint": ("kinds.bridle.edge.paint", "refuse"),
    "kinds.goat.yield": ("kinds.goat.yield", "0.69"),
    "lots.L113.left_dm2": ("lots.L113.left_dm2", "88.1"),
    "lots.L113.thickness_mm.min": ("lots.L113.thickness_mm.min", "3.55"),
    "lots.L113.color_de00": ("lots.L113.color_de00", "1.0"),
    "leathers.BR-HAZ.reserve_dm2": ("leathers.BR-HAZ.reserve_dm2", "20.1"),
    "threads.TH-P08-NAT.break_n": ("threads.TH-P08-NAT.break_n", "151"),
    "edges.ED-BURN.left_ml": ("edges.ED-BURN.left_ml", "401"),
    "workshop.rush_minutes_per_week": ("workshop.rush_minutes_per_week", "241"),
    "hardware.HW-CLIP76.grip_mm.max": ("hardware.HW-CLIP76.grip_mm.max", "3.25"),
    "hardware.HW-CLIP76.stock": ("hardware.HW-CLIP76.stock", "8"),
    "typefaces.FA-SER14.sorts_per_letter": ("typefaces.FA-SER14.sorts_per_letter", "4"),
    "foils.FO-GLD.left_m": ("foils.FO-GLD.left_m", "40.1"),
    "patterns.twofold.zones.Z-OUT-COR.width_mm": ("patterns.twofold.zones.Z-OUT-COR.width_mm", "40.05"),
    "patterns.fob.spine.limit_mm": ("patterns.fob.spine.limit_mm", "3.05"),
    "patterns.wstrap.folds.lug.skived_to_mm": ("patterns.wstrap.folds.lug.skived_to_mm", "0.65"),
    "patterns.lead.load.required_break_n": ("patterns.lead.load.required_break_n", "1241"),
    "carry-items.note.USD.height_mm": ("carry-items.note.USD.height_mm", "66.35"),
    "patterns.twofold.closed.outline_mm.width": ("patterns.twofold.closed.outline_mm.width", "115.5"),
    "patterns.twofold.closed.carried.notes": ("patterns.twofold.closed.carried.notes", "9"),
    "carry-items.tool.TO-PEN.width_mm": ("carry-items.tool.TO-PEN.width_mm", "15"),
    "labor.dry_days.paint": ("labor.dry_days.paint", "3"),
}


@pytest.mark.parametrize("path", AGREEING)
def test_a_figure_that_is_changed_is_as_if_its_file_had_been_written_otherwise(
    oddlestone: Catalog, oddlestone_files: dict[str, str], path: str
) -> None:
    written_at, value = AGREEING[path]
    file, *steps = written_at.split(".")
    text = oddlestone_files[f"{file}.yaml"]
    line, column = read(text, file).position(steps)
    lines = text.splitlines(keepends=True)
    lines[line - 1] = lines[line - 1][: column - 1] + re.sub(r"^[^,}\s]+", value, lines[line - 1][column - 1 :])
    reloaded = load_catalog({**oddlestone_files, f"{file}.yaml": "".join(lines)})
    changed = with_figures(oddlestone, {path: value if value == "refuse" else Decimal(value)})
    assert figure_at(changed, path) != figure_at(oddlestone, path)
    for field in fields(Catalog):
        if field.name != "content_hash":
            assert getattr(changed, field.name) == getattr(reloaded, field.name)


def test_several_figures_change_at_once_and_the_catalog_stays_as_it_was(oddlestone: Catalog) -> None:
    changed = with_figures(
        oddlestone,
        {
            "lots.L124.thickness_mm": {"min": Decimal("1.1"), "max": 2},
            "lots.L124.free_rectangles_mm": [{"along": 300, "across": Decimal("0.5")}],
            "kinds.shoulder.skive_min_mm": Decimal("0.45"),
        },
    )
    assert changed.lots["L124"].thickness == Span(1_100, 2_000)
    assert changed.lots["L124"].rectangles == (FreeRectangle(300_000, 500),)
    assert changed.leathers["VS-COG"].kind.skive_min_um == 450
    assert oddlestone.leathers["VS-COG"].kind.skive_min_um == 300
    assert oddlestone.lots["L124"].thickness == Span(1_000, 1_200)


@pytest.mark.parametrize(
    ("path", "value", "says"),
    [
        ("patern.twofold.pitch_mm", 1, "no figure begins with 'patern'; did you mean 'patterns'?"),
        ("patterns", 1, "patterns holds many figures"),
        ("patterns.twofolt.pitch_mm", 1, "nothing is called 'twofolt' here; did you mean 'twofold'?"),
        ("patterns.twofold.pich_mm", 1, "nothing is called 'pich_mm' here; did you mean 'pitch_mm'?"),
        ("patterns.twofold.seams.side.layers.4.count", 1, "'4' is no place in a list of 4"),
        ("patterns.twofold.name", "Wallet", "is no figure"),
        ("patterns.twofold.skin_contact", 1, "is no figure"),
        ("patterns.twofold.stitches", ["hand"], "is no figure"),
        ("patterns.twofold.seams.side", 1, "is no figure"),
        ("carry-items.cards.ID-1.width_mm", 1, "no group is called 'cards'; did you mean 'card'?"),
        ("kinds.goat.mark.ink", "perhaps", "expected one of fine, sign_off, refuse"),
        ("threads.TH-P05-TAN.srgb", "tan", "expected a color such as"),
        ("lots.L124.thickness_mm", 2, "expected {min: ..., max: ...}"),
        ("lots.L124.thickness_mm", {"min": 2, "max": 1}, "min is more than max"),
        ("lots.L124.free_rectangles_mm", [{"along": 3}], "expected a list of {along: ..., across: ...}"),
        ("lots.L124.left_dm2", -1, "expected a number, 0 or more"),
        ("lots.L124.left_dm2", "3 dm2", "expected a number, 0 or more"),
        ("lots.L124.thickness_mm.max", Decimal("1.00005"), "finer than what is held here"),
        ("hardware.HW-CLIP76.stock", Decimal("1.5"), "expected a whole number"),
        ("lots.L124.left_dm2", 10**9, "more than any workshop has"),
        ("thresholds.nest_gap_mm.value", 1, "a threshold is one figure"),
    ],
)
def test_what_cannot_be_changed_is_refused_in_words(oddlestone: Catalog, path: str, value: Any, says: str) -> None:
    with pytest.raises(FigureError, match=re.escape(says)):
        with_figures(oddlestone, {path: value})


def test_what_is_no_figure_has_none(oddlestone: Catalog) -> None:
    for path in ("patterns.twofold.name", "lots.L124.thickness_mm", "thresholds.nest_gap_mm.value", "kinds.goat"):
        with pytest.raises(FigureError):
            figure_at(oddlestone, path)
