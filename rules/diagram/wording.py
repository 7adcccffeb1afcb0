"""Constraints put into clauses: disjunctions of truths and their denials, as a SAT solver reads them.

A value is a variable, true where the slot may be that value. Every slot needs one that is true; several may be, and any
one of them may then be picked: no clause demands a second value of a slot, so to deny one never breaks what held (the
"multivalued direct encoding" of Prestwich, "Local search on SAT-encoded colouring problems", 2003). A solution of the
clauses stands for a whole box of completions, and what is possible is found in fewer solutions.

Each label has a selector: a constraint binds only where the selector of its label is true.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from rules.diagram.constraint import Amounts, Codes, Constraint, Fold, Table, TooEntangledError
from rules.diagram.folds import Kinds

#: Up to so many forbidden combinations a table is said by them, one clause each.
_FEW_COMBINATIONS = 4096
#: What follows a state of an automaton: its number below, or one of these.
_LOST, _FREE = -1, -2
#: What follows each state of a place under each class, place by place; the first place has one state, number 0.
_Steps = list[NDArray[np.intp]]


class Wording:
    """The clauses of some constraints over slots; variables are numbered from 1, as solvers do.

    ``first[slot] + value`` is the variable of a value, ``selectors[label]`` that of a label, ``clauses`` what must hold
    and ``variables`` how many there are.

    Raises:
        TooEntangledError: a fold needs more than ``most_steps`` steps.
    """

    def __init__(self, sizes: Sequence[int], constraints: Sequence[Constraint], most_steps: int) -> None:
        self.first = np.concatenate([[0], np.cumsum(sizes)]) + 1
        self.variables = int(self.first[-1]) - 1
        self.clauses: list[list[int]] = [
            list(range(int(self.first[slot]), int(self.first[slot]) + size)) for slot, size in enumerate(sizes)
        ]
        self._classes: dict[tuple[int, bytes], list[int | None]] = {}
        self._most_steps = most_steps
        binding = [each for each in constraints if not isinstance(each, Amounts)]
        self.selectors: dict[Hashable, int] = {}
        for each in binding:
            if each.label not in self.selectors:
                self.selectors[each.label] = self._new()
        for each in binding:
            self._say(each, self.selectors[each.label])

    def _new(self) -> int:
        self.variables += 1
        return self.variables

    def _say(self, constraint: Table | Fold, selector: int) -> None:
        literals = [self._of_classes(*each) for each in zip(constraint.slots, constraint.classes, strict=True)]
        if isinstance(constraint, Kinds):
            self._kinds(constraint, literals, selector)
        elif isinstance(constraint, Fold):
            self._automaton(_fold_steps(constraint, self._most_steps), literals, selector)
        elif np.count_nonzero(~constraint.holds) <= _FEW_COMBINATIONS:
            self._combinations(constraint, literals, selector)
        else:
            self._automaton(_table_steps(constraint), literals, selector)

    def _of_classes(self, slot: int, codes: Codes) -> list[int | None]:
        """Return a variable for each class of a slot: true where a value of the class is; None where it has none."""
        key = (slot, codes.tobytes())
        if key in self._classes:
            return self._classes[key]
        first = int(self.first[slot])
        literals: list[int | None] = []
        for code in range(int(codes.max()) + 1):
            members = [first + int(value) for value in np.flatnonzero(codes == code)]
            if len(members) < 2:
                literals.append(members[0] if members else None)
                continue
            literal = self._new()
            self.clauses += [[-member, literal] for member in members]
            literals.append(literal)
        self._classes[key] = literals
        return literals

    def _combinations(self, table: Table, literals: list[list[int | None]], selector: int) -> None:
        for combination in np.argwhere(~table.holds).tolist():
            found = [of[code] for of, code in zip(literals, combination, strict=True)]
            if None not in found:
                self.clauses.append([-selector, *(-literal for literal in found if literal is not None)])

    def _automaton(self, steps: _Steps | None, literals: list[list[int | None]], selector: int) -> None:
        """Say that the steps of an automaton end well: a state under a class brings about the state that follows."""
        if steps is None:
            self.clauses.append([-selector])
            return
        states = [selector]
        for place, after in enumerate(steps):
            following = [self._new() for _ in range(len(steps[place + 1]))] if place + 1 < len(steps) else []
            for state, row in zip(states, after.tolist(), strict=True):
                for literal, to in zip(literals[place], row, strict=True):
                    if literal is not None and to != _FREE:
                        self.clauses.append([-state, -literal] + ([following[to]] if to != _LOST else []))
            states = following

    def _kinds(self, kinds: Kinds, literals: list[list[int | None]], selector: int) -> None:
        """Say that at most so many kinds are used, by a sequential counter (Sinz, 2005)."""
        used: list[int] = []
        for kind in range(max(len(of) for of in literals)):
            reaching = [literal for of in literals if kind < len(of) and (literal := of[kind]) is not None]
            if reaching and kind != kinds.none:
                used.append(self._new())
                self.clauses += [[-literal, used[-1]] for literal in reaching]
        if kinds.most < 1:
            self.clauses += [[-selector, -kind] for kind in used]
            return
        counts = [[self._new() for _ in range(kinds.most)] for _ in used]
        for kind, count in zip(used, counts, strict=True):
            self.clauses.append([-kind, count[0]])
        for (before, count), kind in zip(pairwise(counts), used[1:], strict=False):
            self.clauses += [[-one, other] for one, other in zip(before, count, strict=True)]
            self.clauses += [[-kind, -one, other] for one, other in zip(before, count[1:], strict=False)]
            self.clauses.append([-selector, -kind, -before[-1]])


def _merged(rows: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the different rows that are neither lost nor free throughout, and the number of each row among them."""
    kept, number = np.unique(rows, axis=0, return_inverse=True)
    lost, free = (kept == _LOST).all(axis=1), (kept == _FREE).all(axis=1)
    live = ~lost & ~free
    names = np.cumsum(live) - 1
    names[lost], names[free] = _LOST, _FREE
    return kept[live], names[number.reshape(-1)]


def _table_steps(table: Table) -> _Steps | None:
    """Return the least automaton of a table, place by place, or None where nothing may stand."""
    after = np.where(table.holds, _FREE, _LOST).astype(np.intp)
    steps: _Steps = []
    for size in reversed(table.holds.shape):
        rows, after = _merged(after.reshape(-1, size))
        steps.append(rows)
    return _begun(steps[::-1], int(after[0]))


def _fold_steps(fold: Fold, most_steps: int) -> _Steps | None:
    """Return the least automaton of a fold, place by place, or None where nothing is accepted.

    Raises:
        TooEntangledError: it takes too many steps.
    """
    states: dict[Hashable, int] = {fold.start: 0}
    raw: _Steps = []
    taken = 0
    for place, size in enumerate(fold.shape):
        following: dict[Hashable, int] = {}
        taken += len(states) * size
        if taken > most_steps:
            raise TooEntangledError(f"{fold.label} takes more than {most_steps:,} steps")
        after = np.full((len(states), size), _LOST, np.intp)
        for state, number in states.items():
            for code in range(size):
                reached = fold.step(state, place, code)
                if reached is not None:
                    after[number, code] = following.setdefault(reached, len(following))
        raw.append(after)
        states = following
    names = np.array([_FREE if fold.accepts(state) else _LOST for state in states] + [_LOST], np.intp)
    steps: _Steps = []
    for after in reversed(raw):
        # The last name stands for what was lost on the way, number -1.
        rows, found = _merged(names[after])
        names = np.append(found, _LOST)
        steps.append(rows)
    return _begun(steps[::-1], int(names[0]))


def _begun(steps: _Steps, first: int) -> _Steps | None:
    """Return the steps from the first state on: none where all is free, None where all is lost."""
    return {_LOST: None, _FREE: []}.get(first, steps)
