"""From the YAML of one rule to its clauses and examples, with every fault placed."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any, cast

from catalog.model import Threshold
from catalog.strict_yaml import Document, Fault, suggest
from catalog.units import UNITS
from rules.ir import (
    SEVERITIES,
    STAGES,
    AllOf,
    AllowOnly,
    Bound,
    Clause,
    Compare,
    Condition,
    Constant,
    Example,
    Forbid,
    Graded,
    In,
    Includes,
    Limit,
    Name,
    Not,
    Require,
    Scaled,
    Severity,
    Stage,
    Step,
    Value,
    Verb,
)
from rules.vocabulary import SUBJECTS, TERMS, Type, known_names
from rules.words import placeholders_in

Path = tuple[str | int, ...]
Plain = Name | Constant
_VERBS = ("limit", "forbid", "require", "allow_only", "grade")
_BOUNDS = ("max", "min", "equal", "between", "steps")
_QUANTITY = re.compile(r"(-?[0-9]{1,9}(?:\.[0-9]{1,9})?)(?: ([a-z0-9A-Z]+))?")
_NAME = re.compile(r"[a-z]+\.[a-z0-9_]+")
_CLAUSE_FIELDS = frozenset({"when", *_VERBS, *_BOUNDS, "levels", "severity", "tell", "bench", "at", "stage"})
_STEP_FIELDS = frozenset({"over", "under", "times", "severity"})
_EXAMPLE_FIELDS = frozenset({"fails", "passes", "skips", "severity", "stage"})
#: Words that any sentence may use: what is measured, its limit and the distance.
_FIGURES = ("measured", "limit", "off_by")
_NOTHING = AllOf(())


class Parser:
    """Reads one rule's clauses over one subject; faults are added to the list given."""

    def __init__(
        self, document: Document, subject: str, thresholds: Mapping[str, Threshold], faults: list[Fault]
    ) -> None:
        self._document = document
        self._subject = subject
        self._thresholds = thresholds
        self._faults = faults

    def fault(self, path: Path, message: str) -> None:
        """Note a fault at the place of ``path``."""
        line, column = self._document.position(path)
        self._faults.append(Fault(self._document.file, line, column, message))

    def clauses(self, raw: dict[str, Any], path: Path) -> tuple[Clause, ...]:
        """Return the rule's clauses: those listed, or the one written into the rule itself."""
        shared = self.condition(raw.get("when", {}), (*path, "when"))
        if "clauses" not in raw:
            verb = self._verb(raw, path)
            return () if verb is None else (Clause(shared, verb, self._stage(raw, path)),)
        if raw["clauses"] == []:
            self.fault((*path, "clauses"), "a rule has at least one clause")
        found = []
        for place, each in enumerate(self._maps(raw["clauses"], (*path, "clauses"), _CLAUSE_FIELDS)):
            here = (*path, "clauses", place)
            sound = self.texts(each, here)
            own = self.condition(each.get("when", {}), (*here, "when"))
            verb = self._verb({"severity": raw.get("severity"), **each}, here)
            stage = self._stage({"stage": raw.get("stage", "check"), **each}, here)
            if verb is not None and sound:
                when, at = AllOf(shared.conditions + own.conditions), tuple(each.get("at", ()))
                found.append(Clause(when, verb, stage, each.get("tell", ""), each.get("bench", ""), at))
        return tuple(found)

    def _stage(self, raw: dict[str, Any], path: Path) -> Stage:
        stage = raw.get("stage", "check")
        if stage not in STAGES:
            self.fault((*path, "stage"), f"a stage is one of {', '.join(STAGES)}")
        return cast(Stage, stage)

    def texts(self, raw: dict[str, Any], path: Path) -> bool:
        """Return whether sentences are texts with known placeholders only, and lists are lists of texts."""
        before = len(self._faults)
        known = (*SUBJECTS[self._subject].words, *_FIGURES)
        for name in ("tell", "bench"):
            sentence = raw.get(name, "")
            if not isinstance(sentence, str):
                self.fault((*path, name), f"{name!r} is a text")
                continue
            for word in placeholders_in(sentence):
                if word not in known:
                    self.fault((*path, name), f"{{{word}}} is not a word of {self._subject!r}")
        for name in ("at", "effect_of"):
            items = raw.get(name, [])
            if not isinstance(items, list) or not all(isinstance(each, str) for each in items):
                self.fault((*path, name), f"{name!r} is a list of texts")
        return len(self._faults) == before

    def _maps(self, raw: Any, path: Path, fields: frozenset[str]) -> list[dict[str, Any]]:
        """Return a list of maps that hold known fields only; anything else is a fault."""
        if not isinstance(raw, list):
            self.fault(path, "expected a list")
            return []
        found = []
        for place, each in enumerate(raw):
            if not isinstance(each, dict):
                self.fault((*path, place), "expected named fields")
                continue
            for name in each:
                if name not in fields:
                    near = suggest(str(name), fields)
                    hint = f"; did you mean {near!r}?" if near else ""
                    self.fault((*path, place, name), f"unknown field {name!r}{hint}")
            found.append(each)
        return found

    def _verb(self, raw: dict[str, Any], path: Path) -> Verb | None:
        verbs = [verb for verb in _VERBS if verb in raw]
        if len(verbs) != 1:
            found = ", ".join(verbs) or "none"
            self.fault(path, f"a clause has exactly one of {', '.join(_VERBS)}; found {found}")
            return None
        verb = verbs[0]
        if verb == "limit":
            return self._limit(raw, path)
        if verb == "grade":
            return self._graded(raw, path)
        severity = self._severity(raw.get("severity"), path)
        if severity is None:
            return None
        if verb == "require":
            return Require(self.condition(raw["require"], (*path, "require")), severity)
        rows = raw[verb] if isinstance(raw[verb], list) else [raw[verb]]
        places: list[Path] = [
            (*path, verb, place) if isinstance(raw[verb], list) else (*path, verb) for place in range(len(rows))
        ]
        table = tuple(self.condition(row, place) for row, place in zip(rows, places, strict=True))
        return Forbid(table, severity) if verb == "forbid" else AllowOnly(table, severity)

    def _severity(self, raw: Any, path: Path) -> Severity | None:
        if raw in SEVERITIES:
            return cast(Severity, raw)
        self.fault((*path, "severity"), f"a severity is one of {', '.join(SEVERITIES)}, not {raw!r}")
        return None

    def _graded(self, raw: dict[str, Any], path: Path) -> Graded | None:
        name, levels = self._name(raw["grade"], (*path, "grade")), raw.get("levels")
        if not isinstance(levels, dict) or name is None:
            self.fault(path, "'grade' needs 'levels': a severity or none for each level")
            return None
        declared = TERMS[name].levels
        if set(declared) != set(levels):
            self.fault((*path, "levels"), f"{name} has the levels {', '.join(declared) or 'none'}")
        pairs = []
        for level, severity in levels.items():
            given = None if severity == "none" else self._severity(severity, (*path, "levels", level))
            pairs.append((str(level), given))
        return Graded(name, tuple(pairs))

    def _limit(self, raw: dict[str, Any], path: Path) -> Limit | None:
        term = self.term(raw["limit"], (*path, "limit"))
        bounds = [bound for bound in _BOUNDS if bound in raw]
        if len(bounds) != 1 or term is None:
            self.fault(path, f"'limit' needs exactly one of {', '.join(_BOUNDS)}")
            return None
        bound = bounds[0]
        if bound == "steps":
            return self._steps(term, raw["steps"], path)
        severity = self._severity(raw.get("severity"), path)
        if bound == "between":
            if not isinstance(raw[bound], list) or len(raw[bound]) != 2:
                self.fault((*path, bound), "'between' takes two ends: [least, most]")
                return None
            low, high = (self.term(each, (*path, bound)) for each in raw[bound])
            if severity is None or low is None or high is None:
                return None
            self._same_unit(term, low, (*path, bound))
            self._same_unit(term, high, (*path, bound))
            return Limit(term, "between", (Step(low, severity),), high)
        limit = self.term(raw[bound], (*path, bound))
        if severity is None or limit is None:
            return None
        self._same_unit(term, limit, (*path, bound))
        return Limit(term, cast(Bound, bound), (Step(limit, severity),))

    def _steps(self, term: Plain, raw: Any, path: Path) -> Limit | None:
        steps, bounds = [], set()
        for place, each in enumerate(self._maps(raw, (*path, "steps"), _STEP_FIELDS)):
            here = (*path, "steps", place)
            keys = [key for key in ("over", "under") if key in each]
            if len(keys) != 1:
                self.fault(here, "a step has exactly one of over, under")
                return None
            key = keys[0]
            bounds.add("max" if key == "over" else "min")
            limit = self.term(each[key], (*here, key))
            severity = self._severity(each.get("severity"), here)
            if limit is None or severity is None:
                return None
            self._same_unit(term, limit, here)
            ratio = self.term(each["times"], (*here, "times")) if "times" in each else Constant(1)
            if ratio is None:
                return None
            steps.append(Step(Scaled(limit, ratio) if "times" in each else limit, severity))
        if len(bounds) != 1:
            self.fault((*path, "steps"), "steps are all 'over' or all 'under'")
            return None
        return Limit(term, cast(Bound, bounds.pop()), tuple(steps))

    def condition(self, raw: Any, path: Path) -> AllOf:
        """Return the conditions of a ``{name: test}`` map; all must hold."""
        if not isinstance(raw, dict):
            self.fault(path, "a condition is a map from names to tests")
            return _NOTHING
        found: list[Condition] = []
        for key, test in raw.items():
            here = (*path, key)
            name = self._name(key, here)
            if name is not None:
                found.extend(self._tests(name, test, here))
        return AllOf(tuple(found))

    def _tests(self, name: str, test: Any, path: Path) -> list[Condition]:
        if not isinstance(test, dict):
            return [self._in(name, test, path)]
        found: list[Condition] = []
        for key, value in test.items():
            if key == "not":
                found.append(Not(self._in(name, value, path)))
            elif key == "includes":
                self._is(name, "words", (*path, key))
                found.append(Includes(name, str(value)))
            elif key in ("max", "min", "above", "below"):
                self._is(name, "number", (*path, key))
                right = self.term(value, (*path, key))
                if right is not None:
                    self._same_unit(Name(name), right, (*path, key))
                    found.append(Compare(Name(name), key, right))
            else:
                self.fault((*path, key), f"unknown test {key!r}: not, includes, max, min, above or below")
        return found

    def _in(self, name: str, raw: Any, path: Path) -> In:
        if TERMS[name].type == "words":
            self.fault(path, f"{name} holds several words: test it with 'includes'")
            return In(name, frozenset())
        values = raw if isinstance(raw, list) else [raw]
        parsed = [self.value(name, each, path) for each in values]
        return In(name, frozenset(each for each in parsed if each is not None and not isinstance(each, frozenset)))

    def _is(self, name: str, kind: Type, path: Path) -> None:
        """Note a fault where a name is of another type than a test of it needs."""
        if TERMS[name].type != kind:
            self.fault(path, f"{name} is of type {TERMS[name].type}; {kind} is needed here")

    def _name(self, raw: Any, path: Path, thresholds: Iterable[str] = ()) -> str | None:
        """Return a name of the vocabulary; a threshold only where one may stand: as a limit."""
        known = known_names(self._subject, thresholds)
        if raw in known:
            return str(raw)
        near = suggest(str(raw), known)
        hint = f"; did you mean {near!r}?" if near else ""
        self.fault(path, f"unknown name {raw!r} for {self._subject!r}{hint}")
        return None

    def term(self, raw: Any, path: Path) -> Plain | None:
        """Return a name of a number or a constant; a constant of a quantity carries its unit."""
        if isinstance(raw, str) and _NAME.fullmatch(raw):
            name = self._name(raw, path, self._thresholds)
            if name is None:
                return None
            if name in TERMS:
                self._is(name, "number", path)
            return Name(name)
        number = self._quantity(raw, None, path)
        return None if number is None else Constant(number, self._written_unit(raw))

    @staticmethod
    def _written_unit(raw: Any) -> str:
        match = _QUANTITY.fullmatch(str(raw))
        return (match[2] or "") if match is not None else ""

    def _quantity(self, raw: Any, unit: str | None, path: Path) -> int | Fraction | None:
        if isinstance(raw, bool) or not isinstance(raw, int | Decimal | str):
            self.fault(path, f"expected a number, found {raw!r}")
            return None
        match = _QUANTITY.fullmatch(str(raw))
        if match is None or (match[2] and match[2] not in UNITS):
            self.fault(path, f"expected a number with its unit, found {raw!r}")
            return None
        if unit is not None and match[2] != unit and UNITS[unit].words:
            self.fault(path, f"give the unit: '{match[1]} {unit}'")
            return None
        exact = Fraction(match[1]) * (UNITS[match[2]].per if match[2] else UNITS[unit].per if unit else 1)
        return exact.numerator if exact.denominator == 1 else exact

    def _unit(self, term: Plain) -> str:
        if isinstance(term, Constant):
            return term.unit or "count"
        if term.name.startswith("threshold."):
            return self._thresholds[term.name.removeprefix("threshold.")].unit
        return TERMS[term.name].unit

    def _same_unit(self, left: Plain, right: Plain, path: Path) -> None:
        one, other = self._unit(left), self._unit(right)
        if one and other and UNITS[one].measures != UNITS[other].measures:
            self.fault(path, f"one side is in {one}, the other in {other}")

    def value(self, name: str, raw: Any, path: Path) -> Value:
        """Return a fact's value by the type of its name; ``unknown`` is None."""
        if raw == "unknown":
            return None
        term = TERMS[name]
        match term.type:
            case "number" if term.unit == "date":
                return raw.toordinal() if isinstance(raw, date) else self._wrong(name, raw, path)
            case "number":
                return self._quantity(raw, term.unit, path)
            case "truth":
                return raw if isinstance(raw, bool) else self._wrong(name, raw, path)
            case "words":
                texts = isinstance(raw, list) and all(isinstance(each, str) for each in raw)
                return frozenset(raw) if texts else self._wrong(name, raw, path)
        if not isinstance(raw, str):
            return self._wrong(name, raw, path)
        if term.levels and raw not in term.levels:
            near = suggest(str(raw), term.levels)
            self.fault(path, f"{raw!r} is no value of {name}; did you mean {near or term.levels[0]!r}?")
        return raw

    def _wrong(self, name: str, raw: Any, path: Path) -> Value:
        self.fault(path, f"{raw!r} does not suit {name}, which is a {TERMS[name].type}")
        return None

    def examples(self, raw: Any, path: Path) -> tuple[Example, ...]:
        """Return the rule's examples; each later one says only what differs from the first.

        One that names no stage is held against the clauses of the rule's first.
        """
        found = []
        for place, each in enumerate(self._maps(raw, path, _EXAMPLE_FIELDS)):
            here = (*path, place)
            if "severity" in each:
                self._severity(each["severity"], here)
            kinds = [kind for kind in ("fails", "passes", "skips") if kind in each]
            if len(kinds) != 1:
                self.fault(here, "an example has exactly one of fails, passes, skips")
                continue
            if not isinstance(each[kinds[0]], dict):
                self.fault((*here, kinds[0]), "the facts of an example are a map from names to values")
                continue
            facts = []
            for key, value in each[kinds[0]].items():
                name = self._name(key, (*here, kinds[0], key))
                if name is not None:
                    facts.append((name, self.value(name, value, (*here, kinds[0], key))))
            line, _ = self._document.position(here)
            stage = self._stage(each, here) if "stage" in each else None
            found.append(Example(cast(Any, kinds[0]), tuple(facts), each.get("severity"), line, stage))
        return tuple(found)
