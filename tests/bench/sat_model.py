"""A reference model in clauses, as somebody would write it by the book, for PySAT: its solvers and its RC2 for MaxSAT.

Exactly one value a slot; classes of values as variables of their own; tables by their forbidden combinations; kinds by
PySAT's own counters; sums by a variable for each partial sum. Nothing is shared with `rules.diagram.wording`.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from pysat.card import CardEnc, EncType
from pysat.examples.rc2 import RC2
from pysat.formula import WCNF, IDPool
from pysat.solvers import Solver

from rules.diagram.constraint import Amounts, Table
from rules.diagram.folds import Kinds, Total


class SatModel:
    """The clauses of a reference, what a solver says of them, and repairs by MaxSAT."""

    def __init__(self, reference):
        self.reference = reference
        self._pool = IDPool()
        self._clauses = []
        self._classes = {}
        self._values = [
            [self._pool.id((slot, value)) for value in range(size)] for slot, size in enumerate(reference.sizes)
        ]
        for literals in self._values:
            self._clauses.append(literals)
            self._clauses += [[-one, -other] for one, other in combinations(literals, 2)]
        for each in reference.constraints:
            if not isinstance(each, Amounts):
                self._add(each)
        self._solver = Solver(name="cadical153", bootstrap_with=self._clauses)

    def close(self):
        self._solver.delete()

    def feasible(self, allow, fixed=None):
        """Return whether there is a completion; ``fixed`` is a slot and its value, whatever is allowed there."""
        assumed = [] if fixed is None else [self._values[fixed[0]][fixed[1]]]
        for slot, truths in enumerate(allow):
            if fixed is None or fixed[0] != slot:
                assumed += [-self._values[slot][value] for value in np.flatnonzero(~truths)]
        return self._solver.solve(assumptions=assumed)

    def fewest_given_up(self, allow, choices):
        """Return how many choices must be given up at least, by RC2 with its usual settings."""
        formula = WCNF()
        formula.hard, formula.nv = list(self._clauses), self._pool.top
        for slot, truths in enumerate(allow):
            formula.hard += [[-self._values[slot][value]] for value in np.flatnonzero(~truths)]
        for choice in choices:
            formula.append([self._values[choice.slot][value] for value in np.flatnonzero(choice.values)], weight=1)
        with RC2(formula) as solver:
            return None if solver.compute() is None else solver.cost

    def _of_classes(self, slot, codes):
        key = (slot, codes.tobytes())
        if key not in self._classes:
            found = []
            for code in range(int(codes.max()) + 1):
                members = [self._values[slot][value] for value in np.flatnonzero(codes == code)]
                joined = self._pool.id((key, code)) if len(members) != 1 else members[0]
                if len(members) != 1:
                    self._clauses += [[-joined, *members], *([-member, joined] for member in members)]
                found.append(joined)
            self._classes[key] = found
        return self._classes[key]

    def _add(self, each):
        classes = [self._of_classes(*of) for of in zip(each.slots, each.classes, strict=True)]
        if isinstance(each, Table):
            for combination in np.argwhere(~each.holds).tolist():
                self._clauses.append([-of[code] for of, code in zip(classes, combination, strict=True)])
        elif isinstance(each, Kinds):
            self._add_kinds(each, classes)
        elif isinstance(each, Total):
            self._add_total(each, classes)

    def _add_kinds(self, kinds, classes):
        assert kinds.none is None
        used = [self._pool.id((id(kinds), kind)) for kind in range(max(len(of) for of in classes))]
        for of in classes:
            self._clauses += [[-literal, used[kind]] for kind, literal in enumerate(of)]
        self._clauses += CardEnc.atmost(used, kinds.most, vpool=self._pool, encoding=EncType.seqcounter).clauses

    def _add_total(self, total, classes):
        assert total.least is None
        sums = {0: None}
        for place, (of, weights) in enumerate(zip(classes, total.weights, strict=True)):
            reached = {}
            for before, literal in sums.items():
                for code, weight in enumerate(weights.tolist()):
                    clause = [-of[code]] + ([] if literal is None else [-literal])
                    if before + weight <= total.most:
                        reached[before + weight] = self._pool.id((id(total), place, before + weight))
                        clause.append(reached[before + weight])
                    self._clauses.append(clause)
            sums = reached
