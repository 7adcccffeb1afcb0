"""Which rules can ever have a word on a pattern: told from the pattern alone, whatever is chosen.

A rule is left out only where that is certain: its subject has nothing there that it could be judged over, or a
condition or figure that follows from the pattern alone is not met. What hangs on a choice counts as possible.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from typing import Final

from catalog.model import Catalog, Lot, Pattern
from rules.case import Case
from rules.cells import facets_read
from rules.ir import AllOf, Clause, Limit, Rule, Term, names_in, names_of
from rules.judge import Reader, condition_of, judge_of, term_of
from rules.shop import Shop
from rules.spec import (
    Blade,
    BusinessCardsAsked,
    Carry,
    CutThen,
    LotThen,
    Monogram,
    NoteAsked,
    PartChoice,
    Repeated,
    Spec,
)
from rules.subjects import Instance, Whole
from rules.themes import known_good
from rules.vocabulary import SUBJECTS, TERMS

#: No figure that follows from a pattern alone depends on the day.
_NO_DAY: Final = date.min
#: What a pattern that offers none of it never has, whatever a spec names.
_ONLY_IF_OFFERED: Final = {"sizes": "sizes", "hardware": "fixings"}


def rules_for(shop: Shop, pattern: Pattern) -> frozenset[str]:
    """Return the ids of the rules that can apply to a pattern."""
    probe = _probe(shop, pattern)
    return frozenset(rule.id for rule in shop.book.rules.values() if _can_apply(rule, probe))


def _can_apply(rule: Rule, probe: Case) -> bool:
    clauses = [clause for clause in rule.clauses if clause.stage == "check"]
    if len(clauses) < len(rule.clauses):
        return True  # what is judged later, or of the data, no spec tells
    instances = list(SUBJECTS[rule.subject].instances(probe))
    return any(_open(clause, rule, instance) for clause in clauses for instance in instances)


def _open(clause: Clause, rule: Rule, instance: Instance) -> bool:
    """Whether a clause may still have a word on an instance, as far as the pattern alone tells."""
    sees = _Fixed(rule.subject, instance)
    for condition in clause.when.conditions:
        if sees.tells(names_of(condition)) and condition_of(condition, sees.reader)(instance) is not True:
            return False
    bare = replace(clause, when=AllOf(()))
    if sees.tells(names_in(replace(rule, clauses=(bare,)))):
        return judge_of(replace(rule, clauses=(bare,)), sees.reader)(instance) is not None
    if isinstance(clause.verb, Limit):
        terms = [clause.verb.term, *(step.limit for step in clause.verb.steps), clause.verb.upper]
        return all(sees.may_be_known(term, rule, instance) for term in terms if term is not None)
    return True


class _Fixed:
    """What of an instance follows from the pattern alone."""

    def __init__(self, subject: str, instance: Instance) -> None:
        self._subject = subject
        self._parts = instance.parts
        self._piece = instance.case.piece

    def reader(self, name: str) -> Reader:
        """Return a function from an instance to a name's value."""
        if name.startswith("threshold."):
            value = self._piece.threshold(name.removeprefix("threshold."))
            return lambda _: value
        measure = TERMS[name].measure
        if name.startswith("piece.") and self._subject != "piece":
            return lambda instance: measure(Whole(instance.case))
        return measure

    def tells(self, names: frozenset[str]) -> bool:
        """Whether the values of all these names follow from the pattern."""
        return all(name.startswith("threshold.") or not self._chosen(name) for name in names)

    def may_be_known(self, term: Term, rule: Rule, instance: Instance) -> bool:
        """Whether a figure is known, or hangs on something chosen."""
        bound = Limit(term, "max", ())
        names = names_in(replace(rule, clauses=(Clause(AllOf(()), bound),)))
        return not self.tells(names) or term_of(term, self.reader)(instance) is not None

    def _chosen(self, name: str) -> set[str]:
        pattern = self._piece.pattern
        read = {facet for facet, _ in facets_read(name, self._subject, self._parts, tuple(self._piece.parts))}
        never = {facet for facet, field in _ONLY_IF_OFFERED.items() if not getattr(pattern, field)}
        return read - never


def _probe(shop: Shop, pattern: Pattern) -> Case:
    """Return a case in which everything is asked for that a pattern can be asked for."""
    catalog = shop.catalog
    piece = shop.piece(_all_asked(catalog, pattern))
    lots = {part.code: tuple(_lots(catalog, part.leather.code)) for part in piece.parts.values() if part.leather}
    return Case(piece, lots, shop.warehouse, _NO_DAY)


def _lots(catalog: Catalog, leather: str) -> Iterator[Lot]:
    """Give the first lot of a leather; of one that has none, another's, only for the panels to be there."""
    for lot in (*catalog.lots_of(leather), *catalog.lots.values()):
        yield lot
        return


def _all_asked(catalog: Catalog, pattern: Pattern) -> Spec:
    faces, items = list(catalog.typefaces.values()), catalog.carry_items.values()
    notes = tuple(NoteAsked(item.code) for item in items if item.group == "note")
    cards = [BusinessCardsAsked(item.code) for item in items if item.group == "business_card"]
    hardware = {
        slot: next((code for code, noun in catalog.hardware.items() if noun.type in fixing.types), "")
        for slot, fixing in pattern.fixings.items()
    }
    spec = known_good(pattern)
    leathers = PartChoice(next(iter(catalog.leathers)))  # for a part without a default: one is chosen in the end
    spec = replace(spec, parts=dict.fromkeys(pattern.parts, leathers) | dict(spec.parts))
    drifts = {part: CutThen(asked.leather or "", "grain", (LotThen("", 0),)) for part, asked in spec.parts.items()}
    return replace(
        spec,
        hardware=hardware | dict(spec.hardware),
        monogram=Monogram("A", faces[0].methods[0], faces[0].code, next(iter(pattern.zones), None)) if faces else None,
        modifications=pattern.modifications,
        carry=Carry(1, notes, cards[0] if cards else None, passport=True, blade=Blade(1_000, 1_000, 1_000)),
        purpose=replace(spec.purpose, claims=tuple(catalog.claims)),
        repeat_of="o0",
        repeats=Repeated("o0", drifts),
    )
