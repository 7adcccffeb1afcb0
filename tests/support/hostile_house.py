"""Files of a house made to do harm, or that go wrong without meaning to, and the words of the refusal of each.

Each is a set of files, texts or bytes, that stand in a workshop's folder beside its catalog.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

RULES, ROWS = "house-rules.yaml", "house-finish.csv"

RULE = """\
rules:
  - id: H-ONE
    each: piece
    says: One.
    why: One.
    tell: "One."
    source: the owner, 2026-03-02
    when: {piece.pattern: twofold}
    forbid: {piece.finish: raw}
    severity: refuse
    examples:
      - fails: {piece.pattern: twofold, piece.finish: raw}
      - passes: {piece.finish: paint}
"""
FORBID = "forbid: {piece.finish: raw}"
TABLE = RULE.replace(FORBID, "allow_only: {rows_from: house-finish.csv}")
CSV = "piece.outside_kind,piece.finish\ngoat,paint\n"
LOOKUP = RULE.replace(FORBID, "limit: piece.thickest\n    max: table.most")


@dataclass(frozen=True)
class Hostile:
    """Some files, and words of their refusal."""

    name: str
    files: Mapping[str, str | bytes]
    says: str


def _rules(name: str, text: str | bytes, says: str) -> Hostile:
    return Hostile(name, {RULES: text}, says)


def _swap(name: str, old: str, new: str, says: str) -> Hostile:
    assert RULE.count(old) == 1, old
    return _rules(name, RULE.replace(old, new), says)


def _rows(name: str, text: str | bytes, says: str) -> Hostile:
    return Hostile(name, {RULES: TABLE, ROWS: text}, says)


def _table(name: str, table: str, says: str) -> Hostile:
    return _rules(name, "tables:\n  most:\n    says: most\n    unit: mm\n" + table + LOOKUP, says)


def _quantities(one: str, other: str) -> str:
    rows = "".join(f"      - {{piece.quantity: {each}, gives: 1 mm}}\n" for each in (one, other))
    return f"    inputs: [piece.quantity]\n    rows:\n{rows}"


def _many_rules(count: int) -> str:
    one = RULE.removeprefix("rules:\n")
    return "rules:\n" + "".join(one.replace("H-ONE", f"H-{place}") for place in range(count))


def _circle() -> str:
    text = _many_rules(3)
    for place in range(3):
        text = text.replace(f"id: H-{place}\n", f"id: H-{place}\n    effect_of: [H-{(place + 1) % 3}]\n")
    return text


def _wide() -> str:
    names = ("piece.quantity", "piece.cards_asked", "piece.monogram_letters", "piece.leather_count")
    numbers = ", ".join(map(str, range(50)))
    return "{" + ", ".join(f"{name}: [{numbers}]" for name in names) + "}"


def _bounds(name: str, count: int) -> str:
    return f"{name}: {{min: {count}, below: {count + 1}}}"


def _wide_table() -> str:
    inputs = (
        "piece.quantity",
        "piece.cards_asked",
        "piece.monogram_letters",
        "piece.leather_count",
        "piece.cards_held",
    )
    rows = "".join(
        f"      - {{{', '.join(_bounds(name, row) for name in inputs)}, gives: 1 mm}}\n" for row in range(200)
    )
    return f"    inputs: [{', '.join(inputs)}]\n    rows:\n{rows}    otherwise: 2 mm\n"


def _bomb() -> str:
    lines = ["a: &a [x, x, x, x, x, x, x, x, x, x]"]
    lines += [
        f"{other}: &{other} [{', '.join([f'*{one}'] * 10)}]" for one, other in zip("abcdefgh", "bcdefghi", strict=True)
    ]
    return "\n".join(lines) + "\n" + RULE


YAML = [
    _rules("a bomb of aliases", _bomb(), "anchors and aliases"),
    _swap("an anchor", "says: One.", "says: &a One.", "anchors and aliases"),
    _swap("an alias", "says: One.", "says: *a", "anchors and aliases"),
    _swap("a tag", "says: One.", "says: !!python/object/apply:os.system [ls]", "tags (!) are not used"),
    _swap(
        "a merge key with an alias",
        "    severity: refuse\n",
        "    <<: *base\n    severity: refuse\n",
        "anchors and aliases",
    ),
    _swap("a merge key written out", "    severity: refuse\n", "    <<: {severity: refuse}\n", "unknown field '<<'"),
    _swap("a number of 400 digits", FORBID, f"forbid: {{piece.quantity: {'9' * 400}}}", "more than 24 digits"),
    _swap("a number of 20 digits", FORBID, f"forbid: {{piece.quantity: {'9' * 20}}}", "expected a number"),
    _swap("a number with an exponent", FORBID, "forbid: {piece.quantity: 1e9}", "write the number 1e9 out in full"),
    _swap("no number", FORBID, "forbid: {piece.quantity: {min: .nan}}", ".nan is not a figure"),
    _swap("an endless number", FORBID, "forbid: {piece.quantity: {max: .inf}}", ".inf is not a figure"),
    _swap("a count below zero", FORBID, "forbid: {piece.quantity: {min: -3}}", "piece.quantity is never below zero"),
    _swap("a length below zero", FORBID, "limit: piece.thickest\n    max: -1 mm", "piece.thickest is never below zero"),
    _swap("another unit", FORBID, "limit: piece.thickest\n    max: 3 kg", "one side is in mm, the other in kg"),
    _swap("no unit", FORBID, "limit: piece.thickest\n    max: 3", "one side is in mm, the other in count"),
    _swap("100,000 values", FORBID, f"forbid: {{piece.finish: [{'raw, ' * 100_000}raw]}}", "larger than 200000 bytes"),
    _swap(
        "35,000 values", FORBID, f"forbid: {{piece.finish: [{'raw, ' * 35_000}raw]}}", "a list of 35001; at most 200"
    ),
    _swap(
        "65,000 values of one sign", FORBID, f"forbid: {{piece.finish: [{'a,' * 65_000}a]}}", "more than 60000 values"
    ),
    _swap("nested 3,000 deep", FORBID, "forbid: " + "[" * 3_000 + "]" * 3_000, "nest"),
    _swap("nested 90,000 deep", FORBID, "forbid: " + "{a: " * 45_000, "nested deeper than 12 levels"),
    _rules("nested by dashes", "rules:\n  " + "- " * 90_000 + "a\n", "nested deeper than 12 levels"),
    _swap("an unknown name", FORBID, "forbid: {piece.finnish: raw}", "did you mean 'piece.finish'?"),
    _swap(
        "5,000 unknown names",
        FORBID,
        "forbid: {" + ", ".join(f"piece.nam{each}: raw" for each in range(5_000)) + "}",
        "5000 names in one place; at most 60",
    ),
    _rules(
        "100 rules of 40 unknown names",
        _many_rules(100).replace(FORBID, "forbid: {" + ", ".join(f"piece.n{each}: raw" for each in range(40)) + "}"),
        "unknown name 'piece.n0'",
    ),
    _swap(
        "a table of 6,250,000 combinations",
        FORBID,
        f"allow_only: [{_wide()}]",
        "stands for 6250000 combinations, at most 20000",
    ),
    _swap(
        "a table of 1,500 rows",
        FORBID,
        f"allow_only: [{'{piece.finish: raw}, ' * 1_500}]",
        "a list of 1500; at most 500",
    ),
    _swap("a table of no rows", FORBID, "allow_only: []", "a table has at least one row"),
    _swap("a text of 150,000 signs", "why: One.", f"why: {'one ' * 37_500}", "at most 400 characters"),
    _swap(
        "a name of 150,000 signs", FORBID, f"forbid: {{? {'p' * 150_000} : raw}}", "a name has at most 80 characters"
    ),
    _swap(
        "a line of 190,000 blanks", "severity: refuse", "severity:" + " " * 190_000 + "refuse!", "a severity is one of"
    ),
    _swap("3 MB", "why: One.", f"why: {'one ' * 750_000}", "larger than 200000 bytes"),
    _swap("a NUL", "why: One.", "why: O\x00ne.", "U+0000 is not allowed"),
    _swap("an escaped NUL", "why: One.", 'why: "O\\0ne."', "U+0000 is not allowed"),
    _swap("an escaped terminal sequence", "why: One.", 'why: "\\e[2J"', "U+001B is not allowed"),
    _swap("a sign that turns the reading round", "why: One.", "why: On\u202ee.", "U+202E is not allowed"),
    _swap("a key twice", "    severity: refuse\n", "    severity: refuse\n    severity: advise\n", "written twice"),
    _rules("two documents", RULE + "---\n" + RULE, "a second document"),
    _rules("UTF-16", RULE.encode("utf-16"), "not UTF-8 text"),
    _rules("Latin-1 in the middle", RULE.replace("why: One.", "why: Ond\xe9.").encode("latin-1"), "not UTF-8 text"),
    _rules("a byte order mark", "\ufeff" + RULE, "U+FEFF is not allowed"),
    _rules("nothing", "", "has a list of 'rules'"),
    _rules("rules that are no list", "rules: {}\n", "has a list of 'rules'"),
    _rules("an unclosed bracket", RULE + "  - [", "house-rules.yaml"),
    _swap(
        "a day as a text",
        "    severity: refuse\n",
        '    severity: refuse\n    valid_from: "2026-03-02"\n',
        "is a day, written",
    ),
    _swap(
        "a day that there is not",
        "    severity: refuse\n",
        "    severity: refuse\n    valid_from: 2026-02-30\n",
        "there is no day 2026-02-30",
    ),
    _rules("10,000 rules", "rules:\n" + "  - {id: H-1}\n" * 10_000, "a list of 10000; at most 200"),
    _rules("60,000 rules", _many_rules(60_000), "larger than"),
    _swap(
        "10,000 examples",
        "      - passes: {piece.finish: paint}\n",
        "      - passes: {}\n" * 9_999,
        "a list of 10000; at most 40",
    ),
    _swap(
        "1,000 clauses",
        FORBID,
        "clauses: [" + "{forbid: {piece.finish: raw}}, " * 1_000 + "]",
        "a list of 1000; at most 16",
    ),
    _rules("a circle of causes", _circle(), "is in the end an effect of"),
    _swap("an id of the trade", "H-ONE", "STK-01", "'STK-01' is no id here"),
    _swap("an id like an expression", "H-ONE", '"H-(A+)+$"', "is no id here"),
    _swap("an id of 41 signs", "H-ONE", "H-" + "A" * 41, "is no id here"),
    _swap("an id twice", "rules:\n", "rules:\n" + RULE.removeprefix("rules:\n"), "'H-ONE' is written twice"),
    _swap("an id that is a number", "H-ONE", "1", "a rule needs 'id' as text"),
    _swap(
        "a file outside the folder",
        FORBID,
        "allow_only: {rows_from: ../../../etc/passwd}",
        "there is no file '../../../etc/passwd'",
    ),
    _swap("a list for a file", FORBID, "allow_only: {rows_from: [a]}", "there is no file"),
    _swap("a grade without levels", FORBID, "grade: piece.quantity\n    levels: {}", "has no levels to grade by"),
    _swap("an attribute in a sentence", 'tell: "One."', 'tell: "{measured} {lot}"', "{lot} is not a word"),
    _swap(
        "a place outside a spec",
        "    severity: refuse\n",
        '    severity: refuse\n    at: ["/../../secret"]\n',
        "is no place of a spec",
    ),
]

TABLES = [
    _table(
        "a table with a gap",
        _quantities("{max: 5}", "{min: 7}"),
        "no row holds where pieces ordered is 6",
    ),
    _table(
        "a table with an overlap",
        _quantities("{max: 5}", "{min: 5}"),
        "both hold where pieces ordered is 5",
    ),
    _table(
        "a row never reached",
        "    policy: first\n" + _quantities("{min: 0}", "{min: 5}"),
        "this row is never reached",
    ),
    _table(
        "500 rows that all hold",
        "    inputs: [piece.quantity]\n    rows:\n" + "      - {gives: 1 mm}\n" * 500,
        "both hold where",
    ),
    _table("a table of too many combinations", _wide_table(), "combinations, at most 20000 are looked at"),
    _table(
        "a range that holds nothing",
        "    inputs: [piece.thickest]\n    rows: [{piece.thickest: {min: 2 mm, below: 2 mm}, gives: 1 mm}]\n",
        "the range holds nothing",
    ),
    _table(
        "a figure in another unit", "    inputs: [piece.thickest]\n    rows: [{gives: 1 kg}]\n", "give the unit: '1 mm'"
    ),
    _table(
        "an input of another subject",
        "    inputs: [seam.stack, fold.strain]\n    rows: [{gives: 1 mm}]\n",
        "unknown name",
    ),
    _rules(
        "a table that no rule looks up",
        "tables:\n  most:\n    says: most\n    unit: mm\n    inputs: [piece.thickest]\n    rows: [{gives: 1 mm}]\n"
        + RULE,
        "2:3: no rule looks a figure up in table.most",
    ),
    _table(
        "twenty inputs",
        f"    inputs: [{', '.join(['piece.quantity'] * 20)}]\n    rows: [{{gives: 1 mm}}]\n",
        "a list of 1 to 6 names",
    ),
]

SHEETS = [
    _rows("200,000 rows", CSV + "goat,paint\n" * 200_000, "larger than 100000 bytes"),
    _rows("9,000 rows", CSV + "goat,paint\n" * 9_000, "more than 500 rows"),
    _rows("90,000 empty lines", CSV + "\n" * 90_000, "more than 500 rows"),
    _rows("an unclosed quote", CSV + '"goat,paint\n', "3:1: quotes stand round a whole cell"),
    _rows("an unclosed quote of 90,000 quotes", CSV + '"' * 90_001, "house-finish.csv:3:1:"),
    _rows("a quote inside", CSV + 'go"at,paint\n', "3:1: quotes stand round a whole cell"),
    _rows("a line break in a cell", CSV + '"go\nat",paint\n', "3:1: quotes stand round a whole cell"),
    _rows("a cell too few", CSV + "goat\n", "3:1: 1 cells in a table of 2 columns"),
    _rows("a cell too many", CSV + "goat,paint,raw\n", "3:6: 3 cells in a table of 2 columns"),
    _rows(
        "an unknown name in the header",
        CSV.replace("piece.finish", "piece.finnish"),
        "1:20: unknown name 'piece.finnish'",
    ),
    _rows(
        "a name twice",
        CSV.replace("piece.outside_kind", "piece.finish"),
        "1:14: the column 'piece.finish' stands there twice",
    ),
    _rows("3,000 columns", "piece.finish," * 3_000 + "\n", "stands there twice"),
    _rows("semicolons", CSV.replace(",", ";"), "separated by commas"),
    _rows("no rows", CSV.partition("\n")[0], "no row below its header"),
    _rows("nothing in the table", "", "the first line holds the names"),
    _rows("a NUL in a cell", CSV + "go\x00at,paint\n", "3:3: the character U+0000"),
    _rows("two byte order marks before the table", "\ufeff\ufeff" + CSV, "1:1: the character U+FEFF"),
    _rows("a byte order mark in a cell", "\ufeff" + CSV + "\ufeffgoat,raw\n", "3:1: the character U+FEFF"),
    _rows("a blank line", CSV + "\ngoat,raw\n", "3:1: a blank line; take it out"),
    _rows("a table in UTF-16", CSV.encode("utf-16"), "not UTF-8 text"),
    _rows("lines that end in CR alone", CSV.replace("\n", "\r"), "U+000D"),
    _rows(
        "a cell of 90,000 signs", CSV + "g" * 90_000 + ",paint\n", "3:1: piece.outside_kind: the catalog has no kind"
    ),
    _rows(
        "15,001 values in a cell",
        CSV + "goat|" * 15_000 + "goat,paint\n",
        "3:1: piece.outside_kind: 15001 values in a cell",
    ),
    _rows("an empty cell", CSV + ",paint\n", "3:1: piece.outside_kind: write '-' where anything holds"),
    _rows("a formula", CSV + '"=HYPERLINK(""x"")",paint\n', "3:1: piece.outside_kind: the catalog has no kind"),
    _rows(
        "a figure without its unit",
        CSV.replace("piece.finish", "piece.thickest").replace("paint", ">= 3"),
        "2:6: one side is in mm",
    ),
    _rows(
        "two ranges in a cell",
        CSV.replace("piece.finish", "piece.thickest").replace("paint", "< 1 mm|> 3 mm"),
        "2:6: piece.thickest: a range stands alone",
    ),
    Hostile("a table that nothing reads", {RULES: RULE, ROWS: CSV}, "1:1: no rule and no table takes its rows"),
    Hostile("a table without rules", {ROWS: CSV}, "1:1: there is no house-rules.yaml"),
    Hostile("21 tables", {RULES: TABLE, **{f"house-{place}.csv": CSV for place in range(21)}}, "at most 20 are taken"),
]

ALL = [*YAML, *TABLES, *SHEETS]
