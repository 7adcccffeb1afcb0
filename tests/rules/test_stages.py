"""Rules at the stages after a check: which may stand where, and what the data of a workshop is held to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from catalog.load import load_catalog
from catalog.model import Catalog
from catalog.strict_yaml import Faults
from rules.book import load_book
from rules.ir import STAGES
from rules.job import Data, Priced
from rules.shop import Shop, open_shop
from rules.stages import lint, prices_of, stage_rules
from rules.vocabulary import SUBJECTS, TERMS

AT = {
    "quote": "CAT-10 COL-04 LAW-04 LAW-14 MON-11 MON-14 PRC-05 PRC-06 PRC-07 STI-06 STO-08 STO-09",
    "cut": "EDG-07 FLD-07 HDW-07 LAW-16 SID-03 SID-06 STK-06 STO-10 THK-09 THK-10",
    "pack": "LAW-05 LAW-10 LOD-05 STK-09",
    "catalog": "FIT-01 LAW-09 LAW-15 PRC-08 STI-05 STO-11",
}
BAD = """\
family: bench
rules:
  - id: THK-99
    each: {subject}
    stage: {stage}
    says: A rule for a test.
    why: It stands at a stage.
    tell: "No."
    source: common practice, no source
    forbid: {{{name}: true}}
    severity: advise
    examples:
      - fails: {{{name}: true}}
"""


@pytest.mark.parametrize("stage", AT)
def test_the_rules_of_each_stage_are_these(shop: Shop, stage: str) -> None:
    assert sorted(rule.id for rule in shop.book.rules.values() if stage in rule.stages) == AT[stage].split()


def test_only_the_note_speaks_at_two_stages(shop: Shop) -> None:
    several = {rule.id: rule.stages for rule in shop.book.rules.values() if len(rule.stages) > 1}
    assert several == {"CAT-10": ("check", "quote")}


@pytest.mark.parametrize(
    ("subject", "stage", "name", "listed"),
    [
        ("lot", "check", "lot.damp", "quote, cut"),
        ("lot", "pack", "lot.damp", "quote, cut"),
        ("parcel", "cut", "parcel.wallet", "pack"),
        ("magnet", "cut", "magnet.loose", "catalog"),
        ("piece", "catalog", "piece.noted", "check, quote, cut, pack"),
    ],
)
def test_a_rule_at_a_stage_where_its_subject_cannot_be_listed_is_refused(
    oddlestone: Catalog, subject: str, stage: str, name: str, listed: str
) -> None:
    text = BAD.format(subject=subject, stage=stage, name=name)
    with pytest.raises(Faults) as caught:
        load_book({"bench.yaml": text}, oddlestone.thresholds)
    assert f"THK-99: '{subject}' is not listed at stage '{stage}', only at {listed}" in str(caught.value)


def test_what_has_no_case_may_not_read_the_whole_piece(oddlestone: Catalog) -> None:
    with pytest.raises(Faults) as caught:
        load_book(
            {"bench.yaml": BAD.format(subject="magnet", stage="catalog", name="piece.noted")}, oddlestone.thresholds
        )
    assert "unknown name 'piece.noted' for 'magnet'" in str(caught.value)


def test_an_example_at_a_stage_where_its_rule_says_nothing_is_refused(oddlestone: Catalog) -> None:
    text = BAD.format(subject="lot", stage="cut", name="lot.damp").replace("- fails", "- stage: pack\n        fails")
    with pytest.raises(Faults) as caught:
        load_book({"bench.yaml": text}, oddlestone.thresholds)
    assert "THK-99 says nothing at stage 'pack'" in str(caught.value)


def test_an_example_is_held_against_the_clauses_of_its_stage(book_files: dict[str, str], oddlestone: Catalog) -> None:
    example = "stage: quote\n        fails: {piece.noted: true}\n        severity: "
    text = book_files["integrity.yaml"].replace(f"{example}sign_off", f"{example}notice")
    assert text != book_files["integrity.yaml"]
    with pytest.raises(Faults) as caught:
        load_book({**book_files, "integrity.yaml": text}, oddlestone.thresholds)
    assert "CAT-10: the example should be 'fails' with notice and is 'fails' with sign_off" in str(caught.value)


def test_a_check_judges_no_rule_of_another_stage(shop: Shop, today: date) -> None:
    judged = {rule.id for table in shop.judges(today).tables.values() for rule, _ in table}
    assert judged == {rule.id for rule in shop.book.rules.values() if "check" in rule.stages}


def test_every_subject_of_a_stage_declares_no_reads_and_stands_at_known_stages() -> None:
    own = {name: subject for name, subject in SUBJECTS.items() if subject.own_facts}
    assert len(own) >= 11
    for name, subject in own.items():
        assert subject.stages <= set(STAGES) - {"check"}, name
        assert subject.listers == (), name
    assert [name for name, term in TERMS.items() if name.partition(".")[0] in own and term.reads] == []


# The data.


def edited(
    files: Mapping[str, str], book_files: Mapping[str, str], *edits: tuple[str, str, str]
) -> list[dict[str, Any]]:
    texts = dict(files)
    for file, old, new in edits:
        assert old in texts[file], (file, old)
        texts[file] = texts[file].replace(old, new, 1)
    return lint(open_shop(load_catalog(texts), book_files))


def test_the_demos_data_has_advice_for_its_owner_and_no_fault(shop: Shop, today: date) -> None:
    found = lint(shop, today)
    assert {each["rule"] for each in found} == {"STO-11"}
    assert {each["severity"] for each in found} == {"advise"}
    assert lint(shop) == found


TWO = "side: {from_edge_mm: 3.5, length_mm: 176"
NAME = "name: Jet shell"
MAGNET = "flux_index: 62, loose: false"


@pytest.mark.parametrize(
    ("rule", "edits", "speaks"),
    [
        # The stack: 1.4 + 1.0 + 0.9 + 0.9 = 4.2, and 0.4 x 4.2 + 1.5 = 3.18.
        ("STI-05", [("patterns.yaml", TWO, TWO.replace("3.5", "3.18"))], False),
        ("STI-05", [("patterns.yaml", TWO, TWO.replace("3.5", "3.179"))], True),
        ("STI-05", [("patterns.yaml", TWO, TWO.replace("from_edge_mm: 3.5, ", ""))], False),
        # The strip of a fob is 2 x at most 3.0, so 6.0 under its limit of 6.0: 0.4 x 6 + 1.5 = 3.9.
        ("STI-05", [("patterns.yaml", "base: {length_mm: 60", "base: {from_edge_mm: 3.9, length_mm: 60")], False),
        ("STI-05", [("patterns.yaml", "base: {length_mm: 60", "base: {from_edge_mm: 3.899, length_mm: 60")], True),
        # 85.6 + 1 x 0.84 + 1.5 = 87.94; standing 53.98 + 0.84 + 1.5 = 56.32.
        ("FIT-01", [("patterns.yaml", "card: {use: card, width_mm: 91", "card: {use: card, width_mm: 87.94")], False),
        ("FIT-01", [("patterns.yaml", "card: {use: card, width_mm: 91", "card: {use: card, width_mm: 87.935")], True),
        ("FIT-01", [("patterns.yaml", "card: {use: card, width_mm: 57", "card: {use: card, width_mm: 56.32")], False),
        ("FIT-01", [("patterns.yaml", "card: {use: card, width_mm: 57", "card: {use: card, width_mm: 56.315")], True),
        ("LAW-09", [("leathers.yaml", NAME, "name: Jet waterproof shell")], True),
        ("LAW-09", [("leathers.yaml", NAME, "name: Scratch-proof jet shell")], True),
        ("LAW-09", [("leathers.yaml", NAME, "name: Water-friendly jet shell")], False),
        ("LAW-09", [("kinds.yaml", "species: pig", "species: unstated")], True),
        ("LAW-15", [], False),
        ("LAW-15", [("hardware.yaml", MAGNET, "flux_index: 50, loose: true")], True),
        ("LAW-15", [("hardware.yaml", MAGNET, "flux_index: 49.999, loose: true")], False),
        ("LAW-15", [("hardware.yaml", MAGNET, "flux_index: 62")], False),
        ("LAW-15", [("hardware.yaml", MAGNET, "flux_index: 62, loose: true"),
                    ("hardware.yaml", "magnetic_snap, size_mm: 14", "magnetic_snap, size_mm: 31.7")], True),
        ("LAW-15", [("hardware.yaml", MAGNET, "flux_index: 62, loose: true"),
                    ("hardware.yaml", "magnetic_snap, size_mm: 14", "magnetic_snap, size_mm: 31.75")], False),
        # Sand pig: 150 dm2 free, reserve 15.
        ("STO-11 PG-SAN", [], False),
        ("PRC-08", [], False),
    ],
)  # fmt: skip
def test_data_is_held_to_the_rules_on_data(
    oddlestone_files: dict[str, str], book_files: dict[str, str], rule: str, edits: Any, speaks: bool
) -> None:
    name, _, about = rule.partition(" ")
    found = [each for each in edited(oddlestone_files, book_files, *edits) if each["rule"] == name]
    if about:
        found = [each for each in found if each["subject"].get("leather") == about]
    assert bool(found) is speaks, found


def test_a_leather_is_ordered_when_what_is_free_no_longer_lasts(shop: Shop) -> None:
    """Free is what use until it comes and the reserve make at the limit, and not one square micrometer less."""
    leather = shop.catalog.leathers["PG-SAN"]
    free = sum(lot.free_um2 for lot in shop.catalog.lots_of("PG-SAN"))
    weekly = (free - leather.reserve_um2) * 7 // leather.kind.lead_days
    for use, speaks in ((weekly, False), (weekly + 7, True), (None, False)):
        leathers = {**shop.catalog.leathers, "PG-SAN": replace(leather, weekly_um2=use)}
        found = stage_rules(shop, "catalog", None).of_data(Data(replace(shop.catalog, leathers=leathers)))
        assert ("PG-SAN" in [each.said.subject.get("leather") for each in found]) is speaks, use


@pytest.mark.parametrize(
    ("price", "speaks"),
    [
        (Priced("twofold", 2, (25000, 900, 1000, 100), 27000, 54000), False),
        (Priced("twofold", 2, (25000, 900, 1000, 99), 27000, 54000), True),
        (Priced("twofold", 2, (25000, 900, 1000, 100), 27000, 54001), True),
    ],
)
def test_the_lines_of_a_price_sum_to_it(shop: Shop, price: Priced, speaks: bool) -> None:
    found = stage_rules(shop, "catalog", None).of_data(Data(shop.catalog, (price,)))
    assert ("PRC-08" in [each.said.rule for each in found]) is speaks


def test_the_prices_held_to_the_rule_are_those_of_every_pattern_at_every_break(shop: Shop) -> None:
    prices = list(prices_of(shop))
    breaks = {each.quantity for each in shop.catalog.price_list.breaks}
    assert {price.quantity for price in prices} == {1} | breaks
    assert {price.pattern for price in prices} == set(shop.catalog.patterns)
    assert all(len(price.lines_minor) > 1 for price in prices if price.quantity > 1)
