"""Choices put together one row at a time: what is left of a choice whose panels do not lie, and filled up again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping

from rules.best.loads import Cut, Limit, Load, Thing, counts_in
from rules.best.master import Master, Pick, Picks
from rules.best.room import Lies


def mended(master: Master, picks: Mapping[Pick, int], enough: Callable[[], bool]) -> Picks:
    """Return a choice that keeps as much of some picks as is found to lie, filled up with what else does."""
    return _Mender(master, enough).mended(picks)


class _Mender:
    """Adds rows to a choice while every limit is kept and every lot's panels are found to lie."""

    def __init__(self, master: Master, enough: Callable[[], bool]) -> None:
        self._master = master
        self._enough = enough
        self._limits: dict[Thing, list[Limit]] = {}
        for limit in master.limits:
            for thing in limit.weights:
                self._limits.setdefault(thing, []).append(limit)
        self._picks: Counter[Pick] = Counter()
        self._load: Counter[Thing] = Counter()
        self._taken: Counter[int] = Counter()

    def mended(self, picks: Mapping[Pick, int]) -> Picks:
        groups = self._master.problem.groups
        wanted = [pick for pick, count in picks.items() for _ in range(count)]
        for pick in sorted(wanted, key=self._dear):
            self._add(pick)
        spare = [(g, c) for g, group in enumerate(groups) for c in range(len(group.choices))]
        for g, c in sorted(spare, key=self._dear):
            while self._taken[g] < len(groups[g].rows) and not self._enough():
                if not self._add((g, c)):
                    break
        return dict(self._picks)

    def _dear(self, pick: Pick) -> tuple[object, ...]:
        """Return the order in which picks are tried: what takes little of the lots for what it counts first."""
        group, choice = self._master.problem.groups[pick[0]], self._master.problem.groups[pick[0]].choices[pick[1]]
        return (-(-self._strain(choice.load) * _SHARE // max(1, group.value)), choice.outcome, pick)

    def _strain(self, load: Load) -> int:
        """Return the shares of lots, of supplies and of room for a rush that a load takes, in millionths."""
        total = 0
        for thing, amount in load.items():
            total += max(
                (
                    limit.weights[thing] * amount * _MILLION // max(1, limit.most)
                    for limit in self._limits.get(thing, ())
                ),
                default=0,
            )
        return total

    def _add(self, pick: Pick) -> bool:
        group, load = pick[0], self._master.problem.groups[pick[0]].choices[pick[1]].load
        if self._taken[group] >= len(self._master.problem.groups[group].rows):
            return False
        more = self._load + Counter(load)
        if any(limit.broken_by(more) for limit in self._met(load)):
            return False
        for lot in sorted({thing.lot for thing in load if isinstance(thing, Cut)}):
            if self._master.problem.rooms[lot].verdict(counts_in(lot, more)) is not Lies.YES:
                return False
        self._load = more
        self._picks[pick] += 1
        self._taken[group] += 1
        return True

    def _met(self, load: Iterable[Thing]) -> list[Limit]:
        return list({id(limit): limit for thing in load for limit in self._limits.get(thing, ())}.values())


_MILLION = 1_000_000
#: Shares for one minor unit of value, so that whole numbers tell values apart.
_SHARE = 1_000
