"""Shadow prices of what is scarce: a bound that holds at once, and which picks can be part of something better.

The prices come from a linear program in floats; any prices give a true bound (weak duality), so they are rounded
to whole numbers and the bound is worked out from those exactly.
"""

from __future__ import annotations

from typing import Any, Final

from rules.best.master import Master, Pick

#: Prices are whole numbers of this share of a unit of value for each unit of a limit.
_PER_UNIT: Final = 10**15


class Prices:
    """Prices of the limits of a master problem as it stands."""

    def __init__(self, master: Master) -> None:
        """Solve the linear program and round its prices down."""
        groups = master.problem.groups
        uses: dict[Pick, list[tuple[int, int]]] = {
            (g, c): [] for g, group in enumerate(groups) for c in range(len(group.choices))
        }
        prices = _priced(master)
        for place, (weights, price) in enumerate(zip((limit.weights for limit in master.limits), prices, strict=True)):
            if price:
                for (g, c), own in uses.items():
                    amount = sum(weights.get(thing, 0) * each for thing, each in groups[g].choices[c].load.items())
                    if amount:
                        own.append((place, amount))
        self._gain = {
            (g, c): groups[g].value * _PER_UNIT - sum(prices[place] * amount for place, amount in own)
            for (g, c), own in uses.items()
        }
        self._best = [
            max([0, *(self._gain[g, c] for c in range(len(group.choices)))]) if group.whole else group.value * _PER_UNIT
            for g, group in enumerate(groups)
        ]
        self._bound = sum(price * max(0, limit.most) for price, limit in zip(prices, master.limits, strict=True))
        self._bound += sum(best * len(group.rows) for best, group in zip(self._best, groups, strict=True))

    @property
    def bound(self) -> int:
        """Return what no choice counts more than."""
        return self._bound // _PER_UNIT

    def gain(self, pick: Pick) -> int:
        """Return what a pick is worth beyond what it takes at these prices, in a unit of our own."""
        return self._gain[pick]

    def bound_with(self, pick: Pick) -> int:
        """Return what no choice counts more than in which a pick is made at least once."""
        return (self._bound - self._best[pick[0]] + self._gain[pick]) // _PER_UNIT

    def bound_without(self, group: int, rows: int) -> int:
        """Return what no choice counts more than in which at most so many rows of a group are made."""
        return (self._bound - self._best[group] * rows) // _PER_UNIT


def _priced(master: Master) -> list[int]:
    from ortools.linear_solver import pywraplp  # type: ignore[import-untyped]  # it has no stubs

    solver: Any = pywraplp.Solver.CreateSolver("GLOP")
    groups = master.problem.groups
    rows = [solver.Constraint(-solver.infinity(), 1.0 if limit.most > 0 else 0.0) for limit in master.limits]
    by_thing: dict[Any, list[tuple[int, float]]] = {}
    for place, limit in enumerate(master.limits):
        for thing, weight in limit.weights.items():
            # As shares of the limit: figures of one size suit a solver in floats.
            by_thing.setdefault(thing, []).append((place, weight / max(1, limit.most)))
    objective = solver.Objective()
    for group in groups:
        own = solver.Constraint(-solver.infinity(), len(group.rows))
        for choice in group.choices:
            var = solver.NumVar(0, solver.infinity(), "")
            own.SetCoefficient(var, 1)
            objective.SetCoefficient(var, group.value)
            amounts: dict[int, float] = {}
            for thing, amount in choice.load.items():
                for place, share in by_thing.get(thing, ()):
                    amounts[place] = amounts.get(place, 0) + share * amount
            for place, share in amounts.items():
                rows[place].SetCoefficient(var, share)
    objective.SetMaximization()
    if solver.Solve() != solver.OPTIMAL:
        return [0] * len(rows)
    return [
        max(0, int(row.dual_value() * _PER_UNIT)) // max(1, limit.most)
        for row, limit in zip(rows, master.limits, strict=True)
    ]
