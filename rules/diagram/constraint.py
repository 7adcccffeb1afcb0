"""What may stand together: constraints over a few slots each, in no order of slots yet.

Slots are numbered from 0, the values of a slot too. A constraint sees values by their *class*: values that it never
tells apart share one.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

Codes = NDArray[np.intp]
Bools = NDArray[np.bool_]
Whole = NDArray[np.int64]
#: What each slot may still be: one array of truths a slot, as long as the slot has values.
Allowed = list[Bools]
#: Stands for None among whole numbers.
NO_STATE = int(np.iinfo(np.int64).min)


@dataclass(frozen=True, eq=False)
class Scope:
    """The slots that a constraint reads, in increasing order, and the class of each of their values.

    ``label`` says what the constraint stands for, where clashes are explained.
    """

    slots: tuple[int, ...]
    classes: tuple[Codes, ...]
    label: Hashable = field(default="", kw_only=True)

    @property
    def shape(self) -> tuple[int, ...]:
        """How many classes each slot has here."""
        return tuple(int(codes.max()) + 1 for codes in self.classes)


@dataclass(frozen=True, eq=False)
class Table(Scope):
    """The combinations of classes that may stand together: truths of shape :attr:`Scope.shape`."""

    holds: Bools


@dataclass(frozen=True, eq=False)
class Amounts(Scope):
    """What each combination of classes costs: whole numbers of shape :attr:`Scope.shape`."""

    amounts: Whole


@dataclass(frozen=True, eq=False)
class Fold(Scope):
    """What is gathered slot by slot and judged in the end.

    ``step(state, place, code)`` adds the class ``code`` of the slot at a place of ``slots`` to a state (any hashable;
    ``start`` before the first). In whatever order the slots are taken the same state must come out at the end, or at
    least one that ``accepts`` judges alike. ``step`` may return None once nothing that follows could be accepted.

    ``together``, where states are whole numbers, is ``step`` for many at once: from states and a place and codes to
    states of shape (states, codes), ``NO_STATE`` where ``step`` returns None. An automaton then takes
    between a third and three fifths of the time (reference models).
    """

    start: Hashable
    step: Callable[[Any, int, int], Hashable | None]
    accepts: Callable[[Any], bool]
    together: Callable[[Whole, int, Codes], Whole] | None = field(default=None, kw_only=True)


Constraint = Table | Amounts | Fold


class TooEntangledError(Exception):
    """A problem needs more arcs than allowed."""
