"""What a rule still waits for on a partial spec: a second, slower reading of the same intermediate form.

The judge says None both where a rule does not apply and where a figure is not known yet; here the
two are told apart. A rule waits where something that it reads is still to be chosen, unless it is
off: every clause of it asks for something that will not be so, whatever is chosen next.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from collections.abc import Set as AbstractSet
from functools import partial
from typing import Any, Final

from rules.case import Case
from rules.cells import facets_read, scoped
from rules.evaluate import Judges
from rules.facets import Facet
from rules.ir import Condition, Graded, In, Limit, Lookup, Name, Not, Rule, Value, Verb, names_in, names_of
from rules.judge import Fired, Passed, condition_of
from rules.piece import Piece
from rules.spec import Spec
from rules.subjects import Instance, Whole
from rules.vocabulary import BY_PART, SUBJECTS, TERMS, Group

#: Subjects of which some instances are only there once something is chosen, with what that is.
_LISTED_BY: Final = {
    **dict.fromkeys(("part", "panel", "leather", "share", "species"), "leather"),
    **dict.fromkeys(("fixing", "fitting"), "hardware"),
    "length": "sizes",
    "letter": "typeface",
}
#: The nouns that are named once a slot is filled, by what is then chosen.
_NAMED_BY: Final = {
    "leather": ("leather",),
    "thread": ("thread",),
    "edge": ("edge", "edge_finish"),
    "hardware": ("hardware", "hardware_type"),
    "sizes": ("size", "lug"),
    "purpose": ("use",),
    "monogram": ("typeface", "foil"),
}
#: Subjects that are there only if they are asked for, and then need a pattern.
_ASKED_FOR: Final[Mapping[str, Callable[[Spec], bool]]] = {
    "monogram": lambda spec: spec.monogram is not None,
    "letter": lambda spec: spec.monogram is not None,
    "businesscards": lambda spec: spec.carry.business_cards is not None,
    "note": lambda spec: bool(spec.carry.notes),
    "passport": lambda spec: spec.carry.passport,
    "blade": lambda spec: spec.carry.blade is not None,
    "notebook": lambda spec: spec.carry.notebook is not None,
    "tool": lambda spec: bool(spec.carry.tools),
}
#: Subjects that need no pattern: they are all there once they are asked for.
_WITHOUT_PATTERN: Final = ("claim", "length")
_MONOGRAM: Final = ("monogram", "")
Asks = Callable[[AbstractSet[str]], bool]


class Waiting:
    """What is still to be chosen in a case, and which rules' words hang on it."""

    def __init__(self, judges: Judges, case: Case) -> None:
        self._judges = judges
        self._case = case
        self._parts: Group = tuple(case.piece.parts)
        self._missing = _missing(case.piece)

    def waits(self, rule: Rule, instance: Instance, word: Fired | Passed | None) -> bool:
        """Whether a rule that found nothing on an instance may yet find something there.

        What passes so far need not pass in the end, for figures sum up what is chosen. A monogram half
        described is no sum: what is said of its letters stands.
        """
        if not self._missing or isinstance(word, Fired):
            return False
        lacking = self._facets(rule, names_in(rule), instance.parts or None) & self._missing
        if isinstance(word, Passed):
            lacking -= {_MONOGRAM}
        return bool(lacking) and not self._off(rule, instance, _anything)

    def unlisted(self, rule: Rule) -> bool:
        """Whether a rule has instances that are not there yet, and may speak on them."""
        missing = {read for read, _ in self._missing}
        if not missing:
            return False
        if rule.subject == "choice":
            slots = _NAMED_BY if "pattern" in missing else missing
            return self._may_name(rule, {noun for read in slots for noun in _NAMED_BY.get(read, ())})
        if "pattern" in missing:
            lacks = rule.subject not in _WITHOUT_PATTERN and _ASKED_FOR.get(rule.subject, _always)(
                self._case.piece.spec
            )
        else:
            lacks = _LISTED_BY.get(rule.subject) in missing
        return lacks and not self._off(rule, Whole(self._case), _of_whole)

    @staticmethod
    def _may_name(rule: Rule, nouns: set[str]) -> bool:
        """Whether some clause of a rule over choices may speak of one of the nouns."""
        return any(
            nouns.intersection(*(_asked(each) for each in clause.when.conditions if names_of(each) == {"choice.what"}))
            for clause in rule.clauses
        )

    def _facets(self, rule: Rule, names: Iterable[str], group: Group | None) -> frozenset[Facet]:
        """Return the facets that names read in a rule, the pattern among them."""
        found: set[Facet] = set()
        for name in names:
            if not name.startswith("threshold."):
                found |= facets_read(name, rule.subject, group, self._parts)
                found |= {("pattern", "")} if TERMS[name].reads & (BY_PART | {"pattern"}) else set()
        if len(SUBJECTS[rule.subject].listers) == 1:
            found |= {
                each for read in SUBJECTS[rule.subject].listers[0].reads for each in scoped(read, group, self._parts)
            }
        return frozenset(found)

    def _off(self, rule: Rule, instance: Any, may_ask: Asks) -> bool:
        """Whether every clause has a condition, or a figure, that is not met or not known, and stays so."""
        return all(
            any(
                self._settled(rule, names_of(each), instance) and not self._holds(rule, each, instance)
                for each in clause.when.conditions
                if may_ask(names_of(each))
            )
            or any(
                self._settled(rule, {name}, instance) and self._value(rule, name, instance) is None
                for name in _figures(clause.verb)
                if may_ask({name})
            )
            for clause in rule.clauses
        )

    def _settled(self, rule: Rule, names: AbstractSet[str], instance: Any) -> bool:
        return not self._facets(rule, names, instance.parts or None) & self._missing

    def _holds(self, rule: Rule, condition: Condition, instance: Any) -> bool:
        return bool(condition_of(condition, partial(self._judges.reader, subject=rule.subject))(instance))

    def _value(self, rule: Rule, name: str, instance: Any) -> Value:
        return self._judges.reader(name, subject=rule.subject)(instance)


def _asked(condition: Condition) -> AbstractSet[object]:
    """Return the words that a condition on one name asks for."""
    match condition:
        case In(values=values):
            return values
        case Not(condition=In(name=name, values=values)):
            return {level for level in TERMS[name].levels if level not in values}
        case _:
            return frozenset()


def _figures(verb: Verb) -> list[str]:
    """Return the names without which a verb says nothing."""
    match verb:
        case Limit(term=term, steps=steps, upper=upper):
            terms = (term, upper, *(step.limit for step in steps))
            looked_up = [name for each in terms if isinstance(each, Lookup) for name in each.inputs]
            return [*(each.name for each in terms if isinstance(each, Name)), *looked_up]
        case Graded(name=name):
            return [name]
        case _:
            return []


def _always(_: Spec) -> bool:
    return True


def _anything(_: AbstractSet[str]) -> bool:
    return True


def _of_whole(names: AbstractSet[str]) -> bool:
    """Whether names can be asked of the whole piece, whatever the subject."""
    return all(name.startswith(("piece.", "threshold.")) for name in names)


def _missing(piece: Piece) -> frozenset[Facet]:
    """Return the facets that are still to be chosen."""
    pattern, spec = piece.pattern, piece.spec
    if pattern is None:
        return frozenset({("pattern", "")})
    monogram, fixings = spec.monogram, pattern.fixings
    whole = {
        "thread": piece.thread is None,
        "edge": piece.edge is None,
        "hardware": any(fixing.required and slot not in piece.hardware for slot, fixing in fixings.items()),
        "sizes": any(size not in spec.sizes_um for size in pattern.sizes),
        "purpose": piece.bearing
        and (piece.use is None or (pattern.load.scales_with_dog and spec.purpose.dog_kg is None)),
        "monogram": monogram is not None
        and (
            monogram.method is None
            or piece.typeface is None
            or piece.zone is None
            or (monogram.method == "foil" and piece.foil is None)
        ),
    }
    found: set[Facet] = {(read, "") for read, is_missing in whole.items() if is_missing}
    for code, part in piece.parts.items():
        if part.leather is None:
            found |= {(read, code) for read in BY_PART}
    if monogram is not None and piece.typeface is None:
        found.add(("typeface", ""))
    return frozenset(found)
