"""Nearby specs with a better outcome: fewest changes first, then nearest in color, then cheapest.

Gaps are filled as the pattern usually has them. Else one change at a time: of the specs that one
change away are no better yet but less bad, the few least bad are changed once more where their
findings point. Every spec offered was judged; how many are judged is bounded
(:data:`MOST_RECHECKS`, :data:`MOST_WORK`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rules.defaults import fill_gaps
from rules.echo import mm
from rules.money import money
from rules.neighbors import Neighbor, neighbors_of
from rules.pricing import priced
from rules.spec import Spec

if TYPE_CHECKING:
    from rules.check import Verdict

#: At most so many specs are judged again, over all steps; the first step leaves half for the others.
MOST_RECHECKS = 150
_FIRST_STEP = 90
#: No further spec is judged once so many steps of lot searches were taken: some specs are dear.
MOST_WORK = 1_200
#: At most so many changes, and so many specs that are changed once more.
MOST_CHANGES = 3
_KEPT = 4
Recheck = Callable[[Spec], "Verdict"]


@dataclass(frozen=True, slots=True)
class _Step:
    """A spec some changes away, judged."""

    change: dict[str, Any]
    changes: int
    says: tuple[str, ...]
    distance_milli: int
    verdict: Verdict

    @property
    def total_minor(self) -> int:
        """Its total in minor units, 0 where it has no price."""
        price = priced(self.verdict.case.piece)
        return 0 if price is None else price.total_minor

    @property
    def nearness(self) -> tuple[int, int, int, int, tuple[str, ...]]:
        """Fewest changes first, then color; of equals the better outcome, then the lower price."""
        return self.changes, self.distance_milli, self.verdict.order[0], self.total_minor, self.says


def alternatives_for(verdict: Verdict, recheck: Recheck, at_most: int) -> list[dict[str, Any]]:
    """Return up to ``at_most`` specs with a better outcome, nearest first."""
    found: list[_Step] = []
    frontier = [_Step({}, 0, (), 0, verdict)]
    judged = work = 0
    filled = _filled(verdict, recheck)
    if filled is not None:
        (found if filled.verdict.order[0] < verdict.order[0] else frontier).append(filled)
    for changes in range(1, MOST_CHANGES + 1):
        less_bad: list[_Step] = []
        most = _FIRST_STEP if changes == 1 else MOST_RECHECKS
        for step, neighbor in _in_turn(frontier, only_where_needed=changes > 1):
            if judged == most or work > MOST_WORK:
                break
            again = recheck(neighbor.spec)
            judged, work = judged + 1, work + again.work
            distance = step.distance_milli + neighbor.distance_milli
            says = (*step.says, neighbor.says)
            after = _Step(_merged(step.change, neighbor.change), step.changes + 1, says, distance, again)
            if again.order[0] < verdict.order[0]:
                found.append(after)
            elif again.order < step.verdict.order:
                less_bad.append(after)
        if len(found) >= at_most:
            break
        frontier = sorted(less_bad, key=lambda step: (step.verdict.order, step.nearness))[:_KEPT]
    return [_as_json(step) for step in sorted(found, key=lambda step: step.nearness)[:at_most]]


def _filled(verdict: Verdict, recheck: Recheck) -> _Step | None:
    """Return the spec with its gaps filled as the pattern usually has them, if it has gaps that can be filled."""
    piece = verdict.case.piece
    spec, pointers = fill_gaps(piece.spec, piece.indexes)
    change: dict[str, Any] = {}
    for pointer in pointers:
        _, slot, *names = pointer.split("/")
        for name in names:
            values = {"parts": spec.parts, "hardware": spec.hardware, "sizes": spec.sizes_um}[slot]
            value: Any = values[name]
            shown = {"leather": value.leather} if slot == "parts" else mm(value) if slot == "sizes" else value
            change.setdefault(slot, {})[name] = shown
        if not names:
            change[slot] = getattr(spec, slot)
    if not change:
        return None
    return _Step(change, len(pointers), ("What is open as this pattern usually has it",), 0, recheck(spec))


def _in_turn(steps: list[_Step], *, only_where_needed: bool) -> Iterator[tuple[_Step, Neighbor]]:
    """Give the neighbors of all steps, the nearest of each first."""
    nearby = [list(_neighbors(step, only_where_needed=only_where_needed)) for step in steps]
    for place in range(max(map(len, nearby), default=0)):
        for step, own in zip(steps, nearby, strict=True):
            if place < len(own):
                yield step, own[place]


def _neighbors(step: _Step, *, only_where_needed: bool) -> Iterator[Neighbor]:
    in_the_way = [each for each in step.verdict.findings if each.severity in ("refuse", "sign_off")]
    pointers = {at for each in in_the_way for at in each.at}
    for neighbor in neighbors_of(step.verdict.case.piece):
        if not only_where_needed or any(at == neighbor.slot or at.startswith(f"{neighbor.slot}/") for at in pointers):
            yield neighbor


def _merged(one: dict[str, Any], other: dict[str, Any]) -> dict[str, Any]:
    """Return one merge patch that does what two do in turn."""
    both = dict(one)
    for name, value in other.items():
        own = both.get(name)
        both[name] = _merged(own, value) if isinstance(own, dict) and isinstance(value, dict) else value
    return both


def _as_json(step: _Step) -> dict[str, Any]:
    piece = step.verdict.case.piece
    price = priced(piece)
    return {
        "change": step.change,
        "outcome": step.verdict.outcome,
        "total": None if price is None else money(piece, price.total_minor),
        "says": "; ".join(step.says),
        "distance": step.distance_milli / 1000,
    }
