"""Where not every way of taking lots can be looked at beforehand: specs are found, judged, and ruled out one by one.

Clauses know of the lots of each leather only what pairs of parts say (counterexample-guided refinement; Clarke,
Grumberg, Jha, Lu and Veith, 2000, cited from memory). What they find is judged by the leather rules as a check does;
what is refused is forbidden from then on, for all who ask later.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from rules.diagram.clauses import Clauses
from rules.diagram.constraint import Allowed, Bools, TooEntangledError
from rules.facets import lots_value
from rules.guide.domain import Domain
from rules.guide.stocked import Stocked

#: Specs that are judged for one answer.
MOST_JUDGED: Final = 5_000


class Verified:
    """What clauses find possible and the leather rules let stand."""

    def __init__(self, domain: Domain, clauses: Clauses, stocked: Stocked, level: int) -> None:
        self._domain = domain
        self._clauses = clauses
        self._stocked = stocked
        self._level = level
        self._judged = 0
        self._parts = [number for number, slot in enumerate(domain.slots) if slot.read == "part"]
        self._sizes = [number for number, slot in enumerate(domain.slots) if slot.read == "sizes"]

    def possible(self, allow: Allowed, alive: Allowed) -> tuple[bool, Allowed]:
        """Return whether anything may stand, and of each value whether it may while the *other* slots are as allowed.

        Raises:
            TooEntangledError: too many specs would have to be judged.
        """
        seen = [np.zeros(len(truths), dtype=bool) for truths in allow]
        inside = False
        for slot, truths in enumerate(allow):
            for value in np.flatnonzero(alive[slot] & ~seen[slot]).tolist():
                if seen[slot][value]:
                    continue
                only = np.arange(len(truths)) == value
                found = self._witness([*allow[:slot], only, *allow[slot + 1 :]])
                if found is None:
                    continue
                seen[slot][value] = True
                if truths[value]:
                    inside = True
                    for other, own in enumerate(found):
                        seen[other][own] = True
        return inside, seen

    def _witness(self, allow: Allowed) -> tuple[int, ...] | None:
        """Return a spec, a value for each slot, that the leather rules let stand, or None where there is none."""
        while (found := self._clauses.witness(allow)) is not None:
            self._judged += 1
            if self._judged > MOST_JUDGED:
                raise TooEntangledError("lots")
            at_fault = self._at_fault(found)
            if at_fault is None:
                return found
            rule, slots = at_fault
            self._clauses.forbid(rule, {slot: self._same_lots(slot, found[slot]) for slot in slots})
        return None

    def _at_fault(self, values: tuple[int, ...]) -> tuple[str, list[int]] | None:
        """Return a leather rule that a spec breaks, and the slots whose values are at fault."""
        by_leather: dict[str, list[int]] = {}
        for slot in self._parts:
            by_leather.setdefault(self._domain.slots[slot].values[values[slot]].leather, []).append(slot)
        for slots in by_leather.values():
            chosen = [*slots, *self._sizes]
            for rule, bad in self._stocked.said({slot: values[slot] for slot in chosen}):
                if bad >= self._level:
                    return rule, chosen
        return None

    def _same_lots(self, slot: int, place: int) -> Bools:
        """Return the values of a slot that take the same lots, or that are the same size."""
        values = self._domain.slots[slot].values
        if slot in self._sizes:
            return np.array([other == place for other in range(len(values))], dtype=bool)
        own = lots_value(values[place].lots)
        return np.array([lots_value(value.lots) == own for value in values], dtype=bool)
