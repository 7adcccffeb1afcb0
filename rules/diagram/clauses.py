"""What may stand together, asked of a SAT solver: exact however entangled the constraints are.

Slower than a diagram for all values at once, and without prices; but it can leave constraints out, so it can tell which
of them are at work. The solver is CaDiCaL (Biere and others, 2020), used through PySAT (Ignatiev, Morgado and
Marques-Silva, "PySAT: a Python toolkit for prototyping with SAT oracles", 2018). Of those tried it was the fastest.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Mapping, Sequence
from dataclasses import dataclass
from threading import Lock
from types import TracebackType
from typing import Self

import numpy as np
from pysat.solvers import Solver  # type: ignore[import-untyped]  # it has no stubs

from rules.diagram.constraint import Allowed, Bools, Constraint
from rules.diagram.wording import Wording

_SOLVER = "cadical195"
_MOST_STEPS = 2_000_000


@dataclass(frozen=True, eq=False)
class Core:
    """Labels, and closed values, that together leave nothing that may stand; not always the fewest."""

    labels: tuple[Hashable, ...]
    closed: Allowed


class Questions:
    """Some of the constraints of a problem, ready to be asked about. Made by :class:`Clauses`.

    ``allow`` is always one array of truths a slot, as long as the slot has values. Threads may share it: a question
    waits until the one before is answered. After :meth:`Clauses.close` a question is a ValueError.
    """

    def __init__(self, shared: _Shared, on: Collection[Hashable]) -> None:
        self._shared = shared
        self.labels: tuple[Hashable, ...] = tuple(label for label in shared.selectors if label in on)
        chosen = set(self.labels)
        self._selected = [literal if label in chosen else -literal for label, literal in shared.selectors.items()]

    def only(self, labels: Collection[Hashable]) -> Questions:
        """Return the questions with no other constraints than those of some labels."""
        return Questions(self._shared, set(self.labels) & set(labels))

    def without(self, labels: Collection[Hashable]) -> Questions:
        """Return the questions with the constraints of some labels off."""
        return Questions(self._shared, set(self.labels) - set(labels))

    def feasible(self, allow: Allowed) -> bool:
        """Return whether anything may stand."""
        with self._shared.lock:
            return self._shared.solve(self._selected, allow)

    def witness(self, allow: Allowed) -> tuple[int, ...] | None:
        """Return a value for each slot that may stand together, or None where nothing may."""
        box = self.box(allow)
        return None if box is None else tuple(int(truths.argmax()) for truths in box)

    def box(self, allow: Allowed) -> Allowed | None:
        """Return some values for each slot, at least one, any of which may stand with any of the others, or None."""
        with self._shared.lock:
            return self._shared.model() if self._shared.solve(self._selected, allow) else None

    def core(self, allow: Allowed) -> Core | None:
        """Return what alone sees to it that nothing may stand, or None where something may."""
        with self._shared.lock:
            if self._shared.solve(self._selected, allow):
                return None
            core = self._shared.solver.get_core() or []
        selected = set(core)
        labels = tuple(label for label in self.labels if self._shared.selectors[label] in selected)
        return Core(labels, self._shared.closed(core))

    def possible(self, allow: Allowed) -> tuple[bool, Allowed]:
        """Return whether anything may stand, and of each value whether it may while the *other* slots are as allowed.

        Every solution is a harvest: it shows of many values that they are possible. A slot is then asked for values not
        yet seen, until there is none.
        """
        seen = [np.zeros(len(truths), np.bool_) for truths in allow]
        inside = self._harvest(allow, seen)
        for slot, truths in enumerate(allow):
            if inside:
                while self._harvest(_with(allow, slot, truths & ~seen[slot]), seen):
                    pass
            alone = [np.zeros(0, np.bool_)] * len(allow)
            alone[slot] = seen[slot]
            while self._harvest(_with(allow, slot, ~truths & ~seen[slot]), alone):
                pass
        return inside, seen

    def _harvest(self, allow: Allowed, seen: Allowed) -> bool:
        """Mark what one solution shows in those arrays that are not empty; return whether there is a solution."""
        box = self.box(allow)
        for truths, found in zip(seen, box or (), strict=False):
            if len(truths):
                np.logical_or(truths, found, out=truths)
        return box is not None


class Clauses(Questions):
    """All constraints of a problem as clauses. Close it, or use it in a ``with``: the solver is not Python's memory.

    ``sizes`` says how many values each slot has. Costs say nothing about what may stand and are left out.

    Raises:
        TooEntangledError: a fold takes too many steps even by itself.
    """

    def __init__(self, sizes: Sequence[int], constraints: Sequence[Constraint]) -> None:
        wording = Wording(sizes, constraints, _MOST_STEPS)
        super().__init__(_Shared(wording), wording.selectors)

    def forbid(self, label: Hashable, together: Mapping[int, Bools]) -> None:
        """Add that some values of each of a few slots may not stand together, under a label that there already is.

        Raises:
            KeyError: there is no such label.
        """
        with self._shared.lock:
            self._shared.forbid(self._shared.selectors[label], together)

    def close(self) -> None:
        """Free the solver. Closing again does nothing."""
        with self._shared.lock:
            self._shared.solver.delete()

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        """Free the solver."""
        self.close()


class _Shared:
    """The solver, and what its variables mean. ``lock`` is held while it is asked and its answer read."""

    def __init__(self, wording: Wording) -> None:
        self.lock = Lock()
        self.selectors = wording.selectors
        self._ends = wording.first[1:-1] - 1
        self._first = wording.first
        self._last = wording.variables
        self._values = int(wording.first[-1]) - 1
        self.solver = Solver(name=_SOLVER, bootstrap_with=wording.clauses)
        # Trying values as true first it finds large boxes: a third as many solutions show all that is possible.
        self.solver.set_phases(list(range(1, self._values + 1)))

    def solve(self, selected: list[int], allow: Allowed) -> bool:
        if self.solver.solver is None:
            raise ValueError("these clauses are closed")
        closed = (-1 - np.flatnonzero(~np.concatenate(allow))).tolist()
        return bool(self.solver.solve(assumptions=selected + closed))

    def forbid(self, selector: int, together: Mapping[int, Bools]) -> None:
        clause = [-selector]
        for slot, truths in together.items():
            self._last += 1
            clause.append(-self._last)
            first = int(self._first[slot])
            for value in np.flatnonzero(truths).tolist():
                self.solver.add_clause([-(first + value), self._last])
        self.solver.add_clause(clause)

    def closed(self, core: list[int]) -> Allowed:
        """Return the values that literals of a core deny."""
        truths = np.zeros(self._values, np.bool_)
        denied = -np.array(core, np.intp) - 1
        truths[denied[(denied >= 0) & (denied < self._values)]] = True
        return list(np.split(truths, self._ends))

    def model(self) -> Allowed:
        model = np.array(self.solver.get_model()[: self._values])
        return [truths.copy() for truths in np.split(model > 0, self._ends)]


def _with(allow: Allowed, slot: int, truths: Bools) -> Allowed:
    """Return what is allowed with one slot replaced."""
    return [*allow[:slot], truths, *allow[slot + 1 :]]
