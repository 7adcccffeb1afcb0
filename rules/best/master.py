"""The choice among wishes in whole numbers: what it may take, what was ruled out, and the solver's word on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import gcd
from typing import TYPE_CHECKING, Any, Final

from rules.best.loads import Limit, Load, Problem, Thing, total_of

if TYPE_CHECKING:
    from rules.best.prices import Prices

Pick = tuple[int, int]
"""Place of a group, and of a choice in it."""
Picks = dict[Pick, int]
"""How many rows of a group take a choice; none that is zero."""


@dataclass(frozen=True, slots=True)
class Cover:
    """Panels of one lot that do not lie together: of one of the sets there must be no more than so many.

    ``proven`` is False where no layout was found but there may be one.
    """

    parts: tuple[tuple[frozenset[Thing], int], ...]
    proven: bool

    def broken_by(self, load: Load) -> bool:
        """Whether a load has more of every set of panels."""
        return all(sum(load.get(thing, 0) for thing in things) > most for things, most in self.parts)


@dataclass(frozen=True, slots=True)
class Bar:
    """Picks that cannot all be made, though no limit says so: one must be taken less often. Never proven."""

    picks: tuple[tuple[Pick, int], ...]

    def broken_by(self, picks: Mapping[Pick, int]) -> bool:
        """Whether all are made."""
        return all(picks.get(pick, 0) >= count for pick, count in self.picks)


@dataclass(frozen=True, slots=True)
class Answer:
    """What the solver said: picks, or None; a bound on the value; whether nothing keeps the limits; its work.

    ``work`` is in the solver's own deterministic seconds.
    """

    picks: Picks | None
    bound: int
    impossible: bool
    work: float


class Master:
    """A problem with all that was learned about it: ``limits`` are proven, ``covers`` partly, ``bars`` are not."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.limits: list[Limit] = list(problem.limits)
        self.covers: list[Cover] = []
        self.bars: list[Bar] = []
        self.values = [group.value for group in problem.groups]
        #: Every value is a multiple: totals end on price points.
        self.step: Final = gcd(*self.values) or 1

    @property
    def most(self) -> int:
        """Return the value of all rows together."""
        return sum(group.value * len(group.rows) for group in self.problem.groups)

    @property
    def proofs(self) -> int:
        """Return how many limits and covers are proven."""
        return len(self.limits) + sum(cover.proven for cover in self.covers)

    def load_of(self, picks: Mapping[Pick, int]) -> Load:
        """Return what picks take of scarce things."""
        groups = self.problem.groups
        return total_of(
            {thing: amount * count for thing, amount in groups[group].choices[choice].load.items()}
            for (group, choice), count in picks.items()
        )

    def value_of(self, picks: Mapping[Pick, int]) -> int:
        """Return what picks count."""
        return sum(self.values[group] * count for (group, _), count in picks.items())

    def keeps(self, picks: Mapping[Pick, int]) -> bool:
        """Whether picks keep every limit and nothing that was ruled out."""
        load = self.load_of(picks)
        broken = any(limit.broken_by(load) for limit in self.limits) or any(
            each.broken_by(load) for each in self.covers
        )
        return not broken and not any(bar.broken_by(picks) for bar in self.bars)

    def solve(self, at_least: int, limit: float, hint: Mapping[Pick, int], prices: Prices, *, tree: bool) -> Answer:
        """Solve for the most value by what is proven alone, or prove that so much cannot be reached.

        Rows whose options are not all known may be taken at no cost, so that the bound is true.

        Args:
            at_least: Least value; the nearer to the bound, the sooner it is proven out of reach.
            limit: Deterministic seconds at most.
            hint: A choice to begin with.
            prices: Shadow prices of the limits; what cannot be part of a choice of the least value is left out.
            tree: Whether to search by the bounds of a tree of linear programs, else by conflicts.
        """
        return _Model(self, at_least, prices).solve(limit, hint, tree=tree)


class _Model:
    """The problem as OR-Tools CP-SAT takes it, made anew each time: cuts are many and the model is small."""

    def __init__(self, master: Master, at_least: int, prices: Prices) -> None:
        from ortools.sat.python import cp_model

        self._cp: Any = cp_model
        self._model: Any = cp_model.CpModel()
        self._master = master
        self._vars: dict[Pick, Any] = {}
        self._used: dict[Thing, list[tuple[int, Any]]] = {}
        self._flags: dict[tuple[frozenset[Thing], int], Any] = {}
        self._gains: list[tuple[int, Any]] = []
        for place in range(len(master.problem.groups)):
            self._take(place, at_least, prices)
        for limit in master.limits:
            terms = [(weight * each, var) for thing, weight in limit.weights.items() for each, var in self._uses(thing)]
            if terms:
                self._model.add(self._sum(terms) <= limit.most)
        for cover in master.covers:
            if cover.proven:
                self._model.add_bool_or([self._flag(things, most) for things, most in cover.parts])
        value = self._sum([(gain // master.step, var) for gain, var in self._gains])
        self._model.add(value >= -(-at_least // master.step))
        self._model.maximize(value)

    def _uses(self, thing: Thing) -> Sequence[tuple[int, Any]]:
        return self._used.get(thing, ())

    def _sum(self, terms: Sequence[tuple[int, Any]]) -> Any:
        return self._cp.LinearExpr.weighted_sum([var for _, var in terms], [each for each, _ in terms])

    def _take(self, place: int, at_least: int, prices: Prices) -> None:
        group = self._master.problem.groups[place]
        rows, own = len(group.rows), []
        for at, choice in enumerate(group.choices):
            if prices.bound_with((place, at)) < at_least:
                continue
            var = self._vars[place, at] = self._model.new_int_var(0, rows, "")
            own.append(var)
            for thing, amount in choice.load.items():
                self._used.setdefault(thing, []).append((amount, var))
        if not group.whole:
            own.append(self._model.new_int_var(0, rows, ""))
        self._gains += [(group.value, var) for var in own]
        forced = sum(prices.bound_without(place, without) < at_least for without in range(1, rows + 1))
        self._model.add_linear_constraint(self._sum([(1, var) for var in own]), forced, rows)

    def _flag(self, things: frozenset[Thing], most: int) -> Any:
        """Return a truth that holds a set of panels to a number."""
        if (things, most) not in self._flags:
            flag = self._flags[things, most] = self._model.new_bool_var("")
            terms = [each for thing in sorted(things) for each in self._uses(thing)]
            self._model.add(self._sum(terms) <= most).only_enforce_if(flag)
        return self._flags[things, most]

    def solve(self, limit: float, hint: Mapping[Pick, int], *, tree: bool) -> Answer:
        solver = self._cp.CpSolver()
        # One worker and a fixed seed: the same answer each time.
        solver.parameters.num_workers = 1
        solver.parameters.linearization_level = 2
        solver.parameters.random_seed = 1
        solver.parameters.optimize_with_lb_tree_search = tree
        solver.parameters.max_deterministic_time = limit
        for pick, var in self._vars.items():
            self._model.add_hint(var, hint.get(pick, 0))
        status = solver.solve(self._model)
        work = solver.response_proto.deterministic_time
        if status == self._cp.INFEASIBLE:
            return Answer(None, 0, impossible=True, work=work)
        if status not in {self._cp.OPTIMAL, self._cp.FEASIBLE}:
            return Answer(None, self._master.most, impossible=False, work=work)
        # The solver gives whole numbers as floats, exact below 2**53.
        bound = round(solver.best_objective_bound) * self._master.step
        picks = {pick: int(solver.value(var)) for pick, var in self._vars.items() if solver.value(var)}
        return Answer(picks, bound, impossible=False, work=work)
