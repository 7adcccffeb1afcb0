"""Alternatives: the nearest specs with a better outcome, each judged before it is offered.

Of what can be chosen they come from exact guidance (:mod:`rules.guide.nearest`): proven, none that is nearer left out.
Beside them stand specs that differ in what an order says of itself, how many, how soon, what it carries: one change
each. Where a pattern is too entangled to be compiled, all specs one change away are tried, as many as are allowed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from rules.diagram.constraint import TooEntangledError
from rules.guide.nearest import nearest_specs
from rules.money import money
from rules.neighbors import neighbors_of
from rules.pricing import priced
from rules.shop import Shop
from rules.spec import Spec

if TYPE_CHECKING:
    from rules.check import Verdict

#: Facts of an order that may be otherwise, by their slot: no choice of material or make.
FACTS: Final = ("/carry", "/quantity", "/rush", "/sizes")
#: Specs one change away that are judged where guidance is not to be had.
MOST_RECHECKS: Final = 90
Recheck = Callable[[Spec], "Verdict"]


@dataclass(frozen=True, slots=True)
class _Other:
    """A judged spec some changes away."""

    change: dict[str, Any]
    changes: int
    says: str
    distance_milli: int
    verdict: Verdict

    @property
    def total_minor(self) -> int:
        """Its total in minor units, 0 where it has no price."""
        price = priced(self.verdict.case.piece)
        return 0 if price is None else price.total_minor

    @property
    def nearness(self) -> tuple[int, int, int, int, str]:
        """Fewest changes first, then color; of equals the better outcome, then the lower price."""
        return self.changes, self.distance_milli, self.verdict.order[0], self.total_minor, self.says


def alternatives_for(shop: Shop, verdict: Verdict, recheck: Recheck, at_most: int) -> list[dict[str, Any]]:
    """Return up to ``at_most`` specs with a better outcome, nearest first."""
    best = verdict.order[0]
    found = {
        repr(other.change): other
        for other in (*_guided(shop, verdict, recheck, at_most), *_of_other_facts(verdict, recheck))
        if other.verdict.order[0] < best
    }
    return [_as_json(other) for other in sorted(found.values(), key=lambda other: other.nearness)[:at_most]]


def _guided(shop: Shop, verdict: Verdict, recheck: Recheck, at_most: int) -> Iterator[_Other]:
    case = verdict.case
    try:
        near = nearest_specs(shop, case.piece.spec, case.today, at_most, below=verdict.outcome)
    except TooEntangledError:
        for neighbor in neighbors_of(case.piece)[:MOST_RECHECKS]:
            again = recheck(neighbor.spec)
            yield _Other(neighbor.change, 1, neighbor.says, neighbor.distance_milli, again)
        return
    for each in near:
        again = recheck(each.change.spec)
        yield _Other(each.change.patch, each.changes, each.change.says, each.distance_milli, again)


def _of_other_facts(verdict: Verdict, recheck: Recheck) -> Iterator[_Other]:
    if verdict.outcome == "buildable":
        return
    for neighbor in neighbors_of(verdict.case.piece):
        if neighbor.slot.startswith(FACTS):
            yield _Other(neighbor.change, 1, neighbor.says, neighbor.distance_milli, recheck(neighbor.spec))


def _as_json(other: _Other) -> dict[str, Any]:
    piece = other.verdict.case.piece
    price = priced(piece)
    return {
        "change": other.change,
        "outcome": other.verdict.outcome,
        "total": None if price is None else money(piece, price.total_minor),
        "says": other.says,
        "distance": other.distance_milli / 1000,
    }
