"""Rules over each leather of a piece that also ask for what is no leather: a thread, a side, how many leathers.

What such a rule says of one leather follows from the parts cut from it and from other slots. It is read leather by
leather, as a heap over all of them; rules that read the lots alone stay with :mod:`rules.guide.stocked`.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from functools import partial
from typing import Any, Final

import numpy as np

from rules.cells import facets_read
from rules.diagram.constraint import Bools
from rules.evaluate import Judges
from rules.facets import OF_PIECE, Facet, lots_value
from rules.guide.asked import asked_words, of_asked
from rules.guide.domain import Domain, facet_key
from rules.guide.gathered import JOINED, joined
from rules.guide.judged import Given, Heap, badness
from rules.guide.reading import speaks
from rules.ir import Rule, names_in
from rules.judge import judge_of
from rules.vocabulary import SUBJECTS

#: What a rule over a leather may read of its own parts that the lots given stand for.
_OF_LOTS: Final = frozenset({"lots", "leather", "sizes"})


def facets_of(rule: Rule, domain: Domain, *, beyond: bool = False) -> frozenset[Facet]:
    """Return what a rule over leathers reads; ``beyond``: without what the lots of its own parts stand for."""
    parts = domain.pattern.parts
    found: set[Facet] = set()
    for name in names_in(rule):
        if name.startswith("threshold."):
            continue
        own = facets_read(name, rule.subject, parts, parts)
        if not beyond:
            found |= own
        elif name not in JOINED:
            found |= {facet for facet in own if name.startswith("piece.") or facet[0] not in _OF_LOTS}
    return frozenset(found)


def reads_more(rule: Rule, domain: Domain) -> bool:
    """Whether a rule over leathers reads a slot that the lots of its own parts do not stand for."""
    numbers = domain.numbers()
    sets = any(name in JOINED for name in names_in(rule))
    return sets or any(facet in numbers for facet in facets_of(rule, domain, beyond=True))


def facts_of(rules: Iterable[Rule], domain: Domain) -> Hashable:
    """Return the facts of the order that rules over leathers read beside the slots."""
    numbers, piece = domain.numbers(), domain.piece({})
    reads = {read for rule in rules for read, part in facets_of(rule, domain) if (read, part) not in numbers}
    return tuple(OF_PIECE[read](piece) for read in sorted(reads) if read in OF_PIECE)


def heaps_of(
    domain: Domain, judges: Judges, today: date, rules: Sequence[Rule], alive: Sequence[Bools]
) -> Iterator[Heap]:  # fmt: skip
    """Give what rules say of each leather that may be taken, clause by clause."""
    leathers = dict.fromkeys(
        slot.values[place].leather
        for slot, own in zip(domain.slots, alive, strict=True)
        if slot.read == "part"
        for place in np.flatnonzero(own).tolist()
    )
    for rule in rules:
        for clause in rule.clauses:
            if speaks(clause):
                for leather in leathers:
                    yield _heap(domain, judges, today, replace(rule, clauses=(clause,)), leather, alive)


def _heap(
    domain: Domain, judges: Judges, today: date, rule: Rule, leather: str, alive: Sequence[Bools]
) -> Heap:  # fmt: skip
    judge = judge_of(rule, partial(judges.reader, subject=rule.subject))
    list_in = SUBJECTS[rule.subject].instances

    def word(chosen: Mapping[int, int]) -> int:
        instances = list_in(domain.case(chosen, today))
        own = (badness(judge(each)) for each in instances if each.subject.get("leather", leather) == leather)
        return max(own, default=0)

    facets = facets_of(rule, domain, beyond=True)
    numbers = domain.numbers()
    read = {numbers[facet] for facet in facets if facet in numbers}
    read |= {number for number, slot in enumerate(domain.slots) if slot.read in ("part", "sizes")}
    slots = tuple(sorted(read))
    given = [_given(domain, today, rule, leather, slot, facets, alive[slot]) for slot in slots]
    return Heap(rule.id, slots, given, word, lambda state: state[:2], rising=False)


def _given(
    domain: Domain, today: date, rule: Rule, leather: str, number: int, facets: frozenset[Facet], alive: Bools
) -> list[Given | None]:  # fmt: skip
    """Return what each value of a slot adds to sets, and the class of all else that is told of it."""
    slot, asked = domain.slots[number], asked_words(rule)
    sets = sorted(name for name in names_in(rule) if name in JOINED)
    found: list[Given | None] = [None] * len(slot.values)
    places: dict[Hashable, int] = {}
    for place in np.flatnonzero(alive).tolist():
        value = slot.values[place]
        case = domain.case({number: place}, today)
        adds = tuple(of_asked(joined(name, case), asked.get(name)) for name in sets)
        taken: Any = lots_value(value.lots) if slot.read == "part" and value.leather == leather else None
        key = taken, value if slot.read == "sizes" else facet_key(slot, place, facets)
        found[place] = adds, places.setdefault(key, len(places))
    return found
