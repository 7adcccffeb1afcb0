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
from rules.guide.counts import groups_of
from rules.guide.domain import Domain
from rules.guide.situation import Situation, situation_of
from rules.shop import Shop
from rules.spec import Monogram, Spec

#: What every spec of an exact audit has in common, in words.
HELD: Final = (
    "Held fixed: one piece, nothing carried, no rush, no destination, a monogram of one letter, sizes of a range at "
    "its ends and as usual, lots as the catalog says."
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
    """Return the spec of a value for each slot."""
    return situation.domain.spec(dict(enumerate(values)))


class SomeRules:
    """Shops with some of the rules of a book, on a day, and what stands between choices there."""

    def __init__(self, shop: Shop, today: date) -> None:
        self._shop = shop
        self._today = today
        self._shops: dict[frozenset[str], Shop] = {}

    def situation(self, rules: Collection[str], base: Spec) -> Situation:
        """Return what stands between choices under some rules, where an order has the facts of ``base``.

        Raises:
            TooManySetsError: a leather has too many lots.
            TooEntangledError: a rule reads more than can be looked at.
        """
        return situation_of(self._shop_of(frozenset(rules)), base, self._today)

    def without(self, rule: str, base: Spec) -> Situation:
        """Return what stands between choices under all rules but one. Raises as :meth:`situation`."""
        return self.situation(self._shop.book.rules.keys() - {rule}, base)

    def _shop_of(self, rules: frozenset[str]) -> Shop:
        if rules not in self._shops:
            own: Mapping[str, Any] = {code: rule for code, rule in self._shop.book.rules.items() if code in rules}
            book = replace(self._shop.book, rules=own)
            self._shops[rules] = replace(self._shop, book=book, _judges={}, stages={}, guides={})
        return self._shops[rules]
