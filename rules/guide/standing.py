"""What a pattern and the catalog alone say, compiled once, whatever is ordered and whatever is in stock."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from datetime import date
from typing import Final

from rules.cells import Frame
from rules.diagram.constraint import Allowed, Constraint, TooEntangledError
from rules.diagram.diagram import Diagram, compile_diagram
from rules.evaluate import Judges
from rules.facets import Names
from rules.guide.amounts import Prices
from rules.guide.domain import Domain, PartValue
from rules.guide.judged import REFUSES, Judged
from rules.guide.read import MOST_KEPT, Members, Read, read_fixed
from rules.guide.reading import Reader
from rules.memo import Memo

#: Arcs of a diagram beyond which a pattern is too entangled to be compiled.
MOST_ARCS: Final = 2_000_000
MOST_DIAGRAMS: Final = 32


class Standing:
    """What a pattern and the catalog alone say. ``told`` keeps what members said of orders' own facts."""

    def __init__(self, domain: Domain, judges: Judges, today: date, most_arcs: int = MOST_ARCS) -> None:
        frame = _frame(domain, judges, today)
        self.members = Members(frame, domain)
        reader = Reader(domain, judges, today, Read({}, (), ()).alive(REFUSES, domain.sizes))
        self.read = read_fixed(reader, self.members)
        self.alive: Allowed = self.read.alive(REFUSES, domain.sizes)
        self.links = domain.links()
        self.prices = Prices(domain, static=True)
        self.told: Memo[Read] = Memo(MOST_KEPT)
        self._sizes = domain.sizes
        self._most_arcs = most_arcs
        self._entangled: set[Hashable] = set()
        self._diagrams: dict[int, Diagram] = {}
        self._with: Memo[tuple[Diagram, Sequence[Judged], Sequence[Judged]]] = Memo(MOST_DIAGRAMS)

    def diagram(
        self, level: int, joint: Sequence[Judged], moved: Sequence[Judged], amounts: Sequence[Constraint]
    ) -> Diagram:
        """Return the diagram of what is less bad than a level.

        ``joint`` is what is said of parts that share a leather, ``moved`` what hangs on the order's own facts; both
        are often the same for the next order. Raises TooEntangledError.
        """
        found = self._added(level, joint, moved) if moved else self._added(level, (), joint)
        return found.conjoined(amounts, most_arcs=self._most_arcs) if amounts else found

    def _added(self, level: int, before: Sequence[Judged], more: Sequence[Judged]) -> Diagram:
        """Return the diagram with what was added before and with more."""
        if not before and not more:
            return self._alone(level)
        # What was read is kept with the diagram, so that no other is ever taken for it.
        key = level, tuple(map(id, before)), tuple(map(id, more))
        return self._with.get(key, lambda: (self._conjoined(level, before, more), before, more))[0]

    def _conjoined(self, level: int, before: Sequence[Judged], more: Sequence[Judged]) -> Diagram:
        found = self._added(level, (), before)
        added = [each for own in more if (each := own.below(level)) is not None]
        return found.conjoined(added, most_arcs=self._most_arcs) if added else found

    def _alone(self, level: int) -> Diagram:
        if level in self._entangled:
            raise TooEntangledError(level)
        if level not in self._diagrams:
            self._diagrams[level] = self._compiled(level)
        return self._diagrams[level]

    def _compiled(self, level: int) -> Diagram:
        constraints = [each for own in self.read.judged if (each := own.below(level)) is not None]
        try:
            return compile_diagram(
                self._sizes,
                [*constraints, *self.links, *self.prices.together],
                allow=self.read.alive(level, self._sizes),
                most_arcs=self._most_arcs,
            )
        except TooEntangledError:
            self._entangled.add(level)  # it took long to find out, and comes out no other the next time
            raise


def _frame(domain: Domain, judges: Judges, today: date) -> Frame:
    """Return the members of a pattern whose parts are all of different leathers."""
    apart = tuple(range(len(domain.pattern.parts)))
    return Frame(domain.case({}, today), apart, judges.tables, Names(), judges.sorter)


def stockless(domain: Domain, today: date) -> Hashable:
    """Return all that a standing follows from beside the shop's files."""
    catalog = domain.shop.catalog
    slots = tuple((slot.read, slot.part, tuple(map(_stockless, slot.values))) for slot in domain.slots)
    status = tuple(
        noun.status for nouns in (catalog.leathers, catalog.threads, catalog.edges) for noun in nouns.values()
    )
    return domain.pattern.code, today, slots, status


def _stockless(value: object) -> Hashable:
    if not isinstance(value, PartValue):
        return value
    own = tuple(
        (lot.code, lot.form, lot.thickness, lot.drift_milli, lot.stamp_legible, lot.grade, lot.care)
        for lot in value.lots
    )
    return value.leather, value.side, own
