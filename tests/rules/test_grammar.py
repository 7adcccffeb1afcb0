"""Bad and hostile rule files: each fault is placed and explained, and the book is refused whole."""

from __future__ import annotations

import pytest

from catalog.model import Catalog
from catalog.strict_yaml import Faults
from rules.book import load_book

HEAD = """\
family: stacks
rules:
  - id: STK-99
    each: seam
    says: A seam is never too thick.
    why: It would gape.
    tell: "The {seam} seam would be {measured}; {limit} fits."
    source: common practice, no source
"""
BODY = """\
    limit: seam.stack
    max: seam.limit
    severity: refuse
    examples:
      - fails: {seam.stack: 4.05 mm, seam.limit: 4 mm}
      - passes: {seam.stack: 4 mm}
      - skips: {seam.stack: unknown}
"""
GOOD = HEAD + BODY


def refused(text: str, catalog: Catalog, **more: str) -> str:
    files = {"stacks.yaml": text} | {f"{name}.yaml": each for name, each in more.items()}
    with pytest.raises(Faults) as caught:
        load_book(files, catalog.thresholds)
    return str(caught.value)


def test_the_good_file_loads(oddlestone: Catalog) -> None:
    book = load_book({"stacks.yaml": GOOD}, oddlestone.thresholds)
    assert book.describe("STK-99")["formula"] == ["stack at the seam is at most the seam's limit, else refuse"]


BODIES = {
    "clauses that are no list": ("    clauses: {limit: seam.stack}\n    severity: refuse\n", "expected a list"),
    "a clause that is no map": ("    clauses: [refuse]\n", "expected named fields"),
    "a misspelled field in a clause": (
        "    clauses: [{limit: seam.stack, maxx: seam.limit, severity: refuse}]\n",
        "did you mean 'max'?",
    ),
    "no clause at all": ("    clauses: []\n", "at least one clause"),
    "two verbs": (
        "    limit: seam.stack\n    max: seam.limit\n    forbid: {seam.complete: false}\n    severity: refuse\n",
        "exactly one of limit, forbid",
    ),
    "no bound": ("    limit: seam.stack\n    severity: refuse\n", "exactly one of max, min"),
    "steps that go both ways": (
        "    limit: seam.stack\n    steps: [{over: seam.limit, severity: refuse}, {under: 1 mm, severity: advise}]\n",
        "all 'over' or all 'under'",
    ),
    "a step with an unknown field": (
        "    limit: seam.stack\n    steps: [{over: seam.limit, severity: refuse, by: 2}]\n",
        "unknown field 'by'",
    ),
    "a step without a severity": ("    limit: seam.stack\n    steps: [{over: seam.limit}]\n", "a severity is one of"),
    "a multiple with a unit": (
        "    limit: seam.stack\n    steps: [{over: seam.limit, times: 3 mm, severity: refuse}]\n",
        "10:39: 'times' takes a plain number such as 1.5, not one in mm",
    ),
    "a multiple that is a length of its own": (
        "    limit: seam.stack\n    steps: [{over: seam.limit, times: seam.stack, severity: refuse}]\n",
        "10:39: 'times' takes a plain number such as 1.5, not one in mm",
    ),
    "a multiple of nothing": (
        "    limit: seam.stack\n    steps: [{over: seam.limit, times: 0, severity: refuse}]\n",
        "10:39: 'times' is more than 0, and at most 1000",
    ),
    "a multiple past all measure": (
        "    limit: seam.stack\n    steps: [{over: seam.limit, times: 1000.001, severity: refuse}]\n",
        "10:39: 'times' is more than 0, and at most 1000",
    ),
    "a day nine times": (
        "    limit: piece.ready_on\n    steps: [{under: piece.wanted_by, times: 9, severity: refuse}]\n",
        "10:45: a day is not multiplied",
    ),
    "a day as a number": (
        "    limit: piece.ready_on\n    max: 999999999 date\n    severity: refuse\n",
        "10:10: expected a number with its unit, found '999999999 date'",
    ),
    "a fixed day": (
        "    limit: piece.ready_on\n    max: 2026-12-01\n    severity: refuse\n",
        "10:10: a limit is no fixed day such as 2026-12-01: days are compared with days of the spec only",
    ),
    "a bound beside another verb": (
        "    forbid: {seam.complete: false}\n    max: seam.limit\n    severity: refuse\n",
        "10:10: 'max' is not read beside 'forbid'",
    ),
    "levels beside another verb": (
        "    limit: seam.stack\n    max: seam.limit\n    levels: {fine: none}\n    severity: refuse\n",
        "11:13: 'levels' is not read beside 'limit'",
    ),
    "a bound beside a grade": (
        "    grade: seam.complete\n    steps: []\n    levels: {}\n",
        "10:12: 'steps' is not read beside 'grade'",
    ),
    "a severity beside steps": (
        "    limit: seam.stack\n    steps: [{over: seam.limit, severity: refuse}]\n    severity: refuse\n",
        "11:15: 'severity' is not read beside 'steps'",
    ),
    "a severity beside levels": (
        "    grade: seam.complete\n    levels: {}\n    severity: refuse\n",
        "11:15: 'severity' is not read beside 'levels'",
    ),
    "a verb beside clauses": (
        "    forbid: {seam.complete: false}\n    clauses:\n      - {forbid: {seam.complete: true}, severity: refuse}\n",
        "9:13: 'forbid' is not read beside 'clauses'",
    ),
    "a bound beside clauses": (
        "    max: 1 mm\n    clauses:\n      - {limit: seam.stack, max: seam.limit, severity: refuse}\n",
        "9:10: 'max' is not read beside 'clauses'",
    ),
    "a severity that no clause takes": (
        "    severity: refuse\n    clauses:\n      - {limit: seam.stack, max: seam.limit, severity: refuse}\n",
        "9:15: 'severity' is not read: every clause says its own",
    ),
    "a bound in a clause with another verb": (
        "    clauses:\n      - {forbid: {seam.complete: false}, min: 1 mm, severity: refuse}\n",
        "10:47: 'min' is not read beside 'forbid'",
    ),
    "a severity of an example that passes": (
        BODY.replace("passes: {seam.stack: 4 mm}", "passes: {seam.stack: 4 mm}\n        severity: refuse"),
        "15:19: 'severity' is read only where an example fails",
    ),
    "ends the wrong way round": (
        "    limit: seam.stack\n    between: [0.005 m, 1 mm]\n    severity: refuse\n",
        "10:14: nothing lies between 5 mm and 1 mm: the least stands first",
    ),
    "a limit of a number": (
        "    limit: 4 mm\n    max: seam.limit\n    severity: refuse\n",
        "9:12: 'limit' takes what is measured",
    ),
    "a limit of a limit": (
        "    limit: threshold.neighbor_layers_mm\n    max: seam.limit\n    severity: refuse\n",
        "9:12: 'limit' takes what is measured",
    ),
    "between with one end": ("    limit: seam.stack\n    between: [1 mm]\n    severity: refuse\n", "stacks.yaml:10"),
    "a name of another subject": (
        "    limit: fold.strain\n    max: 0.3\n    severity: refuse\n",
        "unknown name 'fold.strain'",
    ),
    "a unit that nobody knows": (
        "    limit: seam.stack\n    max: 4 furlongs\n    severity: refuse\n",
        "expected a number",
    ),
    "a unit of another measure": ("    limit: seam.stack\n    max: 4 ml\n    severity: refuse\n", "mm"),
    "a truth as a limit": (
        "    limit: seam.stack\n    max: true\n    severity: refuse\n",
        "expected a number, found true",
    ),
    "an unknown test": ("    forbid: {seam.stack: {over: 4 mm}}\n    severity: refuse\n", "unknown test 'over'"),
    "a condition that is no map": ("    require: seam.complete\n    severity: refuse\n", "a condition is a map"),
    "a word where a truth stands": (
        "    require: {seam.complete: maybe}\n    severity: refuse\n",
        "does not suit seam.complete",
    ),
    "levels that are missing": ("    grade: seam.complete\n", "'grade' needs 'levels'"),
    "an unknown severity": ("    require: {seam.complete: true}\n    severity: warn\n", "a severity is one of"),
    "an example of two kinds": (
        BODY.replace("      - passes: {seam.stack: 4 mm}", "      - {passes: {seam.stack: 4 mm}, fails: {}}"),
        "exactly one of",
    ),
    "an example without a unit": (BODY.replace("seam.stack: 4 mm}", "seam.stack: 4}"), "give the unit: '4 mm'"),
    "an example with a fact that the rule does not read": (
        BODY.replace("{seam.stack: 4 mm}", "{seam.complete: true}"),
        "does not read 'seam.complete'",
    ),
    "an example with a severity that there is not": (
        BODY.replace("- skips: {seam.stack: unknown}", "- skips: {seam.stack: unknown}\n        severity: never"),
        "a severity is one of",
    ),
    "an example that comes out otherwise": (BODY.replace("4.05 mm", "4 mm", 1), "should be 'fails' and is 'passes'"),
    "a cause that is no rule": (BODY + "    effect_of: [STK-98]\n", "effect_of names 'STK-98'"),
    "a day that is none": (BODY + "    valid_from: soon\n", "'valid_from' is a day"),
    "a stage that is none": (BODY + "    stage: lunch\n", "a stage is one of"),
}


@pytest.mark.parametrize("name", BODIES)
def test_a_fault_of_a_rule_is_placed_and_explained(name: str, oddlestone: Catalog) -> None:
    body, said = BODIES[name]
    told = refused(HEAD + body, oddlestone)
    assert said in told
    assert all(line.split(":")[0] == "stacks.yaml" and line.split(":")[1].isdigit() for line in told.splitlines())


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("- just a list\n", "a rule file has 'family' and a list of 'rules'"),
        ("family: stacks\nrules: {}\n", "a rule file has 'family' and a list of 'rules'"),
        ("family: stacks\nrules: [STK-01]\n", "a rule is a set of named fields"),
        ("family: stacks\nrules:\n  - {each: seam}\n", "a rule needs 'id' as text"),
        (GOOD.replace("each: seam", "each: seem"), "did you mean 'seam'?"),
        (GOOD.replace("{seam} seam", "{lot} seam"), "{lot} is not a word of 'seam'"),
        (GOOD.replace("{seam} seam", "{Seam} seam"), "7:11: a brace that belongs to no word"),
        (GOOD.replace("{seam} seam", "{seam.stack} seam"), "7:11: a brace that belongs to no word"),
        (GOOD.replace("{seam} seam", "{ seam"), "7:11: a brace that belongs to no word"),
        (GOOD.replace("{seam} seam", "seam}"), "7:11: a brace that belongs to no word"),
        (GOOD.replace('"The {seam} seam would be {measured}; {limit} fits."', '" "'), "7:11: 'tell' says nothing"),
        (GOOD.replace("    source", '    bench: ""\n    source'), "8:12: 'bench' says nothing"),
        (GOOD + GOOD.split("rules:\n")[1], "rule 'STK-99' is written twice"),
        (GOOD.replace("severity: refuse", "severity: refuse\n    severity: advise"), "twice"),
        (GOOD.replace("says: A seam", "says: &seam A seam"), "anchors"),
        (GOOD.replace("says: A seam", "says: !!python/object A seam"), "tags"),
    ],
)
def test_a_fault_of_a_file_is_placed_and_explained(text: str, said: str, oddlestone: Catalog) -> None:
    assert said in refused(text, oddlestone)


def test_all_faults_of_all_files_are_listed_at_once(oddlestone: Catalog) -> None:
    told = refused(
        GOOD.replace("each: seam", "each: seem"), oddlestone, folds="family: [\n", limits="limits: {hat_mm: 1}\n"
    )
    assert {line.split(":")[0] for line in told.splitlines()} == {"stacks.yaml", "folds.yaml", "limits.yaml"}


def test_limits_that_are_no_map_are_refused(oddlestone: Catalog) -> None:
    assert "expected 'limits'" in refused(GOOD, oddlestone, limits="limits: [1]\n")
    assert "limits.yaml:" in refused(GOOD, oddlestone, limits="limits: {\n")


FORBIDDEN = (
    HEAD
    + """\
    forbid: {seam.stack: {above: seam.limit}}
    severity: refuse
"""
)


def test_a_sentence_speaks_of_a_figure_only_where_one_is_measured(oddlestone: Catalog) -> None:
    told = refused(FORBIDDEN, oddlestone)
    assert "stacks.yaml:7:11: STK-99: {limit} is empty where nothing is measured: only 'limit' knows it" in told
    assert "stacks.yaml:7:11: STK-99: {measured} is empty" in told
    load_book(
        {"stacks.yaml": FORBIDDEN.replace("{measured}", "too thick").replace("{limit}", "less")}, oddlestone.thresholds
    )


SEVERAL = (
    HEAD
    + """\
    bench: "{seam}: {off_by} too much."
    clauses:
      - {limit: seam.stack, max: seam.limit, severity: refuse}
      - forbid: {seam.complete: false}
        severity: advise
"""
)


def test_a_rules_own_sentence_serves_the_clauses_that_have_none(oddlestone: Catalog) -> None:
    told = refused(SEVERAL, oddlestone)
    assert [line.partition(": STK-99: ")[2][:10] for line in told.splitlines()] == [
        "{limit} is",
        "{measured}",
        "{off_by} i",
    ]
    tell = SEVERAL + '        tell: "Not complete."\n'
    load_book({"stacks.yaml": tell}, oddlestone.thresholds)
    assert "STK-99: {off_by} is empty" in refused(
        SEVERAL + '        tell: "Not complete."\n        bench: "By {off_by}."\n', oddlestone
    )
    bench = SEVERAL + '        bench: "Not complete."\n'
    assert "{off_by}" not in refused(bench, oddlestone)


CLAUSES = """\
    clauses:
      - limit: seam.stack
        max: seam.limit
        severity: notice
      - limit: seam.stack
        max: seam.limit
        severity: sign_off
        stage: quote
"""


def test_a_clause_speaks_at_its_own_stage_and_else_at_that_of_the_rule(oddlestone: Catalog) -> None:
    rule = load_book({"stacks.yaml": HEAD + CLAUSES}, oddlestone.thresholds).rules["STK-99"]
    assert rule.stages == ("check", "quote")
    at_check, at_quote = rule.at_stage("check"), rule.at_stage("quote")
    assert at_check is not None
    assert at_check.severities == ("notice",)
    assert at_quote is not None
    assert at_quote.severities == ("sign_off",)
    assert at_quote.stage == "quote"
    assert rule.at_stage("pack") is None


@pytest.mark.parametrize(
    "text",
    [
        GOOD.replace("severity: refuse", "severity: refuse\n    stage: soon"),
        HEAD + CLAUSES.replace("stage: quote", "stage: soon"),
    ],
)
def test_a_stage_that_there_is_not_is_refused(text: str, oddlestone: Catalog) -> None:
    assert "a stage is one of check, quote, cut, pack, catalog" in refused(text, oddlestone)
