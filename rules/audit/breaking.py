"""What a rule stands against, as constraints; and whether others stand against all of it, asked of a SAT solver.

Each set of rules is read as a book of its own (:class:`rules.audit.held.SomeRules`): values that one rule closes are
not looked at by the rest of its book, so a rule could not simply be taken out of what was read.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, replace

import numpy as np

from rules.diagram.clash import at_work
from rules.diagram.clauses import Clauses
from rules.diagram.constraint import Constraint, Table
from rules.guide.situation import Situation


@dataclass(frozen=True)
class Answer:
    """Whether others stand against all that a rule does.

    ``spoke``: whether the rule ever speaks; ``values``: of a spec of which it alone does, None where there is none;
    ``rules``: the others at work then, for each place where it speaks as few as will do.
    """

    spoke: bool
    values: tuple[int, ...] | None = None
    rules: frozenset[str] = frozenset()


def broken(own: Situation, level: int) -> list[Constraint]:
    """Return where something as bad as a level is said, each a constraint: any one of them is enough."""
    if own.never(level):
        return [_whatever(own)]
    found = [each.at_least(level) for each in (*own.read.rows, *own.read.judged)]
    return [each for each in found if each is not None]


def answer_of(own: Situation, others: Situation, level: int, theirs: int, left_out: str = "") -> Answer:
    """Return whether a spec hears something as bad as a level of one book, and nothing as bad as ``theirs`` of another.

    Both situations are of one pattern and one order, so their slots are the same. ``left_out`` is a rule of the others
    that is not heard: one that closes no value by itself, so that the rest was read as if it were not there.
    """
    wanted = [named(each, ("breaks", place)) for place, each in enumerate(broken(own, level))]
    if not wanted:
        return Answer(spoke=False)
    never = [rule for rule in others.never(theirs) if rule != left_out]
    if never:
        return Answer(spoke=True, rules=frozenset(never[:1]))
    names = {each.label for each in wanted}
    beside = [each for each in others.constraints(theirs) if each.label != left_out]
    closed = [table for row in others.read.rows if (table := row.at_least(theirs)) is not None]
    rows = [replace(each, holds=~each.holds) for each in closed]
    rules: set[str] = set()
    spoke = False
    with Clauses(others.domain.sizes, [*rows, *beside, *wanted]) as clauses:
        for name in names:
            asked = clauses.without(names - {name})
            values = asked.witness(others.fits)
            if values is not None:
                return Answer(spoke=True, values=values)
            found = at_work(asked, others.fits) or ()
            if found != (name,):  # else it never speaks
                spoke = True
                rules |= {str(label) for label in found if label != name}
    return Answer(spoke, rules=frozenset(rules))


def named(constraint: Constraint, label: Hashable) -> Constraint:
    """Return a constraint under another label."""
    return replace(constraint, label=label)


def _whatever(own: Situation) -> Table:
    size = own.domain.sizes[0]
    return Table((0,), (np.zeros(size, dtype=np.intp),), np.ones(1, dtype=bool))
