"""What a leather's lots hold: rules over each leather of a piece, as constraints over the parts that may share it.

Parts that are cut from different leathers have nothing to do with each other here, so each leather is looked at alone:
every way in which parts may take lots of it is judged as the check judges it, area, layout, reserve, drift and all.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from datetime import date
from functools import partial
from itertools import combinations, product
from math import prod
from typing import Any, Final

import numpy as np

from rules.case import Case
from rules.diagram.constraint import Bools
from rules.evaluate import Judges
from rules.facets import lots_value
from rules.guide.domain import Domain
from rules.guide.judged import FREE, Grid, Judged, Row, badness
from rules.guide.shared import facts_of, heaps_of, reads_more
from rules.memo import Memo
from rules.sorter import Sorter
from rules.vocabulary import SUBJECTS

#: Subjects whose instances are the leathers of a piece, each with all the parts cut from it.
SHARED: Final = ("leather", "share")
#: Ways of taking lots of one leather that are looked at.
MOST_WAYS: Final = 20_000
Way = tuple[int, ...]
Said = tuple[tuple[str, int], ...]
Ways = tuple[list[Grid], bool]
"""What is said of the ways of taking lots of a leather, and whether all were looked at or only pairs of parts."""


class Stocked:
    """Judges what parts take of each leather. ``kept`` and ``grids`` hold what was said of lots as they stood."""

    def __init__(
        self, domain: Domain, judges: Judges, today: date, kept: Memo[Said], grids: Memo[Ways]
    ) -> None:  # fmt: skip
        self._domain = domain
        self._today = today
        self._kept = kept
        self._grids = grids
        self._tables = judges.tables
        self._judges = judges
        told = {subject: judges.tables[subject] for subject in SHARED if subject in judges.tables}
        #: Rules that read more than the lots, and the facts of the order that any of them reads.
        self._wide = [rule for table in told.values() for rule, _ in table if reads_more(rule, domain)]
        self._facts = facts_of([rule for table in told.values() for rule, _ in table], domain)
        self._rules: dict[str, Sorter] = {
            subject: judges.sorter(subject, [each for each in table if each[0] not in self._wide])
            for subject, table in told.items()
        }
        #: Leathers of which only pairs of parts were looked at: there are too many ways of taking their lots.
        self.unread: set[str] = set()
        self._parts = [number for number, slot in enumerate(domain.slots) if slot.read == "part"]
        self._sizes = [number for number, slot in enumerate(domain.slots) if slot.read == "sizes"]

    @property
    def rules(self) -> list[str]:
        """The leather rules, by id."""
        return [rule.id for subject in SHARED for rule, _ in self._tables.get(subject, ())]

    def alone(self, alive: Sequence[Bools]) -> list[Row]:
        """Return what is said of each value of a part by itself; nothing where sizes decide too."""
        found: dict[tuple[str, int], Row] = {}
        if self._sizes:
            return []
        for slot in self._parts:
            for place in np.flatnonzero(alive[slot]).tolist():
                for rule, bad in self.said({slot: place}):
                    if bad:
                        blank = Row(rule, slot, np.zeros(len(alive[slot]), dtype=np.int8))
                        found.setdefault((rule, slot), blank).words[place] = bad
        return list(found.values())

    def together(self, alive: Sequence[Bools]) -> list[Judged]:
        """Return what is said of parts that share a leather, leather by leather."""
        leathers = dict.fromkeys(
            self._domain.slots[slot].values[place].leather
            for slot in self._parts
            for place in np.flatnonzero(alive[slot]).tolist()
        )
        found: list[Judged] = list(heaps_of(self._domain, self._judges, self._today, self._wide, alive))
        for leather in leathers:
            key = self._key(leather, alive)
            grids, whole = self._grids.get(key, partial(self._of_leather, leather, alive))
            found += grids
            if not whole:
                self.unread.add(leather)
        return found

    def _key(self, leather: str, alive: Sequence[Bools]) -> Hashable:
        """Return all that is said of a leather follows from."""
        domain = self._domain
        own = tuple(
            (place, value.side, lots_value(value.lots))
            for slot in self._parts
            for place in np.flatnonzero(alive[slot]).tolist()
            if (value := domain.slots[slot].values[place]).leather == leather
        )
        sizes = tuple((domain.slots[slot].values, alive[slot].tobytes()) for slot in self._sizes)
        counts = tuple((slot, len(alive[slot])) for slot in self._parts)
        status = domain.shop.catalog.leathers[leather].status
        return domain.pattern.code, self._today, leather, status, domain.base.quantity, self._facts, own, sizes, counts

    def _of_leather(self, leather: str, alive: Sequence[Bools]) -> Ways:
        """Return a table a rule over the parts that may take a leather; class 0 is any other leather."""
        taking = {slot: self._classes(slot, leather, alive[slot]) for slot in self._parts}
        slots = [slot for slot, (_, examples) in taking.items() if examples]
        if len(slots) + len(self._sizes) < 2:
            return [], True
        shape = [len(taking[slot][1]) + 1 for slot in slots] + [len(alive[slot]) for slot in self._sizes]
        if prod(shape) > MOST_WAYS:
            pairs = combinations(slots, 2)
            return [grid for pair in pairs for grid in self._of_parts(pair, taking, alive)], False
        return self._of_parts(slots, taking, alive), True

    def _of_parts(
        self, slots: Sequence[int], taking: Mapping[int, tuple[Any, list[int]]], alive: Sequence[Bools]
    ) -> list[Grid]:
        shape = [len(taking[slot][1]) + 1 for slot in slots] + [len(alive[slot]) for slot in self._sizes]
        found: dict[str, Any] = {}
        least = 1 if self._sizes else 2
        for way in product(*map(range, shape)):
            if sum(code > 0 for code in way[: len(slots)]) < least:
                continue
            chosen = {slot: taking[slot][1][code - 1] for slot, code in zip(slots, way, strict=False) if code}
            for size, code in zip(self._sizes, way[len(slots) :], strict=True):
                if not alive[size][code]:
                    break
                chosen[size] = code
            else:
                for rule, bad in self.said(chosen):
                    if bad:
                        found.setdefault(rule, np.zeros(shape, dtype=np.int8))[way] = bad
        classes = tuple(taking[slot][0] for slot in slots) + tuple(
            np.arange(len(alive[slot]), dtype=np.intp) for slot in self._sizes
        )
        return [Grid(rule, (*slots, *self._sizes), classes, words) for rule, words in found.items()]

    def _classes(self, slot: int, leather: str, alive: Bools) -> tuple[Any, list[int]]:
        """Return the class of each value of a part, 0 for other leathers, else by its lots; and an example of each."""
        codes = np.zeros(len(alive), dtype=np.intp)
        examples: list[int] = []
        places: dict[Hashable, int] = {}
        for place in np.flatnonzero(alive).tolist():
            value = self._domain.slots[slot].values[place]
            if value.leather == leather:
                key = lots_value(value.lots)
                if key not in places:
                    examples.append(place)
                    places[key] = len(examples)
                codes[place] = places[key]
        return codes, examples

    def said(self, chosen: dict[int, int]) -> Said:
        """Return what leather rules say of some values, by slot: how bad each is."""
        domain = self._domain
        case = domain.case(chosen, self._today)
        own = tuple((part, lots_value(lots)) for part, lots in case.lots.items())
        leathers = tuple(part.leather.code for part in case.piece.parts.values() if part.leather is not None)
        key = (domain.pattern.code, self._today, case.piece.laid_by, self._facts, own, leathers)
        return self._kept.get(key, lambda: self._judged(case))

    def _judged(self, case: Case) -> Said:
        worst: dict[str, int] = {}
        for subject, sorter in self._rules.items():
            for instance in SUBJECTS[subject].instances(case):
                for found in sorter.fired(instance):
                    worst[found.rule.id] = max(worst.get(found.rule.id, FREE), badness(found.fired))
        return tuple(worst.items())
