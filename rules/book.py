"""The rule book: YAML files of rules, read strictly into the intermediate form.

The trade's files, and beside them what a workshop adds (:mod:`rules.house`). Loaders take text. Every fault is
collected with file, line and column; a book with a fault is refused whole. The rules' own examples run at load: a book
whose examples do not come out as written is refused too.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from functools import cached_property
from typing import Any

from catalog.model import Threshold
from catalog.strict_yaml import Document, Fault, Faults, did_you_mean, read
from catalog.units import UNITS
from rules.conditions import OF_THE_TRADE, Beside, Path
from rules.examples import as_written, not_as_written, outcome_of_example
from rules.grammar import Parser
from rules.house import FAMILY, EnoughError, HouseTexts, Noted, read_house, unused_tables
from rules.house_bounds import IDS as HOUSE_IDS
from rules.house_bounds import circle_in, wrong_of
from rules.ir import STAGES, Lookup, Rule, Value, names_in
from rules.present import limits_now
from rules.sentences import wrong_sentences
from rules.vocabulary import SUBJECTS, TERMS
from rules.words import figure, formula_of

_FIELDS = frozenset(
    {
        "id", "each", "says", "why", "tell", "bench", "source", "stage", "when", "clauses", "limit",
        "forbid", "require", "allow_only", "grade", "levels", "max", "min", "equal", "between",
        "steps", "severity", "at", "effect_of", "examples", "valid_from", "valid_until", "review_by",
    }
)  # fmt: skip
#: Ids of the trade's rules.
_IDS = re.compile(r"[A-Z]{3}-[0-9]{2}")
_DAYS = ("valid_from", "valid_until", "review_by")
_NEEDED = ("id", "each", "says", "why", "tell", "source")
#: A workshop that adds nothing to the trade's book.
NO_HOUSE = HouseTexts()
#: The file of the limits for which the examples are written.
LIMITS = "limits.yaml"


@dataclass(frozen=True)
class Book:
    """Rules by id in the order of the files, the house's last, with the hash of their text and the house's tables.

    ``written_for`` are the limits for which the examples of the trade's rules are written; none: the workshop's own.
    """

    rules: Mapping[str, Rule]
    content_hash: str
    thresholds: Mapping[str, Threshold]
    tables: Mapping[str, Lookup] = field(default_factory=dict)
    written_for: Mapping[str, Threshold] = field(default_factory=dict)

    def limits_for(self, rule: Rule) -> Mapping[str, Threshold]:
        """Return the limits for which a rule's examples are written: a house writes for its own."""
        own = not self.written_for or rule.family == FAMILY
        return self.thresholds if own else self.written_for

    def describe(self, rule_id: str) -> dict[str, Any]:
        """Return one rule as people read it. Raises KeyError for an unknown id."""
        rule = self.rules[rule_id]
        return {
            "id": rule.id,
            "family": rule.family,
            "each": SUBJECTS[rule.subject].label,
            "severities": list(rule.severities),
            "says": rule.says,
            "why": rule.why,
            "formula": formula_of(rule, self.thresholds),
            "limits": limits_now(rule, self.thresholds),
            "stage": rule.stage,
            "stages": list(rule.stages),
            "source": rule.source,
            "valid_from": _iso(rule.valid_from),
            "valid_until": _iso(rule.valid_until),
            "review_by": _iso(rule.review_by),
            "examples": [self._example(rule, place) for place in range(len(rule.examples))],
        }

    def _example(self, rule: Rule, place: int) -> dict[str, Any]:
        example = rule.examples[place]
        return {
            "expect": example.expect,
            "severity": example.severity,
            "now": outcome_of_example(rule, place, self.thresholds),
            "facts": {name: _shown(name, value) for name, value in example.facts},
        }

    @cached_property
    def moved(self) -> tuple[tuple[str, int], ...]:
        """Return rule id and place of the examples that come out otherwise under the workshop's own limits."""
        return tuple(
            (rule.id, place)
            for rule in self.rules.values()
            for place in range(len(rule.examples))
            if not as_written(rule, place, self.thresholds)
        )


def _iso(day: Any) -> str | None:
    return None if day is None else str(day.isoformat())


def _shown(name: str, value: Value) -> Any:
    """Return a fact as people read it: a figure with its unit, a word, true or false, or None for not known."""
    if isinstance(value, frozenset):
        return sorted(value)
    if value is None or isinstance(value, str | bool):
        return value
    return figure(value, TERMS[name].unit if name in TERMS else "count")


def load_book(files: Mapping[str, str], thresholds: Mapping[str, Threshold], house: HouseTexts = NO_HOUSE) -> Book:
    """Read a rule book, and the house's rules beside it.

    Raises :class:`catalog.strict_yaml.Faults` with every fault found.
    """
    faults: list[Fault] = []
    rules: dict[str, Rule] = {}
    readers: list[_FileReader] = []
    written_for = _written_for(files, thresholds, faults)
    for file in sorted(set(files) - {LIMITS}):
        try:
            document = read(files[file], file)
        except Faults as bad:
            faults.extend(bad.faults)
            continue
        readers.append(_FileReader(document, thresholds, rules, faults))
        readers[-1].read()
    for reader in readers:
        reader.follow_references()
    if not faults:
        for reader in readers:
            reader.run_examples(written_for)
    tables = _add_house(house, thresholds, rules, faults)
    if faults:
        raise Faults(tuple(faults))
    digest = hashlib.sha256()
    for texts in (files, house.texts):
        for file in sorted(texts):
            digest.update(f"{file}\n{texts[file]}\n".encode())
    return Book(rules, f"sha256:{digest.hexdigest()}", thresholds, written_for=written_for, tables=tables)


def _add_house(
    house: HouseTexts, thresholds: Mapping[str, Threshold], rules: dict[str, Rule], faults: list[Fault]
) -> Mapping[str, Lookup]:
    """Add the house's rules to those of the trade, and return its tables.

    Its examples are written for the workshop's own limits.
    """
    noted = Noted()
    found = None
    with suppress(EnoughError):
        found = read_house(house, thresholds, noted)
        if found is not None:
            reader = _FileReader(found.document, thresholds, rules, noted, found.beside)
            reader.read()
            reader.follow_references()
            if not noted:
                noted.extend(unused_tables(found, rules.values()))
                reader.run_examples(thresholds)
    faults.extend(noted)
    return {} if found is None else found.tables


def _written_for(
    files: Mapping[str, str], thresholds: Mapping[str, Threshold], faults: list[Fault]
) -> Mapping[str, Threshold]:
    """Return the limits for which the examples are written: the book's own, else the workshop's."""
    if LIMITS not in files:
        return thresholds
    try:
        document = read(files[LIMITS], LIMITS)
    except Faults as bad:
        faults.extend(bad.faults)
        return thresholds
    found = dict(thresholds)
    limits = document.value.get("limits") if isinstance(document.value, dict) else None
    if not isinstance(limits, dict):
        faults.append(Fault(LIMITS, *document.position(("limits",)), "expected 'limits', a map from names to numbers"))
        return thresholds
    for name, value in limits.items():
        if name in thresholds and isinstance(value, int | Decimal) and not isinstance(value, bool):
            exact = Fraction(value) * UNITS[thresholds[name].unit].per
            whole = exact.numerator if exact.denominator == 1 else exact
            found[name] = replace(thresholds[name], value=whole)
        else:
            line, column = document.position(("limits", name))
            faults.append(Fault(LIMITS, line, column, f"{name}: expected a number for a limit of the catalog"))
    return found


class _FileReader:
    """Reads the rules of one file, adding to ``rules`` and ``faults``."""

    def __init__(
        self,
        document: Document,
        thresholds: Mapping[str, Threshold],
        rules: dict[str, Rule],
        faults: list[Fault],
        house: Beside | None = None,
    ) -> None:
        self._house = house
        self._document = document
        self._thresholds = thresholds
        self._rules = rules
        self._faults = faults
        self._places: dict[str, Path] = {}

    def follow_references(self) -> None:
        """Note a fault for each cause named that is no rule of the book."""
        for rule_id, path in self._places.items():
            for place, cause in enumerate(self._rules[rule_id].effect_of):
                if cause not in self._rules:
                    self._fault((*path, "effect_of", place), f"{rule_id}: effect_of names {cause!r}, which is no rule")
        for rule_id, cause in circle_in({rule_id: self._rules[rule_id] for rule_id in self._places}):
            place = self._rules[rule_id].effect_of.index(cause)
            path = (*self._places[rule_id], "effect_of", place)
            self._fault(path, f"{rule_id}: {cause!r} is in the end an effect of {rule_id} itself")

    def run_examples(self, thresholds: Mapping[str, Threshold]) -> None:
        """Note a fault for each example that does not come out as it says."""
        for rule_id, path in self._places.items():
            rule = self._rules[rule_id]
            for place in range(len(rule.examples)):
                if not as_written(rule, place, thresholds):
                    self._fault((*path, "examples", place), not_as_written(rule, place, thresholds))

    def read(self) -> None:
        value = self._document.value
        if self._house is not None:
            value = {"family": FAMILY, "rules": value["rules"]}
        if not isinstance(value, dict) or set(value) != {"family", "rules"} or not isinstance(value["rules"], list):
            self._fault((), "a rule file has 'family' and a list of 'rules'")
            return
        for place, raw in enumerate(value["rules"]):
            path = ("rules", place)
            if not isinstance(raw, dict):
                self._fault(path, "a rule is a set of named fields")
                continue
            self._rule(str(value["family"]), raw, path)

    def _fault(self, path: Path, message: str) -> None:
        line, column = self._document.position(path)
        self._faults.append(Fault(self._document.file, line, column, message))

    def _rule(self, family: str, raw: dict[str, Any], path: Path) -> None:
        before = len(self._faults)
        for name in raw:
            if name not in _FIELDS:
                self._fault((*path, name), f"unknown field {name!r}{did_you_mean(name, _FIELDS)}")
        for name in _NEEDED:
            if not isinstance(raw.get(name), str):
                self._fault(path, f"a rule needs {name!r} as text")
        subject = raw.get("each")
        if isinstance(subject, str) and subject not in SUBJECTS:
            self._fault((*path, "each"), f"unknown subject {subject!r}{did_you_mean(subject, SUBJECTS)}")
        if raw.get("stage", "check") not in STAGES:
            self._fault((*path, "stage"), f"a stage is one of {', '.join(STAGES)}")
        self._id(raw.get("id"), path)
        self._days(raw, path)
        if len(self._faults) > before:
            return
        self._build(family, raw, path)

    def _days(self, raw: dict[str, Any], path: Path) -> None:
        wrong = [name for name in _DAYS if not isinstance(raw.get(name, date.min), date)]
        for name in wrong:
            self._fault((*path, name), f"{name!r} is a day, written 2026-03-02")
        if not wrong and raw.get("valid_until", date.max) < raw.get("valid_from", date.min):
            self._fault((*path, "valid_until"), "'valid_until' is before 'valid_from'")

    def _id(self, raw: Any, path: Path) -> None:
        """A rule of the trade has an id of the trade, one of the house an id of a house."""
        ids, written = (_IDS, "STK-01") if self._house is None else (HOUSE_IDS, "H-FOIL")
        if isinstance(raw, str) and not ids.fullmatch(raw):
            self._fault((*path, "id"), f"{raw[:60]!r} is no id here; one is written like {written}")

    def _build(self, family: str, raw: dict[str, Any], path: Path) -> None:
        beside = OF_THE_TRADE if self._house is None else self._house
        parser = Parser(self._document, raw["each"], self._thresholds, self._faults, beside)
        before = len(self._faults)
        parser.texts(raw, path)
        clauses = parser.clauses(raw, path)
        examples = parser.examples(raw.get("examples", []), (*path, "examples"))
        if raw["id"] in self._rules:
            self._fault((*path, "id"), f"rule {raw['id']!r} is written twice")
        if len(self._faults) > before:
            return
        rule = Rule(
            id=raw["id"], family=family, subject=raw["each"], says=raw["says"], why=raw["why"],
            tell=raw["tell"], bench=raw.get("bench", ""), source=raw["source"],
            stage=raw.get("stage", "check"), clauses=clauses, at=tuple(raw.get("at", ["own"])),
            effect_of=tuple(raw.get("effect_of", [])), examples=examples,
            valid_from=raw.get("valid_from"), valid_until=raw.get("valid_until"),
            review_by=raw.get("review_by"),
        )  # fmt: skip
        self._unread_facts(rule, path)
        self._unlisted(rule, path)
        self._lots_too_early(rule, raw, path)
        for place, message in wrong_sentences(rule):
            self._fault((*path, *place), message)
        for place, message in wrong_of(rule) if self._house is not None else ():
            self._fault((*path, *place), message)
        self._rules[rule.id], self._places[rule.id] = rule, path

    def _unlisted(self, rule: Rule, path: Path) -> None:
        """A rule speaks only at stages at which what it is judged over can be listed; so do its examples."""
        known = SUBJECTS[rule.subject].stages
        for stage in rule.stages:
            if stage not in known:
                listed = ", ".join(each for each in STAGES if each in known)
                self._fault(path, f"{rule.id}: {rule.subject!r} is not listed at stage {stage!r}, only at {listed}")
        for place, example in enumerate(rule.examples):
            if example.stage is not None and example.stage not in rule.stages:
                self._fault((*path, "examples", place), f"{rule.id} says nothing at stage {example.stage!r}")

    def _unread_facts(self, rule: Rule, path: Path) -> None:
        """An example may state only facts that the rule reads: anything else is a slip."""
        read_names = names_in(rule)
        for place, example in enumerate(rule.examples):
            for name, _ in example.facts:
                if name not in read_names:
                    self._fault((*path, "examples", place, example.expect, name), f"{rule.id} does not read {name!r}")

    def _lots_too_early(self, rule: Rule, raw: dict[str, Any], path: Path) -> None:
        """A rule over less than the whole piece is judged before every part has its lots."""
        if rule.subject == "piece":
            return
        for name in sorted(names_in(rule)):
            if name.startswith("piece.") and "lots" in TERMS[name].reads:
                told = f"{rule.id}: a rule over {rule.subject!r} cannot read {name}, which needs every lot"
                self._fault(_where(raw, path, name), told)


def _where(raw: Any, path: Path, name: str) -> Path:
    """Return where a name first stands in a rule, as a key or as a value; the rule itself where a table reads it."""
    items = raw.items() if isinstance(raw, dict) else enumerate(raw) if isinstance(raw, list) else ()
    for key, value in items:
        if key == "examples":
            continue
        here = (*path, key)
        if name in (key, value):
            return here
        found = _where(value, here, name)
        if found != here:
            return found
    return path
