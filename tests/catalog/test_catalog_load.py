"""What a workshop's files become."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest

from catalog.load import content_hash, load_catalog
from catalog.model import Catalog, FreeRectangle, Layer, PricePoint, QuantityBreak, Span
from catalog.read_prices import minor_digits
from catalog.read_rows import FIGURES
from catalog.strict_yaml import Document, Faults


def test_the_demo_has_what_the_handbook_counts(oddlestone: Catalog) -> None:
    counts = [
        len(oddlestone.patterns), len(oddlestone.kinds), len(oddlestone.leathers), len(oddlestone.lots),
        len(oddlestone.threads), len(oddlestone.edges), len(oddlestone.hardware), len(oddlestone.typefaces),
        len(oddlestone.foils),
    ]  # fmt: skip
    assert counts == [12, 16, 24, 40, 8, 11, 17, 3, 3]


def test_lengths_are_micrometers_areas_square_micrometers_and_ratios_exact(oddlestone: Catalog) -> None:
    lot = oddlestone.lots["L102"]
    assert (lot.left_um2, lot.reserved_um2, lot.free_um2) == (90 * 10**9, 42 * 10**9, 48 * 10**9)
    assert lot.thickness == Span(1_400, 1_600)
    assert lot.rectangles == (FreeRectangle(235_000, 170_000),)
    assert lot.drift_milli == 1_600
    kind = oddlestone.kinds["shell_smooth"]
    assert kind.strain_limit == {"grain": Fraction(9, 20), "flesh": Fraction(2, 5)}
    assert kind.yield_ratio == Fraction(13, 20)
    assert kind.lot_drift_milli == 3_500
    assert oddlestone.threads["TH-P05-COR"].left_um == 2_000_000
    assert oddlestone.edges["ED-STN-TAN"].left_ul == 35_000
    assert oddlestone.edges["ED-TURN"].left_ul is None
    assert oddlestone.hardware["HW-SNAP20-BR"].size_um == 12_500
    assert oddlestone.carry_items["ID-1"].width_um == 85_600


def test_thresholds_stand_in_the_base_unit_of_their_unit(oddlestone: Catalog) -> None:
    held = oddlestone.thresholds
    found = {name: (held[name].value, held[name].unit) for name in (
        "card_ease_soft_mm", "thread_waste_m", "paint_ml_per_500_mm", "match_color_de00", "pale_thread_l",
        "stitch_ratio_min", "hidden_slot_cards", "margin_floor_percent", "dog_kg_base",
    )}  # fmt: skip
    assert found == {
        "card_ease_soft_mm": (1_500, "mm"),
        "thread_waste_m": (400_000, "m"),
        "paint_ml_per_500_mm": (6_000, "ml"),
        "match_color_de00": (5_000, "de00"),
        "pale_thread_l": (60_000, "lightness"),
        "stitch_ratio_min": (Fraction(7, 50), "ratio"),
        "hidden_slot_cards": (2, "count"),
        "margin_floor_percent": (35, "percent"),
        "dog_kg_base": (30, "kg"),
    }
    assert held["contrast_color_de00"].rule is None


def test_money_is_whole_minor_units_of_the_currency(oddlestone: Catalog, tiny_catalog: Catalog) -> None:
    assert (oddlestone.workshop.currency, oddlestone.workshop.minor_digits) == ("EUR", 2)
    assert oddlestone.workshop.sundries_per_piece_minor == 300
    assert oddlestone.price_list.base_minor["twofold"]["E"] == 43_500
    assert oddlestone.price_list.point == PricePoint(5_000, 500, 100)
    assert (tiny_catalog.workshop.currency, tiny_catalog.workshop.minor_digits) == ("JPY", 0)
    assert tiny_catalog.workshop.sundries_per_piece_minor == 250
    assert tiny_catalog.price_list.base_minor["coinpouch"] == {"plain": 9_800, "fancy": 14_500}
    assert tiny_catalog.price_list.breaks == (QuantityBreak(3, Fraction(5, 2)), QuantityBreak(12, 7))


@pytest.mark.parametrize(("currency", "digits"), [("EUR", 2), ("JPY", 0), ("KWD", 3), ("CLF", 4)])
def test_a_currency_has_the_digits_of_iso_4217(currency: str, digits: int) -> None:
    assert minor_digits(currency) == digits


@pytest.mark.parametrize("currency", ["XAU", "EURO", "eur", "", "ZZZ"])
def test_what_is_no_currency_with_minor_units_is_refused(currency: str) -> None:
    with pytest.raises(ValueError, match="ISO 4217"):
        minor_digits(currency)


def test_parts_stand_in_the_order_in_which_panels_first_name_them(oddlestone: Catalog) -> None:
    assert oddlestone.patterns["twofold"].parts == ("outside", "inside", "pockets")
    assert oddlestone.patterns["gusset"].parts == ("outside", "gusset", "pockets")
    assert oddlestone.patterns["sheath"].parts == ("outside", "welt")


def test_what_a_pattern_leaves_out_is_absent(oddlestone: Catalog, tiny_catalog: Catalog) -> None:
    closed = oddlestone.patterns["passcover"].closed
    assert (closed.cards, closed.notes, closed.business_cards, closed.passport_um) == (2, 0, 0, 5_000)
    assert oddlestone.patterns["gusset"].closed.business_cards == 25
    assert oddlestone.patterns["belt"].sizes["waist_to_hole_mm"].offered_um == ()
    assert oddlestone.patterns["lead"].sizes["length_mm"].min_um == 1_200_000
    assert oddlestone.patterns["twofold"].load.required_break_n is None
    pouch = tiny_catalog.patterns["coinpouch"]
    assert pouch.spine is None
    assert (pouch.closed.cards, pouch.closed.passport_um) == (0, 0)
    assert pouch.seams["cheek"].layers == (Layer("shell", 1), Layer("wedge", 1, 1_000))


def test_load_figures_are_read_with_their_source(oddlestone: Catalog) -> None:
    load = oddlestone.patterns["lead"].load
    assert (load.required_break_n, load.end_factor, load.scales_with_dog) == (1_240, Fraction(3, 4), True)
    assert load.end_seam == "hook_end"
    assert load.source is not None


def test_kinds_that_mark_at_folds_are_the_pulled_up_and_the_embossed(oddlestone: Catalog) -> None:
    marked = {code for code, kind in oddlestone.kinds.items() if kind.marks_at_folds}
    assert marked == {"pullup", "shell_embossed", "calf_embossed"}


def test_law_rows_keep_their_days(oddlestone: Catalog) -> None:
    row = oddlestone.law_rows["LR-03"]
    assert (row.tannages, row.checked_on, row.review_by) == (
        ("chrome", "combination"),
        date(2026, 2, 16),
        date(2027, 2, 28),
    )
    assert oddlestone.uses["climbing"] == "refuse"


def test_weekdays_count_from_monday_as_python_does(tiny_catalog: Catalog) -> None:
    assert tiny_catalog.workshop.working_weekdays == (1, 5)


@pytest.mark.parametrize("workshop", ["oddlestone", "tiny_catalog"])
def test_every_figure_has_a_source(workshop: str, request: pytest.FixtureRequest) -> None:
    catalog: Catalog = request.getfixturevalue(workshop)
    assert set(catalog.sources) == set(FIGURES)
    texts = [text for file in catalog.sources.values() for text in file.values()]
    texts += [row.source for row in catalog.thresholds.values()]
    texts += [row.source for row in catalog.carry_items.values()]
    texts += [row.source for row in catalog.law_rows.values()]
    assert all(texts)


@pytest.mark.parametrize("workshop", ["oddlestone", "tiny_catalog"])
def test_no_binary_float_is_in_a_catalog_but_in_lab(workshop: str, request: pytest.FixtureRequest) -> None:
    assert not list(_inexact(request.getfixturevalue(workshop), "catalog"))


def _inexact(value: object, where: str) -> list[str]:
    if isinstance(value, float | Decimal):
        return [] if ".lab" in where else [where]
    if isinstance(value, Document):
        return []  # the file as it was read, kept for the places of faults
    if is_dataclass(value):
        inner: list[tuple[object, object]] = [(field.name, getattr(value, field.name)) for field in fields(value)]
    elif isinstance(value, Mapping):
        inner = [*value.items()]
    elif isinstance(value, tuple):
        inner = [*enumerate(value)]
    else:
        return []
    return [found for name, item in inner for found in _inexact(item, f"{where}.{name}")]


def test_the_same_files_give_the_same_catalog_in_any_order(oddlestone_files: dict[str, str]) -> None:
    backward = dict(reversed(oddlestone_files.items()))
    assert load_catalog(backward) == load_catalog(oddlestone_files)


def test_the_hash_changes_with_any_character_and_with_a_name(tiny_files: dict[str, str]) -> None:
    first = content_hash(tiny_files)
    assert first.startswith("sha256:")
    assert first == content_hash(dict(reversed(tiny_files.items())))
    assert first != content_hash({**tiny_files, "foils.yaml": tiny_files["foils.yaml"] + "\n"})
    moved = {("a" + name if name == "foils.yaml" else name): text for name, text in tiny_files.items()}
    assert first != content_hash(moved)


def test_a_catalog_cannot_be_changed(tiny_catalog: Catalog) -> None:
    with pytest.raises(TypeError):
        tiny_catalog.lots["h1"] = tiny_catalog.lots["h2"]  # type: ignore[index]
    with pytest.raises(TypeError):
        tiny_catalog.kinds["cowhide"].edge["paint"] = "fine"  # type: ignore[index]


def test_codes_are_met_without_regard_to_case_and_kept_as_their_file_writes_them(
    tiny_files: dict[str, str],
) -> None:
    files = {**tiny_files, "lots.yaml": tiny_files["lots.yaml"].replace("leather: SLATE", "leather: slate")}
    assert load_catalog(files).lots["h3"].leather == "SLATE"


def test_lots_of_a_leather_stand_in_catalog_order(oddlestone: Catalog) -> None:
    assert [lot.code for lot in oddlestone.lots_of("SH-BLK")] == ["L101", "L102", "L103"]


def test_a_workshops_own_rules_and_orders_are_kept_as_text_and_counted_in_the_hash(
    oddlestone_files: Mapping[str, str],
) -> None:
    own = {"house-rules.yaml": "rules: []\n", "house-finish.csv": "a,b\n", "orders-fit.yaml": "orders: []\n"}
    catalog = load_catalog({**oddlestone_files, **own})
    assert {name: catalog.house[name] for name in own} == own
    assert (
        catalog.content_hash
        != load_catalog({**oddlestone_files, **own, "house-rules.yaml": "rules: [] \n"}).content_hash
    )


@pytest.mark.parametrize("name", ["house-Finish.csv", "house-.csv", "orders.yaml", "house-rules.yml", "../house-a.csv"])
def test_a_file_that_is_neither_the_catalogs_nor_the_houses_is_refused(
    name: str, oddlestone_files: Mapping[str, str]
) -> None:
    with pytest.raises(Faults, match="unknown file"):
        load_catalog({**oddlestone_files, name: ""})


def test_what_is_not_asked_of_goods_is_absent(oddlestone: Catalog, tiny_catalog: Catalog) -> None:
    deer, goat, own = oddlestone.kinds["deer"], oddlestone.kinds["goat"], next(iter(tiny_catalog.kinds.values()))
    assert [(kind.coating, kind.flex_report) for kind in (deer, goat, own)] == [
        ("print", "none"),
        (None, None),
        (None, None),
    ]
    assert [oddlestone.hardware[code].tone for code in ("HW-RIV9-BR", "HW-RING30-SS", "HW-MAG14")] == [
        "gold",
        "silver",
        None,
    ]
    assert [oddlestone.patterns["belt"].folds["buckle"].daily, oddlestone.patterns["twofold"].folds["spine"].daily] == [
        False,
        True,
    ]
    closed = [oddlestone.patterns[code].closed for code in ("longfold", "belt")]
    assert [(each.width_um, each.height_um) for each in closed] == [(190_000, 98_000), (None, None)]
    assert {item.group for item in tiny_catalog.carry_items.values()} == {"card", "business_card", "note"}
    assert [row.jurisdiction for row in tiny_catalog.law_rows.values()] == [None, None]


def test_a_law_row_is_past_its_review_from_the_day_after_on(oddlestone: Catalog) -> None:
    row = oddlestone.law_rows["LR-01"]
    assert row.jurisdiction == "California, United States"
    assert [row.past_review(day) for day in (date(2026, 8, 31), date(2026, 9, 1))] == [False, True]
