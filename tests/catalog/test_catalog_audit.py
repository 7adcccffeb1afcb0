"""Impossible figures: at the limit they load, one step past it they are told where they stand."""

from __future__ import annotations

import pytest

from catalog.audit_patterns import offered
from catalog.load import load_catalog
from catalog.model import Size
from catalog.strict_yaml import Faults

Edit = tuple[str, str, str]

# what is edited, the last value that loads, the first that does not, the fault
AT_THE_LIMIT = [
    ("lots.yaml", "{along: 200, across: 160}", "{along: 250, across: 160}", "{along: 250.001, across: 160}",
     ("lots.yaml:2:159: free_rectangles_mm: together 4.000016 dm2, but only 4 dm2 is free (4 "
     "left, 0 reserved); they may not overlap")),
    ("lots.yaml", "reserved_dm2: 4,", "reserved_dm2: 29,", "reserved_dm2: 29.1,",
     ("lots.yaml:1:168: free_rectangles_mm: together 41 dm2, but only 40.9 dm2 is free (70 left, "
     "29.1 reserved); they may not overlap")),
    ("lots.yaml",
     ("left_dm2: 4, reserved_dm2: 0, thickness_mm: {min: 1.1, max: 1.2}, free_rectangles_mm: "
     "[{along: 200, across: 160}]"),
     "left_dm2: 4, reserved_dm2: 4, thickness_mm: {min: 1.1, max: 1.2}, free_rectangles_mm: []",
     "left_dm2: 4, reserved_dm2: 4.1, thickness_mm: {min: 1.1, max: 1.2}, free_rectangles_mm: []",
     "lots.yaml:2:100: reserved_dm2: 4.1 is reserved of 4 left"),
    ("lots.yaml", "left_dm2: 55.5", "left_dm2: 63.242", "left_dm2: 63.243",
     ("lots.yaml:3:81: left_dm2: 63.243 is more than the stamp 61.4 says (61.4 dm2, at most "
     "63.242 with the tolerance for measuring)")),
    ("lots.yaml", "min: 1.3, max: 1.7", "min: 0.2, max: 12", "min: 0.199, max: 12",
     "lots.yaml:3:124: min: 0.199 mm is no leather's thickness (0.2 to 12 mm)"),
    ("lots.yaml", "min: 1.3, max: 1.7", "min: 1.7, max: 1.7", "min: 1.701, max: 1.7",
     "lots.yaml:3:118: thickness_mm: min 1.701 is more than max 1.7"),
    ("kinds.yaml", "max: 2.2", "max: 12", "max: 12.001",
     "kinds.yaml:5:38: max: 12.001 mm is no leather's thickness (0.2 to 12 mm)"),
    ("kinds.yaml", "split_min_mm: 0.7", "split_min_mm: 2.2", "split_min_mm: 2.201",
     "kinds.yaml:7:17: split_min_mm: 2.201 mm is more than the thickest held, 2.2 mm"),
    ("kinds.yaml", "skive_min_mm: 0.35", "skive_min_mm: 2.2", "skive_min_mm: 2.3",
     "kinds.yaml:8:17: skive_min_mm: 2.3 mm is more than the thickest held, 2.2 mm"),
    ("typefaces.yaml", "worn: {}", 'worn: {"A": 3, "B": 2}', 'worn: {"A": 3, "B": 3}',
     "typefaces.yaml:1:145: worn: 3 of 'B' are worn, but the case holds 2"),
    ("typefaces.yaml", "worn: {}", 'worn: {"Z": 1}', 'worn: {"z": 1}',
     "typefaces.yaml:1:132: worn: 'z' is neither a capital nor one of extra_signs"),
    ("law.yaml",
     "checked_on: 2026-01-05, review_by: 2026-07-05",
     "checked_on: 2026-01-05, review_by: 2026-01-05",
     "checked_on: 2026-01-05, review_by: 2026-01-04",
     "law.yaml:2:217: review_by: 2026-01-04 is before checked_on, 2026-01-05"),
    ("workshop.yaml",
     "rush_minutes_per_week: 60",
     "rush_minutes_per_week: 600",
     "rush_minutes_per_week: 601",
     "workshop.yaml:16:24: rush_minutes_per_week: 601 is more than the bench has in a week, 600"),
    ("price-list.yaml", "fancy: 14500", "fancy: 9800", "fancy: 9799",
     "price-list.yaml:4:35: fancy costs less than plain, a cheaper band (plain, fancy)"),
    ("price-list.yaml", "from: 12", "from: 4", "from: 3",
     "price-list.yaml:16:51: from: 3 comes after 3; breaks go up"),
    ("price-list.yaml", "percent: 7", "percent: 2.5", "percent: 2.4",
     "price-list.yaml:16:64: percent: from 12 pieces less is taken off than from 3"),
    ("price-list.yaml", "{plain: 9800, fancy: 14500}", "{plain: 9800}", "{fancy: 14500}",
     "price-list.yaml:4:14: coinpouch: no price for plain, against which the share of cheeks is held"),
    ("price-list.yaml", "step_below: 100", "step_below: 500", "step_below: 300",
     "price-list.yaml:17:62: step_below: just below 'from' it rounds up to more than 'step' does at 'from'"),
    ("patterns.yaml", "cut_width_mm: 93", "cut_width_mm: 90", "cut_width_mm: 89.9",
     "patterns.yaml:5:82: cut_width_mm: 89.9 mm is less than the finished 90 mm"),
    ("patterns.yaml",
     "flap: {panel: shell, width_mm: 40, height_mm: 12",
     "flap: {panel: shell, width_mm: 150, height_mm: 90",
     "flap: {panel: shell, width_mm: 150, height_mm: 90.1",
     "patterns.yaml:14:11: the zone, 150 x 90.1 mm, is larger than its panel, 90 x 150 mm"),
    ("patterns.yaml", "limit_mm: 3.4", "limit_mm: 1.8", "limit_mm: 1.7",
     "patterns.yaml:8:39: limit_mm: 1.7 mm can never be met: the thinnest layers allowed make 1.8 mm"),
    ("patterns.yaml",
     "  pockets:\n",
     "  spine: {panels: [shell, wedge], limit_mm: 1.8}\n  pockets:\n",
     "  spine: {panels: [shell, wedge], limit_mm: 1.7}\n  pockets:\n",
     "patterns.yaml:11:45: limit_mm: 1.7 mm can never be met: the thinnest layers allowed make 1.8 mm"),
    ("patterns.yaml", "default: 90}", "default: 110}", "default: 110.5}",
     "patterns.yaml:24:44: default: 110.5 mm is not among the width_mm offered"),
    ("patterns.yaml", "{min: 80, max: 110, default: 90}", "{min: 110, max: 110}", "{min: 111, max: 110}",
     "patterns.yaml:24:15: width_mm: min 111 is more than max 110"),
]  # fmt: skip


def loads_or_faults(files: dict[str, str], name: str, old: str, new: str) -> list[str]:
    """Return the faults after replacing a text that stands once."""
    assert files[name].count(old) == 1, old
    try:
        load_catalog({**files, name: files[name].replace(old, new)})
    except Faults as faults:
        return str(faults).splitlines()
    return []


@pytest.mark.parametrize(("name", "old", "last", "past", "fault"), AT_THE_LIMIT)
def test_a_figure_at_its_limit_loads_and_one_step_past_it_does_not(
    tiny_files: dict[str, str], name: str, old: str, last: str, past: str, fault: str
) -> None:
    assert loads_or_faults(tiny_files, name, old, last) == []
    assert loads_or_faults(tiny_files, name, old, past) == [fault]


@pytest.mark.parametrize(
    ("name", "old", "new", "fault"),
    [
        ("lots.yaml", '"9.5"', '"9.55"',
         ("lots.yaml:1:46: mill_stamp: '9.55' has more than one figure after the point; "
         "a stamp in tenths has one")),
        ("kinds.yaml", "price_band: plain", "price_band: plane",
         "kinds.yaml:21:15: price_band: the price list has plain, fancy, not 'plane'"),
        ("kinds.yaml", "species: cattle", "species: catle",
         "kinds.yaml:3:12: species: 'catle' looks like 'cattle'; is it the same? Law rows go by this word"),
        ("law.yaml", "species: cattle", "species: cattel",
         "law.yaml:3:52: species: 'cattel' looks like 'cattle'; is it the same? Kinds go by this word"),
        ("patterns.yaml", "types: [snap]", "types: [snap, snp]",
         "patterns.yaml:22:29: types: no hardware is of the type 'snp'; did you mean 'snap'?"),
        ("patterns.yaml", "edge_finishes: [burnish, raw]", "edge_finishes: [raw]",
         "patterns.yaml:29:79: edge: wax is burnish; this pattern offers raw"),
        ("leathers.yaml", 'reserve_dm2: 3, status: active', 'reserve_dm2: 3, status: retired',
         "patterns.yaml:29:31: outside: STRAW is retired and cannot be a default"),
        ("kinds.yaml", "lining_only: false", "lining_only: true",
         "patterns.yaml:29:31: outside: STRAW is a lining leather and cannot be outside"),
        ("thresholds.yaml", "belt_cut_min_mm: {value: 770", "belt_cut_min_mm: {value: 1541",
         "thresholds.yaml:16:26: belt_cut_min_mm: 1541 is more than belt_cut_max_mm, 1540"),
        ("thresholds.yaml", "closed_refuse_factor: {value: 1.2", "closed_refuse_factor: {value: 0.9",
         "thresholds.yaml:33:31: closed_refuse_factor: under 1 it would refuse what its own limit allows"),
        ("thresholds.yaml", "grade_factor: {value: 0.75", "grade_factor: {value: 1.01",
         "thresholds.yaml:64:23: grade_factor: a share of a whole is at most 1"),
    ]
)  # fmt: skip
def test_what_cannot_be_is_told_where_it_stands(
    tiny_files: dict[str, str], name: str, old: str, new: str, fault: str
) -> None:
    assert loads_or_faults(tiny_files, name, old, new) == [fault]


def test_a_retired_pattern_may_keep_a_retired_default(tiny_files: dict[str, str]) -> None:
    files = {
        **tiny_files,
        "leathers.yaml": tiny_files["leathers.yaml"].replace("3, status: active", "3, status: retired"),
        "patterns.yaml": tiny_files["patterns.yaml"].replace("status: active", "status: retired"),
    }
    assert load_catalog(files).patterns["coinpouch"].status == "retired"


def test_a_species_unlike_any_known_is_taken_as_written(tiny_files: dict[str, str]) -> None:
    assert loads_or_faults(tiny_files, "kinds.yaml", "species: cattle", "species: walrus") == []


def test_a_default_of_another_hardware_type_is_no_default(oddlestone_files: dict[str, str]) -> None:
    text = oddlestone_files["patterns.yaml"].replace("{closure: HW-SNAP20-BR}", "{closure: HW-CLIP76}", 1)
    with pytest.raises(Faults, match="closure: HW-CLIP76 is a clip; this pattern takes snap, magnetic_snap"):
        load_catalog({**oddlestone_files, "patterns.yaml": text})


def test_all_impossible_figures_are_listed_at_once(tiny_files: dict[str, str]) -> None:
    files = dict(tiny_files)
    files["lots.yaml"] = files["lots.yaml"].replace("left_dm2: 55.5", "left_dm2: 75.5").replace('"9.5"', '"9/5"')
    files["price-list.yaml"] = files["price-list.yaml"].replace("14500", "100")
    files["law.yaml"] = files["law.yaml"].replace("2026-07-05", "2025-07-05")
    with pytest.raises(Faults) as caught:
        load_catalog(files)
    assert [fault.file for fault in caught.value.faults] == [
        "lots.yaml",
        "lots.yaml",
        "law.yaml",
        "price-list.yaml",
    ]


def test_faulty_hardware_gives_no_faults_in_the_patterns_that_take_it(tiny_files: dict[str, str]) -> None:
    found = loads_or_faults(tiny_files, "hardware.yaml", "stock: 12", "stock: some")
    assert len(found) == 1


def test_a_faulty_price_list_gives_no_faults_that_follow_from_it(tiny_files: dict[str, str]) -> None:
    found = loads_or_faults(tiny_files, "price-list.yaml", "fancy: 14500", "fancy: cheap")
    assert len(found) == 1


@pytest.mark.parametrize(
    ("size", "value_um", "yes"),
    [
        (Size("width_mm", (25_000, 32_000), None, None, None), 25_000, True),
        (Size("width_mm", (25_000, 32_000), None, None, None), 26_000, False),
        (Size("length_mm", (), 1_000, 2_000, None), 1_000, True),
        (Size("length_mm", (), 1_000, 2_000, None), 999, False),
        (Size("length_mm", (), 1_000, 2_000, None), 2_000, True),
        (Size("length_mm", (), 1_000, 2_000, None), 2_001, False),
        (Size("waist_to_hole_mm", (), None, None, None), 1, True),
    ],
)
def test_a_size_is_offered_when_listed_or_within_its_range(size: Size, value_um: int, yes: bool) -> None:
    assert offered(size, value_um) is yes
