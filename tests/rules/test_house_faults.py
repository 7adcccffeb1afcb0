"""Faults of a workshop's own rules: each placed and explained, and the workshop refused whole."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

import pytest
from support.houses import cut, with_house

from api.visibility import STOCK_FAMILY, STOCK_RULES
from catalog.model import Catalog
from catalog.strict_yaml import Faults
from rules.book import load_book
from rules.check import check
from rules.house_bounds import FILE, quiet_names
from rules.ir import Limit, Name
from rules.shop import Shop, open_shop

GOOD = """\
rules:
  - id: H-ONE
    each: part
    says: One.
    why: One.
    tell: "One."
    source: the owner, 2026-03-02
    when: {part.name: outside}
    forbid: {part.leather: SH-BLK}
    severity: refuse
    examples:
      - fails: {part.name: outside, part.leather: SH-BLK}
      - passes: {part.leather: GO-BLK}
"""


def refused(files: Mapping[str, str], book: Mapping[str, str], rules: str, **rows: str) -> list[str]:
    catalog = with_house(files, rules, {f"house-{name}.csv": text for name, text in rows.items()})
    with pytest.raises(Faults) as caught:
        open_shop(catalog, book)
    return str(caught.value).splitlines()


def test_the_good_rule_loads(oddlestone_files: dict[str, str], book_files: dict[str, str]) -> None:
    assert "H-ONE" in open_shop(with_house(oddlestone_files, GOOD), book_files).book.rules


FAULTS = {
    "a test that asks for nothing": (
        "{part.leather: SH-BLK}\n    sev",
        "{part.leather: {}}\n    sev",
        "asks for something",
    ),
    "a leather that there is not": (
        "SH-BLK}\n    sev",
        "SH-BLAK}\n    sev",
        "9:28: part.leather: the catalog has no leather 'SH-BLAK'; did you mean 'SH-BLK'?",
    ),
    "a code in another case": ("SH-BLK}\n    sev", "sh-blk}\n    sev", "did you mean 'SH-BLK'?"),
    "a part that no pattern has": (
        "{part.name: outside}\n",
        "{part.name: outsid}\n",
        "8:23: part.name: the catalog has no part 'outsid'; did you mean 'outside'?",
    ),
    "a code in an example": (
        "passes: {part.leather: GO-BLK}",
        "passes: {part.leather: GO-BLA}",
        "did you mean 'GO-BLK'?",
    ),
    "a level that there is not": (
        "{part.leather: SH-BLK}\n    sev",
        "{part.side: flash}\n    sev",
        "did you mean 'flesh'?",
    ),
    "an id of the trade": ("id: H-ONE", "id: STK-01", "2:9: 'STK-01' is no id here"),
    "an id in small letters": ("id: H-ONE", "id: H-one", "'H-one' is no id here"),
    "a cause that there is not": (
        "severity: refuse",
        "severity: refuse\n    effect_of: [STK-99]",
        "effect_of names 'STK-99', which is no rule",
    ),
    "a cause that is the rule itself": (
        "severity: refuse",
        "severity: refuse\n    effect_of: [H-ONE]",
        "is in the end an effect of H-ONE itself",
    ),
    "no example that fails": (
        "      - fails: {part.name: outside, part.leather: SH-BLK}\n",
        "      - skips: {part.name: lining, part.leather: SH-BLK}\n",
        "has an example that fails",
    ),
    "an example that comes out otherwise": (
        "passes: {part.leather: GO-BLK}",
        "passes: {part.leather: SH-BLK}",
        "should be 'passes' and is 'fails'",
    ),
    "lots of the whole piece in a rule over a part": (
        "    forbid: {part.leather: SH-BLK}",
        "    forbid: {part.leather: SH-BLK, piece.closed: {min: 1 mm}}",
        "9:50: H-ONE: a rule over 'part' cannot read piece.closed, which needs every lot",
    ),
    "a place that there is not": (
        "severity: refuse",
        "severity: refuse\n    at: [/leather]",
        "'/leather' is no place of a spec",
    ),
    "a field of the file that there is not": ("rules:\n", "family: fit\nrules:\n", "1:1: unknown field 'family'"),
    "a table that there is not": (
        "    forbid: {part.leather: SH-BLK}",
        "    forbid: {part.leather: SH-BLK, part.held_most: {min: table.most}}",
        "there is no table 'table.most'",
    ),
    "a file that there is not": (
        "    forbid: {part.leather: SH-BLK}",
        "    forbid: {rows_from: house-none.csv}",
        "there is no file 'house-none.csv'",
    ),
    "several texts that are to be included": (
        "    forbid: {part.leather: SH-BLK}",
        "    forbid: {part.leather: SH-BLK, piece.color_families: {includes: [blue]}}",
        "9:69: 'includes' takes one text, found a list",
    ),
    "a length for a count": (
        "    forbid: {part.leather: SH-BLK}",
        "    forbid: {part.leather: SH-BLK, piece.quantity: 3 mm}",
        "9:52: a plain number is needed here: '3', not one in mm",
    ),
    "a weight among counts": (
        "    forbid: {part.leather: SH-BLK}",
        "    forbid: {part.leather: SH-BLK, piece.quantity: [2, 1 kg]}",
        "9:52: a plain number is needed here: '1', not one in kg",
    ),
    "a length for a ratio": (
        "    forbid: {part.leather: SH-BLK}",
        "    forbid: {part.leather: SH-BLK, piece.thread_ratio: {not: 2 weeks}}",
        "9:56: a plain number is needed here: '2', not one in weeks",
    ),
    "a length for a count in an example": (
        "passes: {part.leather: GO-BLK}",
        "passes: {part.leather: GO-BLK, piece.quantity: 3 mm}",
        "a plain number is needed here: '3', not one in mm",
    ),
    "a text of two lines": ("says: One.", 'says: "One.\\nTwo."', "on one line"),
    "a rule that ends before it begins": (
        "severity: refuse",
        "severity: refuse\n    valid_from: 2026-03-02\n    valid_until: 2026-03-01",
        "'valid_until' is before 'valid_from'",
    ),
    "unknown as a value": ("{part.name: outside}\n", "{part.name: unknown}\n", "'unknown' is none"),
    "a grade of what has no levels": (
        "    forbid: {part.leather: SH-BLK}",
        "    grade: part.leather\n    levels: {}",
        "has no levels to grade by",
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_of_a_house_is_placed_and_explained(
    name: str, oddlestone_files: dict[str, str], book_files: dict[str, str]
) -> None:
    old, new, said = FAULTS[name]
    assert GOOD.count(old) == 1
    told = refused(oddlestone_files, book_files, GOOD.replace(old, new))
    assert any(said in line for line in told), told
    assert all(line.startswith(f"{FILE}:") and line.split(":")[1].isdigit() for line in told)


def test_a_form_of_a_lot_that_there_is_not_is_refused(
    oddlestone_files: dict[str, str], book_files: dict[str, str]
) -> None:
    text = (
        GOOD.replace("each: part", "each: panel")
        .replace("part.name: outside", "piece.pattern: twofold")
        .replace("part.leather: SH-BLK", "panel.form: side")
        .replace("part.leather: GO-BLK", "panel.form: hide")
    )
    assert "H-ONE" in open_shop(with_house(oddlestone_files, text), book_files).book.rules
    told = refused(
        oddlestone_files, book_files, text.replace("forbid: {panel.form: side}", "forbid: {panel.form: sides}")
    )
    assert told[0] == f"{FILE}:9:26: 'sides' is no value of panel.form; did you mean 'side'?"


def test_an_id_of_a_house_may_not_stand_in_the_trades_book(oddlestone: Catalog) -> None:
    trade = "family: fit\n" + GOOD.replace("part.leather: SH-BLK", "part.lining_only: true").replace(
        "part.leather: GO-BLK", "part.lining_only: false"
    ).replace("{part.name: outside}", "{part.beside_outside: false}").replace(
        "part.name: outside", "part.beside_outside: false"
    )
    with pytest.raises(Faults, match="'H-ONE' is no id here; one is written like STK-01"):
        load_book({"fit.yaml": trade}, oddlestone.thresholds)


def test_a_rule_of_the_trade_names_no_code(oddlestone: Catalog) -> None:
    with pytest.raises(Faults, match="codes are a workshop's own"):
        load_book({"fit.yaml": "family: fit\n" + GOOD.replace("H-ONE", "FIT-99")}, oddlestone.thresholds)


def test_a_cause_of_the_trades_may_be_named_and_the_finding_says_it(
    oddlestone_files: dict[str, str], book_files: dict[str, str], today: date
) -> None:
    rules = GOOD.replace("severity: refuse", "severity: refuse\n    effect_of: [CAT-02, THK-08]")
    shop = open_shop(with_house(oddlestone_files, rules), book_files)
    assert shop.book.rules["H-ONE"].effect_of == ("CAT-02", "THK-08")
    answer = check(shop, cut(shop.catalog, "gusset", "SH-BLK", "GO-BLK", "GO-BLK"), today=today)
    assert "H-ONE" in {finding["rule"] for finding in answer["findings"]}


#: A rule at a stage after the check.
LATER = """\
rules:
  - id: H-LATER
    each: SUBJECT
    says: One.
    why: One.
    tell: "One."
    source: the owner, 2026-03-02
    clauses:
      - {limit: NAME, max: 5 UNIT, severity: notice, stage: STAGE}
      - {limit: NAME, max: 9 UNIT, severity: SEVERITY, stage: STAGE}
    examples:
      - {fails: {NAME: 6 UNIT}, stage: STAGE}
      - {passes: {NAME: 5 UNIT}, stage: STAGE}
"""


def later(subject: str, name: str, unit: str, stage: str, severity: str) -> str:
    words = {"SUBJECT": subject, "NAME": name, "UNIT": unit, "STAGE": stage, "SEVERITY": severity}
    text = LATER
    for word, meant in words.items():
        text = text.replace(word, meant)
    return text


#: A rule whose sentence is read by customers.
TOLD = """\
rules:
  - id: H-TOLD
    each: SUBJECT
    says: One.
    why: One.
    tell: "SENTENCE"
    source: the owner, 2026-03-02
    limit: NAME
    max: 5 UNIT
    severity: advise
    examples:
      - fails: {NAME: 6 UNIT}
      - passes: {NAME: 5 UNIT}
"""


@pytest.mark.parametrize(
    ("subject", "name", "unit", "sentence", "said"),
    [
        ("panel", "panel.upper", "mm", "Lot {lot} is too thick.", "{lot} is not for customers"),
        ("piece", "piece.thread_left", "m", "There are {measured} left.", "{measured} is not for customers"),
        ("leather", "leather.free", "dm2", "We have {off_by} more.", "{off_by} is not for customers"),
        ("piece", "piece.minutes", "min", "{limit} is the most.", "{limit} is not for customers"),
        ("piece", "piece.edge_open_for", "days", "Open for {measured}.", "{measured} is not for customers"),
        ("leather", "leather.face_lots", "", "Cut from {measured} lots.", "{measured} is not for customers"),
        ("piece", "piece.margin_percent", "percent", "No.", "is the owner's alone"),
    ],
)
def test_a_house_tells_customers_no_lot_no_stock_no_minutes_and_no_margin(
    subject: str,
    name: str,
    unit: str,
    sentence: str,
    said: str,
    oddlestone_files: dict[str, str],
    book_files: dict[str, str],
) -> None:
    text = TOLD.replace("SUBJECT", subject).replace("SENTENCE", sentence).replace("NAME", name).replace("UNIT", unit)
    assert any(said in line for line in refused(oddlestone_files, book_files, text))


@pytest.mark.parametrize(
    ("subject", "name", "unit", "stage"),
    [
        ("lot", "lot.counted_ago", "days", "quote"),
        ("lot", "lot.humidity", "percent", "cut"),
        ("parcel", "parcel.weight", "g", "pack"),
        ("rack", "rack.free", "dm2", "catalog"),
    ],
)
@pytest.mark.parametrize("word", ["measured", "limit", "off_by"])
def test_a_figure_of_a_lot_the_rack_or_a_parcel_is_for_the_bench_alone(
    word: str,
    subject: str,
    name: str,
    unit: str,
    stage: str,
    oddlestone_files: dict[str, str],
    book_files: dict[str, str],
) -> None:
    text = later(subject, name, unit, stage, "notice")
    assert "H-LATER" in open_shop(with_house(oddlestone_files, text), book_files).book.rules
    told = refused(oddlestone_files, book_files, text.replace('tell: "One."', f'tell: "It is {{{word}}}."'))
    assert told == [f"{FILE}:6:11: H-LATER: {{{word}}} is not for customers here; say it in 'bench'"]


READ_BY_A_TABLE = """\
tables:
  most:
    says: most
    unit: mm
    inputs: [piece.edge_open_for]
    rows: [{piece.edge_open_for: {max: 9 days}, gives: 8 mm}]
    otherwise: 5 mm
""" + TOLD.replace("SUBJECT", "piece").replace("max: 5 UNIT", "max: table.most").replace(
    "NAME", "piece.closed"
).replace("UNIT}", "mm, piece.edge_open_for: 10 days}", 1).replace("UNIT", "mm")


def test_a_figure_that_a_table_reads_is_no_more_for_customers_than_the_figure_itself(
    oddlestone_files: dict[str, str], book_files: dict[str, str]
) -> None:
    sound = READ_BY_A_TABLE.replace("SENTENCE", "Too thick.")
    assert "H-TOLD" in open_shop(with_house(oddlestone_files, sound), book_files).book.rules
    told = refused(oddlestone_files, book_files, READ_BY_A_TABLE.replace("SENTENCE", "{limit} is the most."))
    assert any("{limit} is not for customers" in line for line in told)


def test_the_figures_of_every_rule_that_customers_may_not_see_are_quiet_in_a_house_too(shop: Shop) -> None:
    measured = {
        clause.verb.term.name
        for rule in shop.book.rules.values()
        if rule.id in STOCK_RULES or rule.id.startswith(STOCK_FAMILY)
        for clause in rule.clauses
        if isinstance(clause.verb, Limit) and isinstance(clause.verb.term, Name)
    }
    assert measured
    assert measured - quiet_names() == set()


@pytest.mark.parametrize(
    ("subject", "name", "unit", "stage", "severity", "said"),
    [
        ("piece", "piece.closed", "mm", "quote", "refuse", "nothing is refused at stage quote"),
        ("lot", "lot.counted_ago", "days", "cut", "refuse", "nothing is refused at stage cut"),
        ("parcel", "parcel.weight", "g", "pack", "refuse", "nothing is refused at stage pack"),
        ("offer", "offer.age", "days", "quote", "refuse", "nothing is refused at stage quote"),
        ("offer", "offer.age", "days", "quote", "sign_off", "signed off by nobody; 'advise' or 'notice' will do"),
    ],
)
def test_a_house_says_nothing_at_a_stage_that_nobody_would_act_on(
    subject: str,
    name: str,
    unit: str,
    stage: str,
    severity: str,
    said: str,
    oddlestone_files: dict[str, str],
    book_files: dict[str, str],
) -> None:
    told = refused(oddlestone_files, book_files, later(subject, name, unit, stage, severity))
    assert len(told) == 1
    assert told[0].startswith(f"{FILE}:10:")
    assert said in told[0]
    assert (
        "H-LATER"
        in open_shop(with_house(oddlestone_files, later(subject, name, unit, stage, "advise")), book_files).book.rules
    )


def test_what_is_left_is_asked_for_before_it_is_set_aside(
    oddlestone_files: dict[str, str], book_files: dict[str, str]
) -> None:
    told = refused(oddlestone_files, book_files, later("leather", "leather.free", "dm2", "quote", "sign_off"))
    assert told
    assert all(
        "leather.free is what is left, and at stage quote the piece itself is set aside" in line for line in told
    )
    at_check = with_house(oddlestone_files, later("leather", "leather.free", "dm2", "check", "sign_off"))
    assert "H-LATER" in open_shop(at_check, book_files).book.rules
