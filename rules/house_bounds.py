"""What a workshop's own rules may be: how large, of what shape, and what they ask beyond the trade's grammar."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any, Final

from catalog.strict_yaml import Document, Fault
from rules.conditions import MOST_ROWS, Path
from rules.csv_rows import MARK
from rules.csv_rows import MOST_BYTES as MOST_CSV_BYTES
from rules.ir import Rule, Stage, names_in, severities_of
from rules.lookups import MOST_TABLES
from rules.vocabulary import TERMS
from rules.words import placeholders_in

FILE: Final = "house-rules.yaml"
#: Ids of a workshop's own rules; those of the trade are three letters and two digits.
IDS: Final = re.compile(r"H-[A-Z0-9-]{1,40}")
MOST_BYTES: Final = 200_000
MOST_FILES: Final = 20
MOST_RULES: Final = 200
MOST_CLAUSES: Final = 16
MOST_EXAMPLES: Final = 40
MOST_ITEMS: Final = 200
MOST_NAMES: Final = 60
LONGEST: Final = 400
#: Faults after which nobody reads on.
MOST_FAULTS: Final = 100
_LONGEST_NAME: Final = 80
#: How long the list under a field may be; lists under others hold MOST_ITEMS at most.
_LISTS: Final = {
    "rules": MOST_RULES, "clauses": MOST_CLAUSES, "examples": MOST_EXAMPLES, "steps": 8,
    "rows": MOST_ROWS, "forbid": MOST_ROWS, "allow_only": MOST_ROWS,
}  # fmt: skip
#: Names whose figures are for the bench alone, and for the owner alone.
_BENCH: Final = (
    "leather.free", "leather.left_after", "leather.needed", "leather.reserve", "leather.lots_drift", "part.reserve",
    "piece.marks_legible", "piece.minutes", "piece.thread_needed", "piece.edge_needed", "fitting.needed",
    "monogram.foil_needed", "letter.asked", "piece.edge_open_for", "leather.face_lots",
)  # fmt: skip
#: Subjects of which every figure is: a lot as it lies there, the rack, and a parcel.
_STAFF: Final = frozenset({"lot", "rack", "parcel"})
OWNERS: Final = frozenset({"piece.margin_percent"})
#: Stages after the check: what is refused there was taken on already, so that nobody looks for it.
_TOO_LATE: Final[tuple[Stage, ...]] = ("quote", "cut", "pack")
#: Signs that are not seen and turn the reading round, or join and part words.
_UNSEEN: Final = re.compile("[\u061c\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff]")
#: What a finding may point at: a field of a spec, a part or place in it; ``own`` and ``parts`` as the rule finds them.
_AT: Final = re.compile(
    r"own|parts|/(?:pattern|thread|stitch|edge|modifications|quantity|ship_to|rush|ready_by|lots)"
    r"|/(?:parts|hardware|sizes|monogram|carry|purpose)(?:/[A-Za-z0-9_.-]{1,40})?"
)
_CONTROL: Final = re.compile("[\x00-\x09\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]|\r(?!\n)")


def too_large(texts: Mapping[str, str]) -> Iterator[Fault]:
    """Give a fault for each text that is too long, or holds signs that are not seen: before any of it is read."""
    if len(texts) > MOST_FILES:
        yield Fault(FILE, 1, 1, f"{len(texts)} files of the house; at most {MOST_FILES} are taken")
    for name, text in texts.items():
        most = MOST_BYTES if name == FILE else MOST_CSV_BYTES
        if len(text) > most or len(text.encode(errors="surrogatepass")) > most:
            yield Fault(name, *_place(text, most), f"the file is larger than {most} bytes, which it has here")
            continue
        shown = text if name == FILE else text.removeprefix(MARK)
        bad = _UNSEEN.search(shown) or (None if name == FILE else _CONTROL.search(shown))
        if bad is not None:
            yield Fault(name, *_place(shown, bad.start()), f"the character U+{ord(bad[0][0]):04X} is not allowed here")


def _place(text: str, at: int) -> tuple[int, int]:
    """Return line and column, from 1, of a place in a text."""
    at = min(at, max(len(text) - 1, 0))
    return text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at)


def wrong_shapes(document: Document) -> Iterator[Fault]:
    """Give a fault for each list, map or text that is too long, and for what is no file of rules at all."""
    value = document.value
    if not isinstance(value, dict) or not isinstance(value.get("rules"), list):
        yield document.fault((), f"{FILE} has a list of 'rules', and may have 'tables'")
        return
    for name in value:
        if name not in ("rules", "tables"):
            yield document.fault((name,), f"unknown field {name[:60]!r}; {FILE} has 'rules' and 'tables'", at_key=True)
    for path, each in _values(document):
        where, what = _wrong_in(path, each)
        if what:
            yield document.fault(where, what)


def files_named(document: Document) -> Iterator[str]:
    """Give the files that tables take their rows from."""
    for _, each in _values(document):
        if isinstance(each, dict) and isinstance(each.get("rows_from"), str):
            yield each["rows_from"]


def _values(document: Document) -> Iterator[tuple[Path, Any]]:
    """Give every value of a document with its place; of a list that is too long, the first ones."""
    open_still: list[tuple[Path, Any]] = [((), document.value)]
    while open_still:
        path, each = open_still.pop()
        yield path, each
        if isinstance(each, list):
            open_still.extend(((*path, place), item) for place, item in enumerate(each[: _most(path)]))
        elif isinstance(each, dict):
            open_still.extend(((*path, name), item) for name, item in list(each.items())[: _most(path)])


def _most(path: Path) -> int:
    """Return how long a list or a map may be at a place."""
    if path == ("tables",):
        return MOST_TABLES
    return _LISTS.get(str(path[-1]), MOST_ITEMS) if path else MOST_ITEMS


def _wrong_in(path: Path, each: Any) -> tuple[Path, str]:
    """Return what is too long about a value, with its place; no words where nothing is."""
    if isinstance(each, str) and (len(each) > LONGEST or "\n" in each):
        return path, f"a text has at most {LONGEST} characters, on one line"
    if isinstance(each, list) and len(each) > _most(path):
        return (*path, _most(path)), f"a list of {len(each)}; at most {_most(path)} are taken here"
    if isinstance(each, dict):
        most = min(_most(path), MOST_NAMES)
        if len(each) > most:
            return path, f"{len(each)} names in one place; at most {most} are taken"
        for name in each:
            if len(name) > _LONGEST_NAME:
                return (*path, name), f"a name has at most {_LONGEST_NAME} characters"
    return path, ""


#: What is left of a leather, by name: the lots of a piece are read for much else too.
_OF_LEATHERS: Final = frozenset(
    {"leather.free", "leather.left_after", "leather.short", "leather.lies", "leather.last_lot", "share.lies"}
)


def wrong_of(rule: Rule) -> Iterator[tuple[Path, str]]:
    """Give what a house asks of its rules beyond the trade's grammar, with the place of it in the rule."""
    yield from _told(rule)
    yield from _unheard(rule)
    expected = {example.expect for example in rule.examples}
    if "fails" not in expected or len(expected) < 2:  # one that fails, and one that does not
        yield ("examples",), f"{rule.id}: a rule of the house has an example that fails, and one that passes or skips"
    for place, at in enumerate(rule.at):
        if not _AT.fullmatch(at):
            yield ("at", place), f"{at!r} is no place of a spec: own, parts, or a pointer such as /parts/outside"
    for clause, each in enumerate(rule.clauses):
        for place, at in enumerate(each.at):
            if not _AT.fullmatch(at):
                yield ("clauses", clause, "at", place), f"{at!r} is no place of a spec: own, parts, or a pointer"


def _unheard(rule: Rule) -> Iterator[tuple[Path, str]]:
    """Give the clauses whose word nobody would act on at their stage."""
    for place, clause in enumerate(rule.clauses):
        severities, where = severities_of(clause.verb), ("clauses", place)
        instead = "'advise' or 'notice'" if rule.subject == "offer" else "'sign_off', 'advise' or 'notice'"
        if "refuse" in severities and clause.stage in _TOO_LATE:
            told = f"nothing is refused at stage {clause.stage}: what cannot be made is refused at the check"
            yield where, f"{rule.id}: {told}; {instead} will do here"
        if "sign_off" in severities and rule.subject == "offer":
            yield where, f"{rule.id}: a quote as a whole is signed off by nobody; {instead} will do here"
        spent = sorted(_of_what_is_left() & names_in(replace(rule, clauses=(clause,))))
        if spent and clause.stage != "check":
            told = f"{spent[0]} is what is left, and at stage {clause.stage} the piece itself is set aside already"
            yield where, f"{rule.id}: {told}; ask for it at stage check"


def _of_what_is_left() -> frozenset[str]:
    """Return the names of what is left of leathers and supplies, which a piece that is set aside has lessened."""
    return _OF_LEATHERS.union(name for name, term in TERMS.items() if term.reads & {"stock", "backlog"})


def quiet_names() -> frozenset[str]:
    """Return the names whose figures are for the bench alone: what is left, what is needed, what time it takes."""
    return frozenset(_BENCH).union(
        name for name, term in TERMS.items() if term.reads & {"stock", "backlog"} or name.partition(".")[0] in _STAFF
    )


def _told(rule: Rule) -> Iterator[tuple[Path, str]]:
    """Give the customers' sentences that would tell a lot, or a figure of the stock or of the bench's time."""
    names = names_in(rule)
    if OWNERS & names:
        yield (), f"{rule.id}: {min(OWNERS & names)} is the owner's alone; a rule that reads it would tell everybody"
    quiet = {"lot"} | ({"measured", "limit", "off_by"} if quiet_names() & names else set())
    sentences = [
        (("tell",), rule.tell),
        *((("clauses", place, "tell"), each.tell) for place, each in enumerate(rule.clauses)),
    ]
    for path, sentence in sentences:
        for word in sorted(quiet.intersection(placeholders_in(sentence))):
            yield path, f"{rule.id}: {{{word}}} is not for customers here; say it in 'bench'"


def circle_in(rules: Mapping[str, Rule]) -> Iterator[tuple[str, str]]:
    """Give each rule of the house that is in the end an effect of itself, with the cause through which it is."""
    for rule_id, rule in rules.items():
        if not IDS.fullmatch(rule_id):
            continue
        for cause in rule.effect_of:
            seen, open_still = set[str](), [cause]
            while open_still:
                one = open_still.pop()
                if one not in seen and one in rules:
                    seen.add(one)
                    open_still.extend(rules[one].effect_of)
            if rule_id in seen:
                yield rule_id, cause
                break
