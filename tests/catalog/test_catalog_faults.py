"""Every fault of a file is told with file, line, column and what was probably meant; all at once."""

from __future__ import annotations

import pytest

from catalog.load import load_catalog
from catalog.strict_yaml import Faults

Edit = tuple[str, str, str]


def faults_after(files: dict[str, str], *edits: Edit) -> list[str]:
    """Return the faults of the files after replacing texts, each of which must be there once."""
    changed = dict(files)
    for name, old, new in edits:
        assert changed[name].count(old) == 1, (name, old)
        changed[name] = changed[name].replace(old, new)
    with pytest.raises(Faults) as caught:
        load_catalog(changed)
    return str(caught.value).splitlines()


NO_LONDON = (
    "8:19: holiday_calendar: no public holidays are known for 'GB-LON' (a country or region of ISO 3166)"
    "; its regions: ENG, NIR, SCT, WLS"
)


FIELDS = [
    ("kinds.yaml", "rub_rating: 4", "rub_ratng: 4",
     "19:3: unknown field 'rub_ratng'; did you mean 'rub_rating'?"),
    ("foils.yaml", "left_m: 5", "left_cm: 500",
     "1:25: unknown field 'left_cm'; did you mean 'left_m'?"),
    ("foils.yaml", "left_m: 5", "left_m: 5, zzz: 1",
     "1:36: unknown field 'zzz'"),
    ("kinds.yaml", "  stiff: false\n", "",
     "1:1: missing: stiff"),
    ("foils.yaml", ", left_m: 5", "",
     "1:1: missing: left_m"),
    ("kinds.yaml", "tannage: vegetable", "tannage: vegtable",
     "4:12: tannage: 'vegtable' is not known here; did you mean 'vegetable'?"),
    ("kinds.yaml", "  stiff: false\n", "  stiff: false\n  coating: patnt\n",
     "17:12: coating: 'patnt' is not known here; did you mean 'patent'?"),
    ("kinds.yaml", "split: fine", "split: never",
     "6:10: split: 'never' is not known here; expected one of fine, sign_off, refuse"),
    ("kinds.yaml", "split: fine", "split: no",
     '6:10: write true or false instead of no (here: false), or quote the text: "no"'),
    ("kinds.yaml", "stiff: false", 'stiff: "false"',
     "16:10: stiff: expected true or false, found the text 'false'"),
    ("kinds.yaml", "lead_days: 14", "lead_days: 14.5",
     "22:14: lead_days: expected a whole number, found 14.5"),
    ("kinds.yaml", "rub_rating: 4", "rub_rating: 6",
     "19:15: rub_rating: 6 is too large; at most 5"),
    ("kinds.yaml", "rub_rating: 4", "rub_rating: 0",
     "19:15: rub_rating: 0 is too small; at least 1"),
    ("kinds.yaml", "yield: 0.7", "yield: 1.7",
     "17:10: yield: 1.7 is more than 1"),
    ("kinds.yaml", "split_min_mm: 0.7", "split_min_mm: 0.7 mm",
     "7:17: split_min_mm: expected a number in mm written without its unit, found the text '0.7 mm'"),
    ("kinds.yaml", "split_min_mm: 0.7", "split_min_mm: 0,7",
     "7:17: split_min_mm: expected a number in mm with a decimal point, found the text '0,7'"),
    ("kinds.yaml", "split_min_mm: 0.7", "split_min_mm: 0.7001",
     "7:17: split_min_mm: 0.7001 is finer than 0.001 mm, the step held here"),
    ("kinds.yaml", "split_min_mm: 0.7", "split_min_mm: -0.7",
     "7:17: split_min_mm: -0.7 is too small; it must be more than 0"),
    ("kinds.yaml", "split_min_mm: 0.7", "split_min_mm: 700000000",
     "7:17: split_min_mm: 700000000 is more than any workshop has; check the unit"),
    ("kinds.yaml", "price_per_sqft: 1600", "price_per_sqft: 1600.5",
     "20:19: price_per_sqft: 1600.5 is finer than 1, the currency's smallest unit"),
    ("kinds.yaml", "name: Plain cowhide", "name: 12",
     "2:9: name: expected a text, found 12"),
    ("kinds.yaml", "name: Plain cowhide", 'name: " "',
     "2:9: name: expected a text of 1 to 400 characters on one line"),
    ("kinds.yaml", "{grain: 0.32, flesh: 0.28}", "0.32",
     "9:17: strain_limit: expected fields (name: value), found 0.32"),
    ("leathers.yaml", "#3b4148", "slate",
     "2:51: srgb: expected a color such as \"#4a1420\", found 'slate'"),
    ("lots.yaml", "grade: B", "grade: D",
     "2:234: grade: 'D' is not known here; expected one of A, B, C"),
    ("lots.yaml", "stamp_unit: dm2", "stamp_unit: null",
     "3:46: mill_stamp and stamp_unit belong together: give both, or null for both"),
    ("law.yaml", "review_by: 2026-07-05", "review_by: soon",
     "2:217: review_by: expected a day such as 2026-02-16, found the text 'soon'"),
    ("law.yaml", "destination: abroad", "destination: Europe",
     "3:73: destination: expected any, abroad, a country (US) or a region (US-CA), found 'Europe'"),
    ("law.yaml", "rule: LAW-13", "rule: thirteen",
     "3:17: rule: expected an id such as STK-01 or H-..., found 'thirteen'"),
    ("foils.yaml", "left_m: 5", "left_m: [5]",
     "1:33: left_m: expected a number in m, found a list"),
    ("foils.yaml", "left_m: 5", "left_m: {m: 5}",
     "1:33: left_m: expected a number in m, found a mapping"),
    ("foils.yaml", "left_m: 5", "left_m: true",
     "1:33: left_m: expected a number in m, found true"),
    ("foils.yaml", "left_m: 5", "left_m: 1000001",
     "1:33: left_m: 1000001 is more than any workshop has; check the unit"),
    ("patterns.yaml", "part: cheeks", "part: the cheeks",
     "6:19: 'the cheeks' is no code: letters, digits, '_', '.' and '-', at most 40, no space"),
    ("workshop.yaml", "currency: JPY", "currency: YEN",
     "4:11: currency: 'YEN' is no currency of ISO 4217 (three capital letters, such as EUR)"),
    ("workshop.yaml", "home_country: XB", "home_country: Nippon",
     "6:15: home_country: expected a country of ISO 3166 in two capital letters, found 'Nippon'"),
    ("workshop.yaml", "time_zone: Asia/Tokyo", "time_zone: Mars/Olympus",
     "7:12: time_zone: no time zone is called 'Mars/Olympus'; write one such as Europe/Berlin"),
    ("workshop.yaml", "time_zone: Asia/Tokyo", "time_zone: ../../etc/passwd",
     "7:12: time_zone: no time zone is called '../../etc/passwd'; write one such as Europe/Berlin"),
    ("workshop.yaml", "quote_days: 10", "quote_days: 3661",
     "19:13: quote_days: 3661 is too large; at most 3660"),
    ("workshop.yaml", "holiday_calendar: JP", "holiday_calendar: Japan",
     "8:19: holiday_calendar: no public holidays are known for 'Japan' (a country or region of ISO 3166)"),
    ("workshop.yaml", "holiday_calendar: JP", "holiday_calendar: GB-LON",
     NO_LONDON),
    ("workshop.yaml", "[saturday, tuesday]", "[saturday, saturday]",
     "9:30: 'saturday' is listed twice"),
    ("workshop.yaml", "[saturday, tuesday]", "[]",
     "9:1: working_weekdays: the list is empty"),
    ("workshop.yaml", "deposit_percent: 30", "deposit_percent: 101",
     "20:18: deposit_percent: 101 is more than 100"),
    ("typefaces.yaml", '"A": 3', '"AB": 3',
     "1:116: 'AB': expected one letter or sign"),
    ("price-list.yaml", "step: 500,", "step: 0,",
     "17:45: step: a step must be more than 0"),
    ("patterns.yaml", "panels: [shell]", "panels: []",
     "10:12: panels: the list is empty"),
    ("patterns.yaml", "    width_mm: {min: 80", "    width: {min: 80",
     "24:5: sizes: 'width' is not known here; did you mean 'width_mm'?"),
    ("patterns.yaml", "part: outside", "part: front",
     "4:3: no panel belongs to the part 'outside'"),
    ("patterns.yaml", "load: {class: none}", "load: {class: bearing}",
     "25:3: missing: required_break_n, end_factor, scales_with_dog, end_seam, source"),
]  # fmt: skip

REFERENCES = [
    ("leathers.yaml", "STRAW: {kind: cowhide", "STRAW: {kind: cowhyde",
     "1:15: kind: there is no kind 'cowhyde'; did you mean 'cowhide'?"),
    ("lots.yaml", "leather: SLATE", "leather: SLAT",
     "3:15: leather: there is no leather 'SLAT'; did you mean 'SLATE'?"),
    ("patterns.yaml", "thread: flax-ecru", "thread: flax",
     "29:62: thread: there is no thread 'flax'; did you mean 'flax-ecru'?"),
    ("patterns.yaml", "closure: popper", "closure: poper",
     "29:104: closure: there is no hardware 'poper'; did you mean 'popper'?"),
    ("patterns.yaml", "edge: wax", "edge: waxx",
     "29:79: edge: there is no edge 'waxx'; did you mean 'wax'?"),
    ("patterns.yaml", "uses: [market]", "uses: [markt]",
     "27:10: uses: there is no use 'markt'; did you mean 'market'?"),
    ("patterns.yaml", "modifications: [loop]", "modifications: [lop]",
     "28:19: modifications: there is no modification 'lop'; did you mean 'loop'?"),
    ("patterns.yaml", "cheeks: SLATE", "cheks: SLATE",
     "29:38: unknown field 'cheks'; did you mean 'cheeks'?"),
    ("patterns.yaml", "{panel: wedge,", "{panel: wege,",
     "8:87: this pattern has no panel 'wege'; did you mean 'wedge'?"),
    ("patterns.yaml", "base: {panels: [shell]", "base: {panels: [shel]",
     "10:21: this pattern has no panel 'shel'; did you mean 'shell'?"),
    ("patterns.yaml", "flap: {panel: shell", "flap: {panel: shll",
     "14:19: this pattern has no panel 'shll'; did you mean 'shell'?"),
    ("price-list.yaml", "coinpouch: {plain", "coinpoch: {plain",
     "4:3: there is no pattern 'coinpoch'; did you mean 'coinpouch'?"),
    ("price-list.yaml", "fancy: 14500", "fance: 14500",
     "4:28: unknown field 'fance'; did you mean 'fancy'?"),
    ("price-list.yaml", "{code: loop, says: hanging loop", "{cod: loop, says: hanging loop",
     "15:6: unknown field 'cod'; did you mean 'code'?"),
    ("price-list.yaml", "code: letter_over_3", "code: BLIND",
     "9:11: code: 'BLIND' is used twice; case does not count"),
    ("price-list.yaml", "{code: loop, says: hanging loop", "{code: base, says: hanging loop",
     "15:12: code: 'base' is a line that every price may have; choose another"),
    ("price-list.yaml", "    for_each: piece.monogram_letters\n", "",
     "12:13: beyond: without 'for_each' there is nothing to count"),
    ("price-list.yaml", "{cheeks: 0.3}", "{}",
     "5:1: missing: cheeks"),
    ("labor.yaml", "{coinpouch: 16}", "{}",
     "1:1: missing: coinpouch"),
    ("labor.yaml", "{loop: 4}", "{}",
     "15:1: missing: loop"),
    ("sources.yaml", "  yield: measured here\n", "",
     "14:1: missing: yield"),
]  # fmt: skip

TWICE = [
    ("leathers.yaml", "SLATE: {", "STRAW: {",
     "2:1: 'STRAW' is written twice; first at line 1"),
    ("leathers.yaml", "SLATE: {", "straw: {",
     "2:1: the code 'straw' is used twice: line 1 has 'STRAW'; case does not count"),
    ("lots.yaml", "h2: {", "H1: {",
     "2:1: the code 'H1' is used twice: line 1 has 'h1'; case does not count"),
    ("edges.yaml", "rough: {", "WAX: {",
     "2:1: the code 'WAX' is used twice: line 1 has 'wax'; case does not count"),
    ("carry-items.yaml", "bill: {", "Meishi: {",
     "7:3: the code 'Meishi' is used twice: the group business_card has it too"),
    ("edges.yaml", "rough: {", '"too rough": {',
     "2:1: 'too rough' is no code: letters, digits, '_', '.' and '-', at most 40, no space"),
    ("patterns.yaml", "    wedge: {", "    SHELL: {",
     "6:5: the code 'SHELL' is used twice: line 5 has 'shell'; case does not count"),
]  # fmt: skip

THRESHOLDS = [
    ("thresholds.yaml", "nest_gap_mm: {", "nest_gab_mm: {",
     "unknown threshold 'nest_gab_mm'; did you mean 'nest_gap_mm'?"),
    ("thresholds.yaml", "nest_gap_mm: {", "nest_gab_mm: {",
     "1:1: missing: nest_gap_mm"),
    ("thresholds.yaml", "value: 55, unit: mm,", "value: 55,",
     "unknown threshold 'pouch_mouth_mm'; a limit of your own states its unit"),
    ("thresholds.yaml", "card_ease_soft_mm: {value: 1.65", "card_ease_soft_mm: {value: -1.65",
     "1:28: value: -1.65 is too small; it must be 0 or more"),
    ("thresholds.yaml", "card_ease_soft_mm: {value: 1.65", "card_ease_soft_mm: {unit: ml, value: 1.65",
     "unit: card_ease_soft_mm is held in mm, not ml"),
    ("thresholds.yaml", "hidden_slot_cards: {value: 1,", "hidden_slot_cards: {value: 1.5,",
     "value: expected a whole number, found 1.5"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "old", "new", "fault"), [*FIELDS, *REFERENCES, *TWICE])
def test_a_fault_names_file_line_column_and_what_was_meant(
    tiny_files: dict[str, str], name: str, old: str, new: str, fault: str
) -> None:
    assert f"{name}:{fault}" in faults_after(tiny_files, (name, old, new))


@pytest.mark.parametrize(("name", "old", "new", "fault"), THRESHOLDS)
def test_thresholds_that_rules_call_by_name_must_all_be_there(
    tiny_files: dict[str, str], name: str, old: str, new: str, fault: str
) -> None:
    assert any(line.endswith(fault) for line in faults_after(tiny_files, (name, old, new)))


def test_a_missing_and_an_unknown_file_are_named(tiny_files: dict[str, str]) -> None:
    files = {("paterns.yaml" if name == "patterns.yaml" else name): text for name, text in tiny_files.items()}
    assert faults_after(files) == [
        "patterns.yaml:1:1: the file is missing",
        "paterns.yaml:1:1: unknown file 'paterns.yaml'; did you mean 'patterns.yaml'?",
    ]


def test_no_file_at_all_says_which_are_missing() -> None:
    assert len(faults_after({})) == 17


def test_an_empty_file_says_how_to_write_nothing(tiny_files: dict[str, str]) -> None:
    says = (
        "foils.yaml:1:1: the file: expected a mapping (name: value), "
        "or {} where there is nothing to list, found nothing"
    )
    assert faults_after({**tiny_files, "foils.yaml": ""}) == [says]


def test_faults_of_all_files_are_found_at_once_in_the_order_of_files_and_lines(
    tiny_files: dict[str, str],
) -> None:
    found = faults_after(
        tiny_files,
        ("lots.yaml", "grade: B", "grade: D"),
        ("workshop.yaml", "currency: JPY", "currency: YEN"),
        ("kinds.yaml", "stiff: false", "stiff: no"),
        ("kinds.yaml", "name: Plain cowhide", "nam: Plain cowhide"),
        ("price-list.yaml", "step: 500,", "step: 0,"),
        ("labor.yaml", "{loop: 4}", "[4"),
    )
    assert [line.split(": ")[0] for line in found] == [
        "workshop.yaml:4:11", "kinds.yaml:1:1", "kinds.yaml:2:3", "kinds.yaml:16:10", "lots.yaml:2:234",
        "price-list.yaml:17:45", "labor.yaml:16:9",
    ]  # fmt: skip


def test_a_code_whose_own_entry_has_a_fault_is_still_known_to_others(tiny_files: dict[str, str]) -> None:
    found = faults_after(tiny_files, ("kinds.yaml", "stiff: false", "stiff: 3"))
    assert len(found) == 1


def test_a_file_that_cannot_be_read_makes_no_faults_in_those_that_refer_to_it(
    tiny_files: dict[str, str],
) -> None:
    found = faults_after({**tiny_files, "leathers.yaml": "a: ["})
    assert len(found) == 1


@pytest.mark.parametrize("fortieths", range(40))
def test_a_file_cut_off_anywhere_is_refused_in_words(tiny_files: dict[str, str], fortieths: int) -> None:
    text = tiny_files["patterns.yaml"]
    assert faults_after({**tiny_files, "patterns.yaml": text[: len(text) * fortieths // 40]})
