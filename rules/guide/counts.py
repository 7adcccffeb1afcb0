"""How many specs there are: lots are not told apart, for a spec does not say them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rules.diagram.constraint import Allowed, Bools
from rules.diagram.diagram import Diagram
from rules.guide.domain import Domain, Slot
from rules.guide.judged import coded


class Specs:
    """A diagram over specs: values of a part that differ in lots alone are one."""

    def __init__(self, domain: Domain, diagram: Diagram, alive: Allowed) -> None:
        self._groups = [groups_of(slot) for slot in domain.slots]
        self._diagram = diagram.conjoined([], allow=alive).merged(self._groups)

    def count(self, left: Allowed) -> Counts:
        """Return how many specs there are within what is left of each slot, and through each value."""
        allow = [
            np.bincount(groups, weights=own, minlength=int(groups.max()) + 1) > 0
            for groups, own in zip(self._groups, left, strict=True)
        ]
        total, through = self._diagram.count(allow)
        return Counts(total, through, self._groups)


class Counts:
    """How many specs there are in all (``total``), and through values."""

    def __init__(self, total: int, through: list[list[int]], groups: list[NDArray[np.intp]]) -> None:
        self.total = total
        self._through = through
        self._groups = groups

    def of(self, slot: int, values: Bools) -> int:
        """Return the number of specs through any of some values of a slot."""
        if not self._through or not self._through[slot]:
            return 0
        return sum(self._through[slot][group] for group in np.unique(self._groups[slot][values]).tolist())


def groups_of(slot: Slot) -> NDArray[np.intp]:
    """Return for each value of a slot the number of what a spec says of it: lots are not told apart."""
    keys = [(value.leather, value.side) if slot.read == "part" else (value,) for value in slot.values]
    return coded(keys)[0]
