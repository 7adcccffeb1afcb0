"""From a constraint and an order of slots to the smallest automaton that reads the slots in that order.

Two beginnings of a combination lead to the same state where whatever may follow is judged (and charged) alike: states
are classes of equal residuals, which makes the automaton minimal (Myhill and Nerode; for tables over finite domains
Amilhastre, Fargier and Marquis, Artificial Intelligence 135, 2002; cited from memory). What a combination costs is
said as early as it is certain, as in the normal form of valued diagrams (Fargier, Marquis and Schmidt 2013; from
memory): the cheapest way on from any state costs nothing.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from rules.diagram.arrays import equal_rows
from rules.diagram.constraint import (
    NO_STATE,
    Allowed,
    Amounts,
    Bools,
    Codes,
    Constraint,
    Fold,
    Table,
    TooEntangledError,
    Whole,
)

#: The move that leads nowhere: nothing that follows could be accepted.
DEAD = -1


@dataclass(frozen=True, eq=False)
class Automaton:
    """Reads some slots in order, from state 0 to a single last state 0.

    ``places`` are positions in the order of slots, increasing. ``codes`` say for each of these slots the column of each
    value (``DEAD`` where the value is never accepted). ``moves[j][state, column]`` is the next state or ``DEAD``,
    ``costs[j]``, of the same shape, what the move costs (None: nothing).
    """

    places: tuple[int, ...]
    codes: tuple[Codes, ...]
    moves: tuple[Codes, ...]
    costs: tuple[Whole | None, ...]

    @property
    def states(self) -> int:
        """How many states there are, the last aside."""
        return sum(len(moves) for moves in self.moves)


@dataclass(frozen=True, eq=False)
class _Reading:
    """The slots of a constraint in the order in which they are read.

    ``by[j]`` is the place within the constraint of the ``j``-th slot read, ``used[j]`` its classes that an allowed
    value has, ``codes[j]`` the place of the class of each value among them (``DEAD`` for a value that is not allowed).
    """

    places: tuple[int, ...]
    by: tuple[int, ...]
    used: tuple[Codes, ...]
    codes: tuple[Codes, ...]


def automaton(
    constraint: Constraint, order: Sequence[int], allow: Allowed, *, most_states: int = 200_000
) -> Automaton | None:
    """The smallest automaton of a constraint over the allowed values; None if it says and charges nothing.

    A constraint that accepts nothing comes out as an automaton without a column at its first slot. Raises
    :class:`TooEntangledError` where a fold gathers more than ``most_states`` states.
    """
    reading = _reading(constraint, order, allow)
    if not reading.places:
        return None if _always(constraint) else _never(order, allow)
    if any(not len(used) for used in reading.used):
        return _barred(reading)
    if isinstance(constraint, Fold):
        gather = _gathered if constraint.together is None else _gathered_together
        rows = gather(constraint, reading, most_states)
        levels, _ = _merged(rows, [None] * len(rows))
    else:
        levels = _tabulated(constraint, reading)
    if not levels:
        return _barred(reading)
    return _tidied(reading, levels)


def _always(constraint: Constraint) -> bool:
    """Whether a constraint over no slot holds."""
    if isinstance(constraint, Fold):
        return constraint.accepts(constraint.start)
    return bool(constraint.holds) if isinstance(constraint, Table) else True


def _never(order: Sequence[int], allow: Allowed) -> Automaton:
    """What accepts nothing, read at the first slot."""
    codes = np.full(len(allow[order[0]]), DEAD, np.intp)
    return Automaton((0,), (codes,), (np.zeros((1, 0), np.intp),), (None,))


def _barred(reading: _Reading) -> Automaton:
    """What accepts nothing, read at the first slot of a constraint."""
    codes = np.full(len(reading.codes[0]), DEAD, np.intp)
    return Automaton(reading.places[:1], (codes,), (np.zeros((1, 0), np.intp),), (None,))


def _reading(constraint: Constraint, order: Sequence[int], allow: Allowed) -> _Reading:
    place_of = {slot: place for place, slot in enumerate(order)}
    by = sorted(range(len(constraint.slots)), key=lambda at: place_of[constraint.slots[at]])
    used: list[Codes] = []
    codes: list[Codes] = []
    for at in by:
        allowed = allow[constraint.slots[at]]
        classes = np.asarray(constraint.classes[at], np.intp)
        have = np.unique(classes[allowed])
        used.append(have)
        codes.append(np.where(allowed, np.searchsorted(have, classes), DEAD))
    places = tuple(place_of[constraint.slots[at]] for at in by)
    return _Reading(places, tuple(by), tuple(used), tuple(codes))


@dataclass(frozen=True, eq=False)
class _Level:
    """One slot of an automaton: its moves and costs, each of shape (states, columns)."""

    moves: Codes
    costs: Whole | None


def _tabulated(constraint: Table | Amounts, reading: _Reading) -> list[_Level]:
    """The levels of a dense table: every beginning is a row of its own, equal rows are merged from the end."""
    dense = constraint.holds if isinstance(constraint, Table) else constraint.amounts
    dense = dense.transpose(reading.by)[np.ix_(*reading.used)]
    if isinstance(constraint, Table):
        ends, due = np.where(dense, 0, DEAD).astype(np.intp), None
    else:
        ends, due = np.zeros(dense.shape, np.intp), dense.astype(np.int64)
    levels: list[_Level] = []
    ends, due = ends.ravel(), None if due is None else due.ravel()
    for width in (len(used) for used in reversed(reading.used)):
        level, ends, due = _merged_rows(ends.reshape(-1, width), None if due is None else due.reshape(-1, width))
        levels.append(level)
    if ends[0] == DEAD:
        return []
    return _charged(levels[::-1], due)


def _gathered(fold: Fold, reading: _Reading, most_states: int) -> list[Codes]:
    """The moves of a fold between all the states that it comes to, level by level; the last lead to 0 or nowhere."""
    states: list[Hashable] = [fold.start]
    seen = 1
    rows: list[Codes] = []
    for at, used in zip(reading.by, reading.used, strict=True):
        number: dict[Hashable, int] = {}
        moves = np.full((len(states), len(used)), DEAD, np.intp)
        for row, state in enumerate(states):
            for column, code in enumerate(used.tolist()):
                after = fold.step(state, at, code)
                if after is not None:
                    moves[row, column] = number.setdefault(after, len(number))
            if seen + len(number) > most_states:
                raise TooEntangledError(f"{fold.label!s} gathers more than {most_states} states")
        states = list(number)
        seen += len(states)
        rows.append(moves)
    accepted = np.array([0 if fold.accepts(state) else DEAD for state in states] + [DEAD], np.intp)
    rows[-1] = accepted[rows[-1]]
    return rows


def _gathered_together(fold: Fold, reading: _Reading, most_states: int) -> list[Codes]:
    """The same for a fold that steps from many states at once."""
    assert fold.together is not None
    states: Whole = np.array([fold.start], np.int64)
    seen = 1
    rows: list[Codes] = []
    for at, used in zip(reading.by, reading.used, strict=True):
        after = fold.together(states, at, used)
        found = np.unique(after)
        moves = np.searchsorted(found, after)
        # None is the least of whole numbers, so it comes first where there is any.
        if len(found) and found[0] == NO_STATE:
            found, moves = found[1:], moves - 1
        states = found
        seen += len(states)
        if seen > most_states:
            raise TooEntangledError(f"{fold.label!s} gathers more than {most_states} states")
        rows.append(moves)
    accepted = np.array([0 if fold.accepts(state) else DEAD for state in states.tolist()] + [DEAD], np.intp)
    rows[-1] = accepted[rows[-1]]
    return rows


def _merged(rows: list[Codes], costs: Sequence[Whole | None]) -> tuple[list[_Level], Whole | None]:
    """Levels with equal states merged from the end, and what is due before the first; no level: nothing is accepted."""
    levels: list[_Level] = []
    ids = np.zeros(1, np.intp)
    due: Whole | None = None
    for at in range(len(rows) - 1, -1, -1):
        ends = np.append(ids, DEAD)[rows[at]]
        level, ids, due = _merged_rows(ends, costs[at])
        levels.append(level)
    return ([], None) if ids[0] == DEAD else (levels[::-1], due)


def _merged_rows(ends: Codes, costs: Whole | None) -> tuple[_Level, Codes, Whole | None]:
    """Rows of next states (and costs) without those that are equal or dead; the new row of each, and what is due."""
    live: Bools = np.asarray(ends >= 0)
    due: Whole | None = None
    if costs is not None:
        far = np.iinfo(np.int64).max
        due = np.where(live, costs, far).min(axis=1)
        due = np.where(live.any(axis=1), due, 0)
        costs = np.where(live, costs - due[:, None], 0)
    ids, first = equal_rows(ends) if costs is None else equal_rows(ends, costs)
    alive = np.any(live, axis=1)[first]
    number = np.where(alive, np.cumsum(alive) - 1, DEAD)
    kept = first[alive]
    return _Level(ends[kept], None if costs is None else costs[kept]), number[ids], due


def _charged(levels: list[_Level], due: Whole | None) -> list[_Level]:
    """The levels with what is due before the first charged there."""
    if due is None or levels[0].costs is None:
        return levels
    return [_Level(levels[0].moves, levels[0].costs + due[0]), *levels[1:]]


def _tidied(reading: _Reading, levels: list[_Level]) -> Automaton | None:
    """The automaton with equal columns merged and dead ones dropped; None where nothing is left to say."""
    codes: list[Codes] = []
    moves: list[Codes] = []
    costs: list[Whole | None] = []
    free = True
    for value_codes, level in zip(reading.codes, levels, strict=True):
        columns, level_moves, level_costs = _columns(value_codes, level)
        free = free and level_moves.shape == (1, 1) and bool(np.all((columns >= 0) == (value_codes >= 0)))
        free = free and level_costs is None
        codes.append(columns)
        moves.append(level_moves)
        costs.append(level_costs)
    return None if free else Automaton(reading.places, tuple(codes), tuple(moves), tuple(costs))


def _columns(codes: Codes, level: _Level) -> tuple[Codes, Codes, Whole | None]:
    """Codes of values, moves and costs of a level whose equal columns are merged and dead ones dropped."""
    costs = level.costs if level.costs is not None and level.costs.any() else None
    ids, first = equal_rows(level.moves.T) if costs is None else equal_rows(level.moves.T, costs.T)
    alive = (level.moves[:, first] >= 0).any(axis=0)
    number = np.append(np.where(alive, np.cumsum(alive) - 1, DEAD), DEAD)
    columns = np.where(codes >= 0, number[ids[codes]], DEAD)
    kept = first[alive]
    return columns, level.moves[:, kept], None if costs is None else costs[:, kept]
