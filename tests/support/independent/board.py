"""One choice for each slot, and what may not stand together, as a CP-SAT model."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from fractions import Fraction
from math import floor, lcm
from typing import Any

from ortools.sat.python import cp_model

Term = tuple[int | Fraction, Any]


class Board:
    """Slots with their values; exactly one value of each slot holds.

    ``dead`` says why nothing can hold, where that is known without a search.
    """

    def __init__(self) -> None:
        self.model = cp_model.CpModel()
        self.slots: dict[str, dict[Any, Any]] = {}
        self.dead: str | None = None
        self._tautology: Any = None

    def choose(self, slot: str, values: Iterable[Any]) -> Mapping[Any, Any]:
        """Add a slot; return the variable of each value."""
        made = {value: self.model.new_bool_var("") for value in values}
        self.slots[slot] = made
        if made:
            self.model.add_exactly_one(made.values())
        else:
            self.dead = self.dead or f"nothing is left for {slot}"
        return made

    def where(self, slot: str, test: Callable[[Any], bool]) -> list[Any]:
        """Return the variables of a slot's values that a test names; none where there is no such slot."""
        return [var for value, var in self.slots.get(slot, {}).items() if test(value)]

    def any_of(self, lits: Sequence[Any]) -> Any:
        """Return a variable that is true just where one of some values of one slot holds."""
        if len(lits) == 1:
            return lits[0]
        one = self.model.new_bool_var("")
        self.model.add(sum(lits) == one)
        return one

    def at_most(self, terms: Iterable[Term], bound: int | Fraction, when: Sequence[Any] = ()) -> None:
        """Ask that a sum of figures, each where its variable holds, is no more than a bound.

        Exact: everything is multiplied by what makes it whole. ``when`` are the variables under which it is asked.
        """
        listed = [(Fraction(figure), var) for figure, var in terms if figure]
        scale = lcm(*(figure.denominator for figure, _ in listed))
        figures = [int(figure * scale) for figure, _ in listed]
        most = floor(Fraction(bound) * scale)
        if sum(figure for figure in figures if figure > 0) <= most:
            return
        made = self.model.add(cp_model.LinearExpr.weighted_sum([var for _, var in listed], figures) <= most)
        if when:
            made.only_enforce_if(when)

    def never(self, *groups: Sequence[Any]) -> None:
        """Ask that never one variable of each group holds; the variables of a group exclude each other."""
        if not all(groups):
            return
        if all(len(group) == 1 for group in groups):
            self.model.add_bool_or([group[0].negated() for group in groups])
        else:
            self.model.add(cp_model.LinearExpr.sum([var for group in groups for var in group]) <= len(groups) - 1)

    def bar(self, lits: Iterable[Any]) -> None:
        """Ask that none of these holds."""
        for var in lits:
            self.model.add(var == 0)
