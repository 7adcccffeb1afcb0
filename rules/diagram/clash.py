"""Which choices stand in each other's way, and which constraints are at work.

A *clash* is a set of choices that cannot all be kept. The smallest are found by size: one choice alone, then two, then
three. A solution met on the way shows choices that stand together; a clash must hold one of the others, so only sets
that do so for every solution seen are asked about (implicit hitting sets; Ignatiev, Previti, Liffiton and
Marques-Silva, "Smallest MUS extraction with minimal hitting set dualization", 2015). Which constraints are at work is
found by leaving out one after the other (deletion; Marques-Silva, "Minimal unsatisfiability: models, algorithms and
applications", 2010).
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from rules.diagram.clauses import Core, Questions
from rules.diagram.constraint import Allowed, Bools


@dataclass(frozen=True, eq=False)
class Choice:
    """What somebody wants: one of some values for a slot. Several choices may be about one slot."""

    name: Hashable
    slot: int
    values: Bools


@dataclass(frozen=True)
class Clash:
    """Choices, by their names, that cannot all be kept, and a minimal set of labels of constraints that see to it.

    Without choices nothing stands whatever is chosen. Without labels, what is allowed and the choices leave some slot
    nothing at all.
    """

    choices: tuple[Hashable, ...]
    labels: tuple[Hashable, ...]


def smallest_clashes(
    clauses: Questions, allow: Allowed, choices: Sequence[Choice], at_most: int = 10, largest: int | None = None
) -> list[Clash]:
    """Return the clashes of the least size, all of them or the first ``at_most`` of them, by the order of choices.

    ``allow`` holds whatever is chosen. None are returned where all choices can be kept, or where every clash has more
    than ``largest`` choices.
    """
    if clauses.feasible(kept(allow, choices)):
        return []
    # For each set of choices known to stand, the others: a clash holds one of them at least.
    others: list[int] = []
    for size in range(min(largest if largest is not None else len(choices), len(choices)) + 1):
        found: list[int] = []
        for several in _hitting(size, 0, 0, others, len(choices)):
            if not _stands(clauses, allow, choices, several, others):
                found.append(several)
                if len(found) == at_most:
                    break
        if found:
            return [_explained(clauses, allow, _among(choices, several)) for several in found]
    return []


def some_clash(clauses: Questions, allow: Allowed, choices: Sequence[Choice]) -> Clash | None:
    """Return a clash of which no choice can be left out, found fast, or None where all can be kept.

    There may be smaller ones; of the choices those that come late are left out first.
    """
    core = clauses.core(kept(allow, choices))
    if core is None:
        return None
    left = list(choices)
    for choice in reversed(choices):
        rest = [each for each in left if each is not choice]
        if choice not in _at_fault(core, left):
            left = rest
        elif (smaller := clauses.core(kept(allow, rest))) is not None:
            core, left = smaller, rest
    return Clash(tuple(each.name for each in left), _thinned(clauses, kept(allow, left), core.labels))


def because(clauses: Questions, allow: Allowed, slot: int, value: int) -> tuple[Hashable, ...] | None:
    """Return a minimal set of labels that close a value while the *other* slots are as allowed; None if it is open.

    A single constraint that does it alone is looked for first. No labels: what is allowed leaves another slot nothing.
    """
    only = np.zeros(len(allow[slot]), np.bool_)
    only[value] = True
    asked = [*allow[:slot], only, *allow[slot + 1 :]]
    core = clauses.core(asked)
    if core is None or len(core.labels) <= 1:
        return None if core is None else core.labels
    for label in clauses.labels:
        if not clauses.only([label]).feasible(asked):
            return (label,)
    return _thinned(clauses, asked, core.labels)


def at_work(clauses: Questions, allow: Allowed) -> tuple[Hashable, ...] | None:
    """Return a minimal set of labels under which nothing may stand, or None where something may.

    There may be several such sets; labels that come late are left out first.
    """
    core = clauses.core(allow)
    return None if core is None else _thinned(clauses, allow, core.labels)


def kept(allow: Allowed, choices: Sequence[Choice]) -> Allowed:
    """Return what is allowed where some choices are kept."""
    restricted = list(allow)
    for choice in choices:
        restricted[choice.slot] = restricted[choice.slot] & choice.values
    return restricted


def _thinned(clauses: Questions, allow: Allowed, core: tuple[Hashable, ...]) -> tuple[Hashable, ...]:
    """Return a minimal part of all labels under which nothing may stand: none of it can be left out.

    The last label that can be left out is, then the one before. Which core a solver finds hangs on what it was asked
    before, and the answer must not: a core only saves the question about a label that it does not name.
    """
    left, named = list(clauses.labels), set(core)
    for label in reversed(clauses.labels):
        rest = [each for each in left if each != label]
        if label not in named:
            left = rest
        elif rest or not all(truths.any() for truths in allow):  # without a constraint anything stands
            smaller = clauses.only(rest).core(allow)
            if smaller is not None:
                left, named = rest, set(smaller.labels)
    return tuple(left)


def _at_fault(core: Core, choices: Sequence[Choice]) -> list[Choice]:
    """Return the choices that close a value whose closing counts."""
    return [choice for choice in choices if (core.closed[choice.slot] & ~choice.values).any()]


def _explained(clauses: Questions, allow: Allowed, choices: Sequence[Choice]) -> Clash:
    """Return choices that clash, with what is at work."""
    return Clash(tuple(each.name for each in choices), at_work(clauses, kept(allow, choices)) or ())


def _hitting(size: int, least: int, several: int, others: list[int], count: int) -> Iterator[int]:
    """Yield every set of ``size`` more of ``count`` places, from ``least`` on, with a member in each of the ``others``.

    Sets are bits of a number, in the order of their places whatever the others are, which may grow meanwhile.
    """
    missed = [each for each in others if not each & several]
    if not size:
        if not missed:
            yield several
        return
    for place in range(least, count - size + 1):
        if any(not each >> place for each in missed):
            return
        yield from _hitting(size - 1, place + 1, several | 1 << place, others, count)


def _stands(clauses: Questions, allow: Allowed, choices: Sequence[Choice], several: int, others: list[int]) -> bool:
    """Return whether some choices can be kept together; if so, note those that a solution does not keep."""
    box = clauses.box(kept(allow, _among(choices, several)))
    if box is None:
        return False
    everything = (1 << len(choices)) - 1
    others.append(everything & ~sum(1 << each for each in _kept_by(box, choices)))
    return True


def _places(several: int) -> list[int]:
    return [place for place in range(several.bit_length()) if several >> place & 1]


def _among(choices: Sequence[Choice], several: int) -> list[Choice]:
    return [choices[place] for place in _places(several)]


def _kept_by(box: Allowed, choices: Sequence[Choice]) -> Iterator[int]:
    """Yield the choices that one completion of a box keeps, with the value in each slot that keeps the most of them."""
    for slot, truths in enumerate(box):
        about = [each for each, choice in enumerate(choices) if choice.slot == slot]
        if about:
            votes = np.sum([choices[each].values & truths for each in about], axis=0)
            value = int(votes.argmax())
            if truths[value]:
                yield from (each for each in about if choices[each].values[value])
