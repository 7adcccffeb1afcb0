"""What the exact audits hold fixed, how many specs they cover, and shops with some of the rules alone.

An exact audit goes through every spec of the slots of a pattern (:mod:`rules.guide.domain`), lots too. What is no slot
is held as a plain order has it, or as a spec has it that a rule spoke of.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from datetime import date
from math import prod
from typing import Any, Final

from catalog.model import Pattern
from rules.diagram.constraint import TooEntangledError
from rules.guide.counts import groups_of
from rules.guide.domain import WHOLE, Domain
from rules.guide.situation import Situation, situation_of
from rules.ir import Graded, Limit, Rule, Verb, names_in
from rules.shop import Shop
from rules.spec import Monogram, Spec
from rules.vocabulary import BY_PART, SAME_FOR_ALL, SUBJECTS, TERMS

#: What every spec of an exact audit has in common, in words.
HELD: Final = (
    "Held fixed: one piece, nothing carried, no rush, no destination, a monogram of one letter, the lightest dog, "
    "sizes of a range at its ends and as usual, lots as the catalog says."
)
_LETTER: Final = "A"
#: Fields of a spec that are no slots: what a rule may hang on beside them.
_FACTS: Final = (
    "carry", "purpose", "quantity", "ship_to", "rush", "ready_by", "repeat_of", "repeats", "catalog_revision",
    "marks_ok", "mixed_metals_ok", "note",
)  # fmt: skip


def proof_over(specs: int) -> str:
    """Return the words for a proof that covers so many specs."""
    return f"exhaustive over {specs} specs"


def plain(pattern: Pattern) -> Spec:
    """Return an order of a pattern with nothing chosen and nothing said beside."""
    return Spec(pattern.code)


def facts_of(pattern: Pattern, spec: Spec | None = None) -> Spec:
    """Return an order with nothing chosen, but what a spec says beside its choices, its letters among it."""
    if spec is None:
        return Spec(pattern.code, monogram=Monogram(_LETTER))
    said: dict[str, Any] = {name: getattr(spec, name) for name in _FACTS}
    text = _LETTER if spec.monogram is None else spec.monogram.text
    return Spec(pattern.code, monogram=Monogram(text), **said)


def specs_in(domain: Domain) -> int:
    """Return how many specs the slots of a domain have, lots not told apart."""
    return prod(int(groups_of(slot).max()) + 1 for slot in domain.slots)


def spec_of(situation: Situation, values: Iterable[int]) -> Spec:
    """Return the spec of a value for each slot, its lots named."""
    chosen = dict(enumerate(values))
    lots = {part: tuple(lot.code for lot in own) for part, own in situation.domain.lots(chosen).items() if own}
    return replace(situation.domain.spec(chosen), lots=lots)


class SomeRules:
    """Shops with some of the rules of a book, on a day, and what stands between choices there."""

    def __init__(self, shop: Shop, today: date) -> None:
        self._shop = shop
        self._today = today
        self._shops: dict[frozenset[str], Shop] = {}

    def situation(self, rules: Collection[str], base: Spec) -> Situation:
        """Return what stands between choices under some rules, where an order has the facts of ``base``.

        Raises:
            TooEntangledError: a rule reads more than can be looked at, or a leather has too many lots.
        """
        return _whole(situation_of(self._shop_of(frozenset(rules)), base, self._today))

    def harsh(self, rule: str, base: Spec) -> Situation:
        """Return what one rule says, as if it refused whatever it speaks of. Raises as :meth:`situation`."""
        key = frozenset({_HARSH, rule})
        if key not in self._shops:
            self._shops[key] = self._with({rule: _harsh(self._shop.book.rules[rule])})
        return _whole(situation_of(self._shops[key], base, self._today))

    def _shop_of(self, rules: frozenset[str]) -> Shop:
        if rules not in self._shops:
            self._shops[rules] = self._with({code: self._shop.book.rules[code] for code in sorted(rules)})
        return self._shops[rules]

    def _with(self, rules: Mapping[str, Rule]) -> Shop:
        book = replace(self._shop.book, rules=rules)
        return replace(self._shop, book=book, _judges={}, stages={}, guides={})


def _whole(situation: Situation) -> Situation:
    if not situation.whole:
        raise TooEntangledError(situation.domain.pattern.code)
    return situation


def _harsh(rule: Rule) -> Rule:
    return replace(rule, clauses=tuple(replace(each, verb=_harsh_verb(each.verb)) for each in rule.clauses))


def _harsh_verb(verb: Verb) -> Verb:
    match verb:
        case Limit(steps=steps):
            return replace(verb, steps=tuple(replace(each, severity="refuse") for each in steps))
        case Graded(levels=levels):
            return replace(verb, levels=tuple((level, "refuse" if said else None) for level, said in levels))
        case _:
            return replace(verb, severity="refuse")


def hangs_on_facts(rule: Rule) -> bool:
    """Return whether what a rule says hangs on more of an order than its choices, or than what is the same for all."""
    names = [name for name in names_in(rule) if not name.startswith("threshold.")]
    reads = frozenset[str]().union(
        *(TERMS[name].reads for name in names), *(lister.reads for lister in SUBJECTS[rule.subject].listers)
    )
    return not reads <= _CHOICES


_HARSH: Final = "harsh"
#: What a rule may read of choices, and of what is the same for all specs. What a strap is for is more than its use.
_CHOICES: Final = {*BY_PART, *WHOLE, *SAME_FOR_ALL} - {"purpose"}
