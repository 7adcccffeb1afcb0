"""The rule book: complete, sourced, with examples at the limit, and strict about faults."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

import rules
from catalog.model import Catalog
from catalog.strict_yaml import Faults, read
from rules.book import LIMITS, load_book
from rules.examples import outcome_of_example
from rules.ir import Limit, names_in
from rules.shop import Shop
from rules.vocabulary import SUBJECTS
from rules.words import placeholders_in

FAMILIES = {
    "CAT": 10, "THK": 8, "STK": 7, "FLD": 7, "FIT": 13, "SID": 4, "EDG": 6, "STI": 4, "MON": 12, "HDW": 7, "LOD": 4,
    "STO": 7, "COL": 4, "LAW": 9, "PRC": 4,
}  # fmt: skip
#: Findings whose figures only staff and owner may see: a customer's sentence must not carry them.
QUIET = ("STO-", "STI-02", "EDG-03", "HDW-03", "MON-02", "MON-07")

GOOD = """\
family: fit
rules:
  - id: FIT-99
    each: piece
    says: A belt is never cut too long.
    why: The hide ends.
    tell: "Too long: {measured}; {limit} is the most."
    source: common practice, no source
    limit: piece.belt_cut
    max: 1400 mm
    severity: refuse
    examples:
      - fails: {piece.belt_cut: 1400.05 mm}
      - passes: {piece.belt_cut: 1400 mm}
      - skips: {piece.belt_cut: unknown}
"""


def faults_of(text: str, catalog: Catalog) -> list[str]:
    with pytest.raises(Faults) as caught:
        load_book({"fit.yaml": text}, catalog.thresholds)
    return str(caught.value).splitlines()


def test_all_106_rules_that_speak_at_a_check_stand_in_their_fifteen_families(shop: Shop) -> None:
    counts: dict[str, int] = {}
    for rule in shop.book.rules.values():
        if "check" in rule.stages and rule.family != "house":
            counts[rule.id[:3]] = counts.get(rule.id[:3], 0) + 1
    assert counts == FAMILIES
    assert sum(counts.values()) == 106


def test_every_rule_names_its_source(shop: Shop) -> None:
    assert [rule.id for rule in shop.book.rules.values() if len(rule.source) < 5] == []


def test_every_rule_has_an_example_that_fails_one_that_passes_and_one_that_does_not_apply(shop: Shop) -> None:
    thin = {
        rule.id: {"fails", "passes", "skips"} - {example.expect for example in rule.examples}
        for rule in shop.book.rules.values()
    }
    # A notice of the law file stands on every order that its row covers: it cannot pass, only not apply.
    assert {rule_id: missing for rule_id, missing in thin.items() if missing} == {}


def test_every_example_comes_out_as_written(shop: Shop) -> None:
    for rule in shop.book.rules.values():
        for place, example in enumerate(rule.examples):
            assert outcome_of_example(rule, place, shop.catalog.thresholds) == example.expect, (rule.id, place)


def test_the_limits_that_examples_are_written_for_are_the_demos_and_cover_all_that_rules_read(shop: Shop) -> None:
    text = (Path(rules.__file__).parent / "book" / LIMITS).read_text(encoding="utf-8")
    limits = read(text, LIMITS).value["limits"]
    used = {
        name.removeprefix("threshold.")
        for rule in shop.book.rules.values()
        for name in names_in(rule)
        if name.startswith("threshold.")
    }
    assert set(limits) == used
    assert shop.book.moved == ()


def test_a_limit_that_a_workshop_moves_is_seen_by_the_examples(oddlestone: Catalog, book_files: dict[str, str]) -> None:
    """Every threshold that a rule reads, one step up and one down, moves some example of the trade's book."""
    steps = {"mm": 50, "ratio": Fraction(1, 100), "percent": 1, "count": 1, "de00": 500, "lightness": 1000, "ml": 1000}
    steps |= {"days": 1, "kg": Fraction(1, 1000), "g": 1, "kG2mm2": 1}
    book = load_book(book_files, oddlestone.thresholds)
    read_by_rules = [
        name
        for name in oddlestone.thresholds
        if any(f"threshold.{name}" in names_in(rule) for rule in book.rules.values())
    ]
    unseen = []
    for name in read_by_rules:
        limit = oddlestone.thresholds[name]
        for step in (steps[limit.unit], -steps[limit.unit]):
            moved = {**oddlestone.thresholds, name: replace(limit, value=limit.value + step)}
            if not load_book(book_files, moved).moved:
                unseen.append((name, step))
    assert unseen == []


def test_every_numeric_rule_has_a_passing_example_with_its_figure_known(shop: Shop) -> None:
    for rule in shop.book.rules.values():
        if any(isinstance(clause.verb, Limit) for clause in rule.clauses):
            stated = {name for example in rule.examples for name, value in example.facts if value is not None}
            measured = {
                clause.verb.term.name
                for clause in rule.clauses
                if isinstance(clause.verb, Limit) and hasattr(clause.verb.term, "name")
            }
            assert measured <= stated, rule.id


def test_sentences_to_customers_carry_no_stock_figure_lot_or_cost(shop: Shop) -> None:
    for rule in shop.book.rules.values():
        words = placeholders_in(rule.tell)
        assert "lot" not in words, rule.id
        if rule.id.startswith(QUIET):
            assert not {"measured", "limit", "off_by"} & set(words), rule.id


def test_a_rule_is_described_with_formula_limit_unit_source_and_examples(shop: Shop) -> None:
    described = shop.book.describe("STK-01")
    assert described["formula"] == ["stack at the seam is at most the seam's limit, else refuse"]
    assert described["limits"][0]["unit"] == "mm"
    assert {example["now"] for example in described["examples"]} == {"fails", "passes", "skips"}


def test_a_good_book_loads(oddlestone: Catalog) -> None:
    assert list(load_book({"fit.yaml": GOOD}, oddlestone.thresholds).rules) == ["FIT-99"]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("limit: piece.belt_cut", "limit: piece.belt_cutt", "fit.yaml:9:"),
        ("limit: piece.belt_cut", "limit: piece.belt_cutt", "did you mean 'piece.belt_cut'?"),
        ("max: 1400 mm", "max: 1400", "one side"),
        ("max: 1400 mm", "max: 14 kg", "one side is in mm, the other in kg"),
        ("severity: refuse", "severity: warn", "a severity is one of refuse, sign_off, advise, notice"),
        ("severity: refuse", "severty: refuse", "did you mean 'severity'?"),
        ("each: piece", "each: peice", "did you mean 'piece'?"),
        ("{measured}", "{lot}", "{lot} is not a word of 'piece'"),
        ("passes: {piece.belt_cut: 1400 mm}", "passes: {piece.belt_cut: 1401 mm}", "should be 'passes' and is 'fails'"),
        ("    max: 1400 mm\n", "    max: 1400 mm\n    min: 700 mm\n", "exactly one of max, min"),
        ("    limit: piece.belt_cut\n", "", "exactly one of limit, forbid"),
    ],
)
def test_a_fault_in_a_book_is_placed_and_explained(old: str, new: str, said: str, oddlestone: Catalog) -> None:
    assert old in GOOD
    assert any(said in line for line in faults_of(GOOD.replace(old, new, 1), oddlestone))


def test_every_subject_is_used_by_some_rule(shop: Shop) -> None:
    assert set(SUBJECTS) - {rule.subject for rule in shop.book.rules.values()} == set()
