"""What rules say of values, as constraints: of one slot (a row), of a few (a grid), of what many add up to (a heap)."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field
from itertools import product
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from rules.diagram.constraint import Bools, Constraint, Fold, Table, TooEntangledError
from rules.judge import Fired, Word

Words = NDArray[np.int8]
"""How bad something is: 0 nothing stands in the way, 1 the maker must agree first, 2 it cannot be made."""
FREE, ASKS, REFUSES = 0, 1, 2
BAD: Final = {"refuse": REFUSES, "sign_off": ASKS}
#: Combinations beyond which a rule is too entangled to be read at all.
MOST_READ: Final = 200_000


def badness(word: Word) -> int:
    """Return how bad a rule's word is."""
    return BAD.get(word.severity, FREE) if isinstance(word, Fired) else FREE


@dataclass(frozen=True, eq=False)
class Row:
    """What a rule says of each value of one slot."""

    rule: str
    slot: int
    words: Words

    def at_least(self, level: int) -> Table | None:
        """Return the values that are at least as bad as a level as a constraint, None where none is."""
        holds = self.words >= level
        places = np.arange(len(holds), dtype=np.intp)
        return Table((self.slot,), (places,), holds, label=self.rule) if holds.any() else None


@dataclass(frozen=True, eq=False)
class Grid:
    """What a rule says of each combination of classes of a few slots."""

    rule: str
    slots: tuple[int, ...]
    classes: tuple[NDArray[np.intp], ...]
    words: Words
    _below: dict[int, Constraint | None] = field(default_factory=dict, repr=False)

    def below(self, level: int) -> Constraint | None:
        """Return what is less bad than a level as a constraint, None where everything is; the same one each time."""
        if level not in self._below:
            holds = self.words < level
            self._below[level] = None if holds.all() else Table(self.slots, self.classes, holds, label=self.rule)
        return self._below[level]

    def at_least(self, level: int) -> Table | None:
        """Return what is at least as bad as a level as a constraint, None where nothing is."""
        holds = self.words >= level
        return Table(self.slots, self.classes, holds, label=self.rule) if holds.any() else None

    def possible(self, slot: int, left: Sequence[Bools], level: int) -> Bools:
        """Return the classes of a slot beside which some of what is left of the others is less bad than a level."""
        own = [
            np.arange(self.words.shape[place]) if each == slot else np.unique(codes[left[each]])
            for place, (each, codes) in enumerate(zip(self.slots, self.classes, strict=True))
        ]
        holds = self.words[np.ix_(*own)] < level
        return np.asarray(holds.any(axis=tuple(place for place, each in enumerate(self.slots) if each != slot)))


Given = tuple[tuple[Any, ...], int]
"""What a value gives: sums and sets, and the class of what is read beside, -1 where nothing is."""


class Heap:
    """What a rule says of what many slots add up to: sums, sets, and the classes of what is read beside."""

    def __init__(
        self, rule: str, slots: tuple[int, ...], given: Sequence[Sequence[Given | None]], word: Callable[[Any], int],
        settled: Callable[[Any], Hashable], *, rising: bool,
    ) -> None:  # fmt: skip
        """Take what each value of each slot gives: (sums and sets, class beside), -1 as the class of nothing.

        None stands for values that nothing is asked of.

        ``rising``: there is one sum of one figure, and a larger one is never less bad.
        """
        self.rule = rule
        self.slots = slots
        told = [coded(own) for own in given]
        self.classes = tuple(codes for codes, _ in told)
        self._examples = [examples for _, examples in told]
        self._given = [[_sure(own[at]) for at in examples] for own, (_, examples) in zip(given, told, strict=True)]
        self._word = word
        self._settled = settled
        self._words: dict[Hashable, int] = {}
        self._rising = rising
        self._known: dict[Hashable, list[tuple[int, int]]] = {}
        self._example: dict[Hashable, tuple[tuple[int, int], ...]] = {_START: ()}

    def below(self, level: int) -> Constraint | None:
        """Return what is less bad than a level as a constraint, None where it is soon seen that everything is."""
        if not all(self._given) or (self._rising and self._worst() < level):
            return None  # a slot without any value that may stand is closed already
        return Fold(
            self.slots, self.classes, _START, self._step, lambda state: self.word(state) < level, label=self.rule
        )

    def at_least(self, level: int) -> Fold | None:
        """Return what is at least as bad as a level as a constraint, None where it is soon seen that nothing is."""
        if not all(self._given) or (self._rising and self._worst() < level):
            return None
        return Fold(
            self.slots, self.classes, _START, self._step, lambda state: self.word(state) >= level, label=self.rule
        )

    # Which slots were taken is part of a state: sums of different slots may be equal, what they stand for is not.
    def _step(self, state: Any, place: int, code: int) -> Hashable:
        sums, beside, taken = state
        own, class_of = self._given[place][code]
        found = (
            own if sums is None else tuple(map(_joined, sums, own)),
            beside if class_of == -1 else tuple(sorted((*beside, (self.slots[place], class_of)))),
            taken | 1 << place,
        )
        if found not in self._example:
            self._example[found] = (*self._example[state], (place, code))
        return found

    def possible(self, slot: int, left: Sequence[Bools], level: int) -> Bools:
        """Return the classes of a slot beside which some of what is left of the others is less bad than a level."""
        states: set[Any] = {_START}
        last = self.slots.index(slot)
        for place, (each, codes) in enumerate(zip(self.slots, self.classes, strict=True)):
            if each != slot:
                states = {
                    self._step(state, place, code) for state in states for code in np.unique(codes[left[each]]).tolist()
                }
        return np.array(
            [
                any(self.word(self._step(state, last, code)) < level for state in states)
                for code in range(len(self._given[last]))
            ],
            dtype=bool,
        )

    def weight(self, place: int, code: int) -> Any:
        """Return what a class of a slot adds, to be compared with what another adds."""
        sums, _ = self._given[place][code]
        return sums if all(isinstance(each, tuple) for each in sums) else ()

    def _worst(self) -> int:
        """Return how bad the largest sum is beside whatever else is read."""
        largest: list[list[int]] = []
        for own in self._given:
            best: dict[int, int] = {}
            for code, (sums, beside) in enumerate(own):
                if beside not in best or sums > own[best[beside]][0]:
                    best[beside] = code
            largest.append(list(best.values()))
        worst = FREE
        for codes in product(*largest):
            state: Any = _START
            for place, code in enumerate(codes):
                state = self._step(state, place, code)
            worst = max(worst, self.word(state))
        return worst

    def word(self, state: Any) -> int:
        """Return how bad a complete state is, by judging a case that comes to it."""
        if not self._rising:
            return self._judged(state)
        ((total,), *_), beside, _ = state
        known = self._known.setdefault(beside, [])
        for sums, word in known:
            if (word == FREE and total <= sums) or (word == REFUSES and total >= sums):
                return word
        below = max((word for sums, word in known if sums <= total), default=None)
        above = min((word for sums, word in known if sums >= total), default=None)
        if below is not None and below == above:
            return below
        word = self._judged(state)
        known.append((total, word))
        return word

    def _judged(self, state: Any) -> int:
        key = self._settled(state)
        if key not in self._words:
            if len(self._words) > MOST_READ:
                raise TooEntangledError(self.rule)
            example = {self.slots[place]: self._examples[place][code] for place, code in self._example[state]}
            self._words[key] = self._word(example)
        return self._words[key]


def _sure(given: Given | None) -> Given:
    if given is None:
        raise ValueError("a value that nothing is asked of stands for no class")
    return given


_START: Final = (None, (), 0)


def _joined(one: Any, other: Any) -> Any:
    if isinstance(one, frozenset):
        return one | other
    return tuple(a + b for a, b in zip(one, other, strict=True))


Judged = Grid | Heap


def coded(keys: Sequence[Hashable]) -> tuple[NDArray[np.intp], list[int]]:
    """Return the class of each value, and an example of each class; values that are not asked about join the first."""
    places: dict[Hashable, int] = {}
    examples: list[int] = []
    codes = np.zeros(len(keys), dtype=np.intp)
    for at, key in enumerate(keys):
        if key is not None:
            if key not in places:
                places[key] = len(places)
                examples.append(at)
            codes[at] = places[key]
    return codes, examples
