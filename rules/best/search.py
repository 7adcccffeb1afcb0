"""Search and proof in turns: a solver chooses, the layout judges, what does not lie is ruled out.

Logic-based Benders decomposition (Hooker and Ottosson 2003): the master problem knows sums only; each lot is
a subproblem that answers with a cut. A cut that is proven holds for the bound too; one from a layout that was
merely not found guides the search alone. Choices are improved neighborhood by neighborhood: the rows that some
lots concern are chosen anew, all others stay.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import combinations, islice
from typing import Final

from rules.best.loads import Cut, Limit, Problem, Thing, counts_in, load_of
from rules.best.master import Bar, Cover, Master, Picks
from rules.best.mend import mended
from rules.best.prices import Prices
from rules.best.propose import propose
from rules.best.room import Counts, Lies, Room
from rules.best.scales import Scales
from rules.best.wish import Option

Plan = dict[int, Option]
"""The option taken by each row that is made."""
Placing = Callable[[Plan], int | None]
"""Make the rows of a plan one after another; the first row that is refused, or None."""

#: What work counts, in seconds: a layout, a step of the solver of proposals, at least one call of a solver.
_LAYOUT: Final = 0.004
_STEP: Final = 0.00000035
_CALL: Final = 0.02
#: Strain that an average row makes up for in the first proposals, the second time and in neighborhoods.
_WORTH: Final = (5_000.0, 15_000.0)
_WORTH_NEAR: Final = 12_000.0
#: Nodes of a proposal for all rows, and of one for a neighborhood.
_NODES: Final = 100
_NODES_NEAR: Final = 60
#: Milliseconds of one proposal: many times what it takes, so that only a stalled machine comes to feel it.
_MOST_MS: Final = 30_000
#: Proposals in a row that do not lie before a neighborhood is left.
_PATIENCE: Final = 6
#: Thousandths of a lot by which less is asked of it when panels did not lie.
_LESS: Final = 10
#: Shares of the time: left when proposals for all rows end, for a first proof, left for the last one.
_FIRST: Final = 0.75
_QUICK: Final = 0.1
_LAST: Final = 0.3


class Search:
    """The best plan so far, a bound that holds, and all that was learned on the way.

    ``plan`` and ``value`` are of a plan whose rows were all made, one after another, without a refusal.
    """

    def __init__(self, problem: Problem, place: Placing, seconds: float, enough: Callable[[], bool]) -> None:
        self.master = Master(problem)
        self.plan: Plan = {}
        self.value = 0
        self.bound = self.master.most
        self._problem = problem
        self._place = place
        self._seconds = self._left = seconds
        self._stop = enough
        self._prices = Prices(self.master)
        self._made: Picks = {}
        self._picks: Picks = {}
        self._now = 0
        self._calls = 0
        sizes: dict[str, set[tuple[int, int, bool]]] = {code: set() for code in problem.rooms}
        self._groups_at: dict[str, set[int]] = {code: set() for code in problem.rooms}
        for place_of, group in enumerate(problem.groups):
            for thing in (thing for choice in group.choices for thing in choice.load if isinstance(thing, Cut)):
                sizes[thing.lot].add(thing[1:])
                self._groups_at[thing.lot].add(place_of)
        self._scales = {code: Scales(room, sorted(sizes[code])) for code, room in problem.rooms.items()}

    def start(self, plan: Plan, value: int) -> None:
        """Begin with a plan that was made, of a value."""
        self.plan, self.value = dict(plan), value

    def run(self) -> None:
        """Search until the bound is reached, nothing is left to try or time is up."""
        self._bounded()
        self._filled_up()
        for worth in _WORTH:
            if self._open(_FIRST):
                self._proposed(worth)
        self._settle()
        self._prove(self._left / self._seconds - _QUICK)
        self._improve(_LAST)
        self._settle()
        self._prove(0)
        self._improve(0)
        self._settle()

    def _open(self, share: float = 0) -> bool:
        """Whether there is something left to win, and more than a share of the time."""
        calls = sum(room.calls for room in self._problem.rooms.values())
        self._left -= (calls - self._calls) * _LAYOUT
        self._calls = calls
        return max(self._now, self.value) < self.bound and self._left > share * self._seconds and not self._stop()

    def _bounded(self) -> None:
        self._prices = Prices(self.master)
        self._lower(self._prices.bound)

    def _lower(self, bound: int) -> None:
        self.bound = max(self.value, min(self.bound, bound // self.master.step * self.master.step))

    # Search.

    def _filled_up(self) -> None:
        """Take rows one by one, what takes little for its value first: something, however short time is."""
        picks = mended(self.master, {}, self._stop)
        self._keep(picks)

    def _keep(self, picks: Picks) -> bool:
        """Whether picks lie; if they are better than those so far, go on with them."""
        if self._unlaid(picks):
            return False
        value = self.master.value_of(picks)
        if value > self._now:
            self._picks, self._now = picks, value
        return True

    def _ask(
        self, worth: float, hint: Picks, free: frozenset[int] | None, at_least: int, caps: Mapping[str, int]
    ) -> Picks | None:
        nodes, most = (_NODES, _MOST_MS) if free is None else (_NODES_NEAR, _MOST_MS // 3)
        picks, steps = propose(
            self.master, self._prices, worth=worth, nodes=nodes, milliseconds=most, hint=hint, free=free,
            at_least=at_least, caps=caps,
        )  # fmt: skip
        self._left -= _CALL + steps * _STEP
        return picks

    def _proposed(self, worth: float) -> None:
        """Propose a choice among all rows, then choose anew at the lots where it does not lie."""
        caps: dict[str, int] = {}
        picks = self._ask(worth, self._picks, None, 0, caps)
        for _ in range(2 * _PATIENCE):
            if picks is None or not self._open():
                return
            bad = self._unlaid(picks)
            if not bad:
                self._keep(picks)
                return
            self._ask_less(picks, bad, caps)
            near = frozenset().union(*(self._groups_at[code] for code in bad))
            picks = self._ask(worth, picks, near, 0, caps)

    def _ask_less(self, picks: Picks, bad: Iterable[str], caps: dict[str, int]) -> None:
        """Lower the caps of lots in which panels did not lie, each time by more."""
        load = self.master.load_of(picks)
        for code in bad:
            room = self._problem.rooms[code]
            asked = sum(room.net_um2(size) * count for size, count in counts_in(code, load).items())
            caps[code] = min(asked - 1, caps.get(code, asked) - room.rects_um2 * _LESS // 1000)

    def _neighborhoods(self) -> Iterator[frozenset[int]]:
        """Give the rows that some lots concern, group by group: of pairs of lots, then of three, four and all."""
        lots = sorted(self._problem.rooms)
        for size in sorted({min(size, len(lots)) for size in (2, 3, 4)}):
            sets = list(combinations(lots, size))
            # Far apart one after the other, so that every lot soon has its turn.
            stride = next((each for each in (37, 41, 43, 47, 53) if len(sets) % each), 1)
            for place in range(len(sets)):
                yield frozenset().union(*(self._groups_at[lot] for lot in sets[place * stride % len(sets)]))
        yield frozenset(range(len(self._problem.groups)))

    def _improve(self, share: float) -> None:
        """Go through neighborhoods for something better, again as long as some of them gave it."""
        better = True
        while better and self._open(share):
            before = self._now
            for free in self._neighborhoods():
                if not self._open(share):
                    break
                self._improve_in(free)
            better = self._now > before

    def _improve_in(self, free: frozenset[int]) -> None:
        caps: dict[str, int] = {}
        for _ in range(_PATIENCE):
            picks = self._ask(_WORTH_NEAR, self._picks, free, self._now + self.master.step, caps)
            if picks is None or not self._open():
                return
            bad = self._unlaid(picks)
            if not bad:
                self._keep(picks)
                return
            self._ask_less(picks, bad, caps)

    # Proof.

    def _prove(self, share: float) -> None:
        """Lower the bound by proving that values are out of reach, as far down as time allows.

        What was not found to lie, yet is not proven not to, keeps the bound where it is.
        """
        part, limit, known, tree = 1.0, 0.3, -1, False
        while self._open(share) and known < self.bound:
            least = max(self._now, self.value, known) + self.master.step
            target = max(least, self.bound - int((self.bound - least) * part))
            before = self.master.proofs
            limit_now = min(limit, max(self._left, 0.05))
            answer = self.master.solve(target, limit_now, self._picks, self._prices, tree=tree)
            self._left -= max(answer.work, _CALL)
            if answer.impossible:
                self._lower(target - 1)
            elif answer.picks is None:
                # Some proofs come at once by the one search and never by the other.
                part, limit, tree = (part / 3, limit * 2, False) if tree else (part, limit, True)
            else:
                self._lower(answer.bound)
                if not self._keep(answer.picks) and self.master.proofs == before:
                    known = self.master.value_of(answer.picks)
            if self.master.proofs != before:
                self._bounded()

    # What lies.

    def _unlaid(self, picks: Picks) -> list[str]:
        """Return the lots in which the panels of a choice do not lie, and rule out what was found there."""
        load = self.master.load_of(picks)
        bad = []
        for code, room in self._problem.rooms.items():
            counts = counts_in(code, load)
            limits = self._scales[code].broken(counts) if counts else []
            self.master.limits += [
                Limit({Cut(code, *size): each for size, each in weights.items()}, max(0, most))
                for weights, most in limits
            ]
            if limits:
                bad.append(code)
            elif (said := room.verdict(counts)) is not Lies.YES:
                bad.append(code)
                self._rule_out(room, counts, said)
        return bad

    def _rule_out(self, room: Room, counts: Counts, said: Lies) -> None:
        """Rule out the panels and all that cover them: a larger panel stands for the smaller one that it covers."""
        least = room.least(counts, said)
        stand_for: dict[tuple[int, int, bool], set[Thing]] = {size: {Cut(room.code, *size)} for size in least}
        largest = sorted(least, key=lambda size: (-room.net_um2(size), size))
        for size in self._scales[room.code].sizes:
            less = next((each for each in largest if room.covers(size, each)), None)
            if less is not None and size not in least:
                stand_for[less].add(Cut(room.code, *size))
        parts = tuple((frozenset(stand_for[size]), count - 1) for size, count in least.items())
        cover = Cover(parts, room.verdict(least) is Lies.NO)
        if cover not in self.master.covers:
            self.master.covers.append(cover)

    # The last word.

    def _settle(self) -> None:
        """Make the rows of the best choice one after another; if one is refused, learn it and keep the last plan."""
        while self._now > self.value:
            plan = self._planned(self._picks)
            if self._lies_row_by_row(plan):
                if self._place(plan) is None:
                    self.plan, self.value, self._made = plan, self._now, self._picks
                    return
                self.master.bars.append(Bar(tuple(sorted(self._picks.items()))))
            kept = mended(self.master, self._picks, self._stop)
            self._picks, self._now = self._made, self.master.value_of(self._made)
            if not self._keep(kept):
                return

    def _planned(self, picks: Mapping[tuple[int, int], int]) -> Plan:
        plan: Plan = {}
        for place, group in enumerate(self._problem.groups):
            rows = iter(group.rows)
            for choice in range(len(group.choices)):
                for row in islice(rows, picks.get((place, choice), 0)):
                    plan[row] = group.options[row][choice]
        return dict(sorted(plan.items()))

    def _lies_row_by_row(self, plan: Plan) -> bool:
        """Whether panels lie as well while only the first rows are made.

        Above the exact range of :mod:`rules.layout` more may be found to lie where fewer are not.
        """
        load: dict[Thing, int] = {}
        for option in plan.values():
            own = load_of(option.needs)
            for thing, amount in own.items():
                load[thing] = load.get(thing, 0) + amount
            for code in sorted({thing.lot for thing in own if isinstance(thing, Cut)} & set(self._problem.rooms)):
                room, counts = self._problem.rooms[code], counts_in(code, load)
                if (said := room.verdict(counts)) is not Lies.YES:
                    self._rule_out(room, counts, said)
                    return False
        return True
