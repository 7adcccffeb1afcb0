"""From the YAML of one rule to its clauses and examples, with every fault placed."""

from __future__ import annotations

from typing import Any, cast

from catalog.units import UNITS
from rules.conditions import Conditions, Path
from rules.ir import (
    SEVERITIES,
    STAGES,
    AllOf,
    AllowOnly,
    Bound,
    Clause,
    Constant,
    Example,
    Forbid,
    Graded,
    Limit,
    Name,
    Plain,
    Require,
    Scaled,
    Severity,
    Stage,
    Step,
    Verb,
)
from rules.sentences import wrong_in_text
from rules.vocabulary import SUBJECTS, TERMS
from rules.words import figure

_VERBS = ("limit", "forbid", "require", "allow_only", "grade")
_BOUNDS = ("max", "min", "equal", "between", "steps")
_CLAUSE_FIELDS = frozenset({"when", *_VERBS, *_BOUNDS, "levels", "severity", "tell", "bench", "at", "stage"})
_STEP_FIELDS = frozenset({"over", "under", "times", "severity"})
#: What a limit may be multiplied by, at most.
MOST_TIMES = 1_000
_EXAMPLE_FIELDS = frozenset({"fails", "passes", "skips", "severity", "stage"})


class Parser(Conditions):
    """Reads one rule's clauses over one subject; faults are added to the list given."""

    def clauses(self, raw: dict[str, Any], path: Path) -> tuple[Clause, ...]:
        """Return the rule's clauses: those listed, or the one written into the rule itself."""
        shared = self.condition(raw.get("when", {}), (*path, "when"))
        if "clauses" not in raw:
            self._unread(raw, path)
            verb = self._verb(raw, path)
            return () if verb is None else (Clause(shared, verb, self._stage(raw, path)),)
        if raw["clauses"] == []:
            self.fault((*path, "clauses"), "a rule has at least one clause")
        for name in (*_VERBS, *_BOUNDS, "levels"):
            if name in raw:
                self.fault((*path, name), f"{name!r} is not read beside 'clauses'; write it into one of them")
        found = []
        for place, each in enumerate(self._maps(raw["clauses"], (*path, "clauses"), _CLAUSE_FIELDS)):
            here = (*path, "clauses", place)
            sound = self.texts(each, here)
            own = self.condition(each.get("when", {}), (*here, "when"))
            self._unread(each, here)
            verb = self._verb({"severity": raw.get("severity"), **each}, here)
            stage = self._stage({"stage": raw.get("stage", "check"), **each}, here)
            if verb is not None and sound:
                when, at = AllOf(shared.conditions + own.conditions), tuple(each.get("at", ()))
                found.append(Clause(when, verb, stage, each.get("tell", ""), each.get("bench", ""), at))
        if "severity" in raw and found and not any(_takes_severity(each) for each in raw["clauses"]):
            self.fault((*path, "severity"), "'severity' is not read: every clause says its own")
        return tuple(found)

    def _unread(self, raw: dict[str, Any], path: Path) -> None:
        """Note the fields that stand beside a verb that does not read them."""
        verbs = [verb for verb in _VERBS if verb in raw]
        if len(verbs) != 1:
            return
        verb = verbs[0]
        others = (() if verb == "limit" else _BOUNDS) + (() if verb == "grade" else ("levels",))
        for name in others:
            if name in raw:
                self.fault((*path, name), f"{name!r} is not read beside {verb!r}")
        said = "levels" if verb == "grade" else "steps" if "steps" in raw and verb == "limit" else ""
        if said and "severity" in raw:
            self.fault((*path, "severity"), f"'severity' is not read beside {said!r}, which say their own")

    def _stage(self, raw: dict[str, Any], path: Path) -> Stage:
        stage = raw.get("stage", "check")
        if stage not in STAGES:
            self.fault((*path, "stage"), f"a stage is one of {', '.join(STAGES)}")
        return cast(Stage, stage)

    def texts(self, raw: dict[str, Any], path: Path) -> bool:
        """Return whether sentences are texts with known placeholders only, and lists are lists of texts."""
        before = len(self._faults)
        for name in ("tell", "bench"):
            if name not in raw:
                continue
            if not isinstance(raw[name], str):
                self.fault((*path, name), f"{name!r} is a text")
                continue
            for wrong in wrong_in_text(name, raw[name], SUBJECTS[self._subject].words, self._subject):
                self.fault((*path, name), wrong)
        for name in ("at", "effect_of"):
            items = raw.get(name, [])
            if not isinstance(items, list) or not all(isinstance(each, str) for each in items):
                self.fault((*path, name), f"{name!r} is a list of texts")
        return len(self._faults) == before

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
        table = self._table(raw[verb], (*path, verb))
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
        if not declared:
            self.fault((*path, "grade"), f"{name} has no levels to grade by")
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
        if isinstance(term, Constant) or (isinstance(term, Name) and term.name not in TERMS):
            self.fault((*path, "limit"), "'limit' takes what is measured: a name of the vocabulary or a table")
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
            if isinstance(low, Constant) and isinstance(high, Constant) and low.value > high.value:
                ends = " and ".join(figure(end.value, self._unit(term)) for end in (low, high))
                self.fault((*path, bound), f"nothing lies between {ends}: the least stands first")
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
            ratio = self._factor(term, each["times"], (*here, "times")) if "times" in each else Constant(1)
            if ratio is None:
                return None
            steps.append(Step(Scaled(limit, ratio) if "times" in each else limit, severity))
        if len(bounds) != 1:
            self.fault((*path, "steps"), "steps are all 'over' or all 'under'")
            return None
        return Limit(term, cast(Bound, bounds.pop()), tuple(steps))

    def _factor(self, term: Plain, raw: Any, path: Path) -> Plain | None:
        """Return what a limit is multiplied by: a plain number, or a name of one; a day has no multiple."""
        if self._unit(term) == "date":
            self.fault(path, "a day is not multiplied; compare it with another day of the spec")
            return None
        factor = self.term(raw, path)
        if factor is None:
            return None
        if UNITS[self._unit(factor)].measures != "number":
            self.fault(path, f"'times' takes a plain number such as 1.5, not one in {self._unit(factor)}")
            return None
        if isinstance(factor, Constant) and not 0 < factor.value <= MOST_TIMES:
            self.fault(path, f"'times' is more than 0, and at most {MOST_TIMES}")
            return None
        return factor

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
            if "severity" in each and "fails" not in kinds:
                self.fault((*here, "severity"), "'severity' is read only where an example fails")
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


def _takes_severity(clause: dict[str, Any]) -> bool:
    """Whether a clause is as severe as its rule says, rather than as it says itself."""
    return not {"severity", "steps", "grade"}.intersection(clause)
