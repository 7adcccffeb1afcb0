"""A reference model for CP-SAT of OR-Tools, as somebody would write it who knows that solver and nothing of diagrams.

A truth for each value that no rule closes by itself, exactly one of them a slot; classes of values as truths of their
own where a rule reads classes; tables by their forbidden combinations; sums as linear constraints over values; kinds
counted; amounts of two slots as truths for pairs. One worker: the machine is shared.
"""

from __future__ import annotations

from itertools import product

import numpy as np
from ortools.sat.python import cp_model

from rules.diagram.constraint import Amounts, Table
from rules.diagram.folds import Kinds, Total


class CpModel:
    """One model of a reference, asked again and again; what is allowed is set in the domains of its truths.

    ``stock`` and ``quantity`` bound what the panels take of each lot.
    """

    def __init__(self, reference, stock=None, quantity=1):
        self.reference = reference
        self._model = cp_model.CpModel()
        self._classes = {}
        self.open = reference.everything()
        for each in reference.constraints:
            if isinstance(each, Table) and len(each.slots) == 1:
                self.open[each.slots[0]] &= each.holds[each.classes[0]]
        self._values = [
            {int(value): self._model.new_bool_var(f"{slot}={value}") for value in np.flatnonzero(truths)}
            for slot, truths in zip(reference.names, self.open, strict=True)
        ]
        for truths in self._values:
            self._model.add_exactly_one(truths.values())
        self._price = [
            int(price) * truth
            for prices, truths in zip(reference.prices, self._values, strict=True)
            for price, truth in ((prices[value], truth) for value, truth in truths.items())
            if price
        ]
        for each in reference.constraints:
            self._add(each)
        if stock is not None:
            self._add_stock(stock, quantity)
        self._model.minimize(sum(self._price))
        self._solver = cp_model.CpSolver()
        self._solver.parameters.num_workers = 1

    def cheapest(self, allow, fixed=None):
        """Return the lowest total with a completion, or None.

        ``fixed`` is a slot and the value that it has, whatever is allowed there.
        """
        model = self._model.clone()
        variables = model.proto.variables
        for slot, truths in enumerate(self._values):
            held = allow[slot] if fixed is None or fixed[0] != slot else np.arange(len(allow[slot])) == fixed[1]
            if fixed is not None and fixed[0] == slot and fixed[1] not in truths:
                return None
            for value, truth in truths.items():
                if not held[value]:
                    domain = variables[truth.index].domain
                    domain[0] = domain[1] = 0
        status = self._solver.solve(model)
        if status == cp_model.INFEASIBLE:
            return None
        assert status == cp_model.OPTIMAL
        found = tuple(
            next(value for value, truth in truths.items() if self._solver.boolean_value(truth))
            for truths in self._values
        )
        # The solver gives a float that may lie just below the whole number.
        return round(self._solver.objective_value), found

    def _of_classes(self, slot, codes):
        """Return a truth for each class that a value still has."""
        key = (slot, codes.tobytes())
        if key not in self._classes:
            members = {}
            for value, truth in self._values[slot].items():
                members.setdefault(int(codes[value]), []).append(truth)
            self._classes[key] = {code: self._one_of(truths) for code, truths in members.items()}
        return self._classes[key]

    def _one_of(self, truths):
        if len(truths) == 1:
            return truths[0]
        joined = self._model.new_bool_var("")
        self._model.add(sum(truths) == joined)
        return joined

    def _add(self, each):
        if isinstance(each, Table) and len(each.slots) == 1:
            return
        if isinstance(each, Total):
            self._add_total(each)
            return
        classes = [self._of_classes(*of) for of in zip(each.slots, each.classes, strict=True)]
        if isinstance(each, Kinds):
            self._add_kinds(each, classes)
        elif isinstance(each, Amounts):
            self._add_amounts(each, classes)
        else:
            self._add_table(each, classes)

    def _add_table(self, table, classes):
        for combination in np.argwhere(~table.holds).tolist():
            found = [of.get(code) for of, code in zip(classes, combination, strict=True)]
            if all(truth is not None for truth in found):
                self._model.add_bool_or([~truth for truth in found])

    def _add_total(self, total):
        terms = [
            int(weights[codes[value]]) * truth
            for slot, codes, weights in zip(total.slots, total.classes, total.weights, strict=True)
            for value, truth in self._values[slot].items()
        ]
        if total.most is not None:
            self._model.add(sum(terms) <= total.most)
        if total.least is not None:
            self._model.add(sum(terms) >= total.least)

    def _add_kinds(self, kinds, classes):
        used = {}
        for of in classes:
            for kind, truth in of.items():
                if kind == kinds.none:
                    continue
                if kind not in used:
                    used[kind] = self._model.new_bool_var("")
                self._model.add_implication(truth, used[kind])
        self._model.add(sum(used.values()) <= kinds.most)

    def _add_amounts(self, amounts, classes):
        one, other = classes
        pairs = {pair: self._model.new_bool_var("") for pair in product(one, other)}
        for code, truth in one.items():
            self._model.add(sum(pairs[code, each] for each in other) == truth)
        for code, truth in other.items():
            self._model.add(sum(pairs[each, code] for each in one) == truth)
        self._price += [int(amounts.amounts[pair]) * truth for pair, truth in pairs.items() if amounts.amounts[pair]]

    def _add_stock(self, stock, quantity):
        taken = {}
        for slot, lots in self.reference.lots.items():
            areas = self.reference.areas[slot]
            for value, truth in self._values[slot].items():
                taken.setdefault(int(lots[value]), []).append(int(areas[value]) * quantity * truth)
        for lot, terms in taken.items():
            self._model.add(sum(terms) <= int(stock[lot]))
