"""Good choices soon: a mixed-integer program in floats that weighs value against how hard it is to lay out.

A proposal proves nothing. It is checked in whole numbers and lot by lot before it is believed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

from rules.best.loads import Cut, Limit, Load, Thing, counts_in
from rules.best.master import Bar, Cover, Master, Pick, Picks
from rules.best.prices import Prices

#: Strain: thousandths of a lot's rectangles, what each counts more from how full on, and what a sign-off counts.
FULL: Final = 1000
STEEP: Final = ((700, 1), (780, 2), (850, 5), (900, 20), (930, 60), (960, 200))
SIGN_OFF: Final = 20
#: Choices of one group that a proposal is made of.
MOST_CHOICES: Final = 8
#: A step of the solver takes as long as so many variables and those that there are.
_FEW: Final = 370
NO_CAPS: Final[Mapping[str, int]] = {}


def propose(
    master: Master,
    prices: Prices,
    *,
    worth: float,
    nodes: int,
    milliseconds: int,
    hint: Mapping[Pick, int],
    free: frozenset[int] | None = None,
    at_least: int = 0,
    caps: Mapping[str, int] = NO_CAPS,
) -> tuple[Picks | None, int]:
    """Return a choice of much value and little strain, or None; and the work, as steps times variables.

    Args:
        master: The problem with all that was learned.
        prices: Shadow prices of its limits; what cannot be part of a choice of the least value is left out.
        worth: Strain that the value of one average row makes up for.
        nodes: Nodes of the solver's tree at most.
        milliseconds: Time at most; reached, the answer may depend on the machine.
        hint: A choice to begin with.
        free: Groups that are chosen anew, all others stay as hinted; None for all.
        at_least: Least value.
        caps: Area of panels with their gaps that may be asked of a lot, square micrometers, where it was too much.
    """
    return _Program(master, prices, worth, hint, free, at_least, caps).solve(nodes, milliseconds)


class _Program:
    def __init__(
        self, master: Master, prices: Prices, worth: float, hint: Mapping[Pick, int], free: frozenset[int] | None,
        at_least: int, caps: Mapping[str, int],
    ) -> None:  # fmt: skip
        from ortools.linear_solver import pywraplp  # type: ignore[import-untyped]  # it has no stubs

        self._lp: Any = pywraplp
        self._solver: Any = pywraplp.Solver.CreateSolver("SCIP")
        self._master = master
        self._hint = hint
        groups = master.problem.groups
        self._places = range(len(groups)) if free is None else sorted(free)
        self._kept: Picks = {} if free is None else {pick: count for pick, count in hint.items() if pick[0] not in free}
        self._load: Load = master.load_of(self._kept)
        self._vars: dict[Pick, Any] = {}
        self._used: dict[Thing, list[tuple[int, Any]]] = {}
        for g in self._places:
            own = self._solver.Constraint(-self._solver.infinity(), len(groups[g].rows))
            for c in self._worth_it(g, prices, at_least):
                choice = groups[g].choices[c]
                var = self._vars[g, c] = self._solver.IntVar(0, len(groups[g].rows), "")
                own.SetCoefficient(var, 1)
                for thing, amount in choice.load.items():
                    self._used.setdefault(thing, []).append((amount, var))
        for limit in master.limits:
            self._limit(limit)
        for cover in master.covers:
            self._cover(cover)
        for bar in master.bars:
            self._bar(bar)
        for code, most in caps.items():
            room = master.problem.rooms[code]
            self._limit(Limit({thing: room.net_um2(thing[1:]) for thing in self._cuts_at(code)}, most))
        every = sum(group.value * len(group.rows) for group in groups)
        scale = worth * sum(len(group.rows) for group in groups) / max(1, every)
        objective = self._solver.Objective()
        least = self._solver.Constraint(at_least - master.value_of(self._kept), self._solver.infinity())
        for (g, c), var in self._vars.items():
            least.SetCoefficient(var, groups[g].value)
            objective.SetCoefficient(var, scale * groups[g].value - SIGN_OFF * groups[g].choices[c].outcome)
        for code in sorted(master.problem.rooms):
            self._strain(code, objective)
        objective.SetMaximization()

    def _worth_it(self, group: int, prices: Prices, at_least: int) -> list[int]:
        """Return the choices of a group that gain most at the prices, and those of the hint."""
        gains = [(-prices.gain((group, c)), c) for c in range(len(self._master.problem.groups[group].choices))]
        hinted = {c for _, c in gains if self._hint.get((group, c))}
        best = {c for _, c in sorted(gains)[:MOST_CHOICES] if prices.bound_with((group, c)) >= at_least}
        return sorted(best | hinted)

    def _cuts_at(self, code: str) -> list[Cut]:
        return [thing for thing in self._used if isinstance(thing, Cut) and thing.lot == code]

    def _row(self, terms: Iterable[tuple[float, Any]], most: float) -> Any:
        row = self._solver.Constraint(-self._solver.infinity(), most)
        sums: dict[int, tuple[float, Any]] = {}
        for weight, var in terms:
            sums[var.index()] = (sums.get(var.index(), (0.0, var))[0] + weight, var)
        for weight, var in sums.values():
            row.SetCoefficient(var, weight)
        return row

    def _limit(self, limit: Limit) -> None:
        terms = [(w * each, var) for thing, w in limit.weights.items() for each, var in self._used.get(thing, ())]
        if terms:
            most = limit.most - sum(weight * self._load.get(thing, 0) for thing, weight in limit.weights.items())
            per = max(1, limit.most)
            self._row([(weight / per, var) for weight, var in terms], most / per)

    def _cover(self, cover: Cover) -> None:
        if not any(thing in self._used for things, _ in cover.parts for thing in things):
            return
        one = self._solver.Constraint(1, self._solver.infinity())
        for things, most in cover.parts:
            terms = [each for thing in sorted(things) for each in self._used.get(thing, ())]
            there = sum(self._load.get(thing, 0) for thing in things)
            beyond = there - most + sum(each * var.ub() for each, var in terms)
            flag = self._solver.IntVar(0, 1, "")
            one.SetCoefficient(flag, 1)
            if beyond > 0:
                self._row([*((float(each), var) for each, var in terms), (beyond, flag)], most - there + beyond)

    def _strain(self, code: str, objective: Any) -> None:
        room = self._master.problem.rooms[code]
        own = [
            (FULL * room.net_um2(thing[1:]) * each / room.rects_um2, var)
            for thing in self._cuts_at(code)
            for each, var in self._used[thing]
        ]
        if not own:
            return
        there = room.rects_um2 - room.by_rects_um2
        there += sum(room.net_um2(size) * count for size, count in counts_in(code, self._load).items())
        full = self._solver.NumVar(0, self._solver.infinity(), "")
        self._row([*own, (-1.0, full)], -FULL * there / room.rects_um2)
        for from_, weight in STEEP:
            over = self._solver.NumVar(0, self._solver.infinity(), "")
            self._row([(1.0, full), (-1.0, over)], from_)
            objective.SetCoefficient(over, -weight)

    def _bar(self, bar: Bar) -> None:
        if any(pick not in self._vars and self._kept.get(pick, 0) < count for pick, count in bar.picks):
            return
        one = self._solver.Constraint(1, self._solver.infinity())
        for pick, count in bar.picks:
            if pick in self._vars:
                var, flag = self._vars[pick], self._solver.IntVar(0, 1, "")
                one.SetCoefficient(flag, 1)
                self._row([(1.0, var), (var.ub(), flag)], count - 1 + var.ub())

    def solve(self, nodes: int, milliseconds: int) -> tuple[Picks | None, int]:
        self._solver.SetSolverSpecificParametersAsString(f"limits/nodes = {nodes}\nlimits/gap = 0.002\n")
        self._solver.SetTimeLimit(max(1, milliseconds))
        order = list(self._vars)
        self._solver.SetHint([self._vars[pick] for pick in order], [self._hint.get(pick, 0) for pick in order])
        status = self._solver.Solve()
        steps = self._solver.iterations() * (_FEW + len(self._vars))
        if status not in {self._solver.OPTIMAL, self._solver.FEASIBLE}:
            return None, steps
        found = {pick: round(var.solution_value()) for pick, var in self._vars.items()}
        picks = {**self._kept, **{pick: count for pick, count in found.items() if count > 0}}
        return (picks if self._master.keeps(picks) else None), steps
