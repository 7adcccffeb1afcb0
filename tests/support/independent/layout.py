"""Whether rectangular panels lie in the free rectangles of lots: by trying, by areas, by CP-SAT's 2-D constraint."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

from ortools.sat.python import cp_model

#: Panels up to which a layout is proven or disproven by search; beyond, "not found by trying" stays undecided.
_EXACT_UP_TO = 16
#: Work of one exact layout, in the solver's own measure, which no clock changes.
_MOST_WORK = 0.4
#: Ways to share panels among lots that are tried, and layouts in doubt before all is.
_MOST_SHARES = 60
_MOST_DOUBTS = 3


@dataclass(frozen=True)
class Rect:
    """``count`` panels of one size, ``along`` the backbone; ``turnable`` ones may be turned by 90 degrees."""

    along: int
    across: int
    turnable: bool
    count: int

    def area(self, gap: int) -> int:
        """Return the area of one, with the gap."""
        return (self.along + gap) * (self.across + gap)

    def ways(self) -> list[tuple[int, int]]:
        """Return how one may lie."""
        own = (self.along, self.across)
        return [own, own[::-1]] if self.turnable and self.along != self.across else [own]

    def of(self, count: int) -> Rect:
        """Return another number of them."""
        return Rect(self.along, self.across, self.turnable, count)


@dataclass(frozen=True)
class Sheet:
    """A lot: its rectangles (along, across), the net area that it gives, and panels that are held for others."""

    code: str
    rects: tuple[tuple[int, int], ...]
    yields: int
    held: tuple[Rect, ...] = ()

    def most(self, gap: int) -> int:
        """Return the net area, gaps counted, that is certainly not exceeded beside what is held."""
        rects = sum((along + gap) * (across + gap) for along, across in self.rects)
        return min(self.yields, rects) - sum(each.area(gap) * each.count for each in self.held)

    def takes(self, panel: Rect) -> bool:
        """Whether one such panel lies in some rectangle."""
        return any(x <= along and y <= across for along, across in self.rects for x, y in panel.ways())


@dataclass(frozen=True)
class Demand:
    """The panels of a part and the lots, each of which is to give at least one of them."""

    panels: tuple[Rect, ...]
    sheets: tuple[Sheet, ...]


class Bench:
    """Answers once worked out about layouts: True, False (proven), or None (neither found nor disproven)."""

    def __init__(self, gap: int) -> None:
        self.gap = gap
        self._lies: dict[Any, bool | None] = {}
        self._shares: dict[Any, bool | None] = {}

    def lies(self, panels: Sequence[Rect], sheet: Sheet) -> bool | None:
        """Return whether panels lie in one lot beside what is held there."""
        key = (tuple(sorted(_merged(panels), key=_big_first)), sheet.code)
        if key not in self._lies:
            self._lies[key] = self._lie([*key[0], *sheet.held], sheet, sum(p.area(self.gap) * p.count for p in key[0]))
        return self._lies[key]

    def _lie(self, panels: list[Rect], sheet: Sheet, net: int) -> bool | None:
        if net > sheet.most(self.gap) or not all(sheet.takes(panel) for panel in panels):
            return False
        useful = [rect for rect in sheet.rects if any(Sheet("", (rect,), 0).takes(panel) for panel in panels)]
        room = sum((along + self.gap) * (across + self.gap) for along, across in useful)
        if sum(panel.area(self.gap) * panel.count for panel in panels) > room:
            return False
        copies = [panel for panel in sorted(panels, key=_big_first) for _ in range(panel.count)]
        if any(_tried(order, sheet, self.gap, rule) for order in _orders(copies) for rule in (0, 1)):
            return True
        if any(_shelved(copies, sheet, self.gap, side, most) for side in (0, 1) for most in (max, min)):
            return True
        return _searched(copies, sheet, self.gap) if len(copies) <= _EXACT_UP_TO else None

    def shares(self, demands: Sequence[Demand]) -> bool | None:
        """Return whether the panels of several parts lie in the lots given to them."""
        key = tuple(sorted(((d.panels, tuple(s.code for s in d.sheets)) for d in demands), key=repr))
        if key not in self._shares:
            self._shares[key] = self._share(demands)
        return self._shares[key]

    def _share(self, demands: Sequence[Demand]) -> bool | None:
        fixed = [d for d in demands if len(d.sheets) == 1]
        if len(fixed) == len(demands):
            sheets = {d.sheets[0].code: d.sheets[0] for d in demands}
            loads: dict[str, list[Rect]] = {code: [] for code in sheets}
            for demand in demands:
                loads[demand.sheets[0].code] += demand.panels
            found = [self.lies(panels, sheets[code]) for code, panels in loads.items()]
            return False if False in found else None if None in found else True
        return _Sharing(demands, self).run()


def _merged(panels: Sequence[Rect]) -> list[Rect]:
    counts: dict[tuple[int, int, bool], int] = {}
    for panel in panels:
        if panel.count:
            size = (panel.along, panel.across, panel.turnable)
            counts[size] = counts.get(size, 0) + panel.count
    return [Rect(*size, count) for size, count in counts.items()]


def _big_first(panel: Rect) -> tuple[int, int, int, bool]:
    return (-panel.along * panel.across, -panel.along, -panel.across, panel.turnable)


def _orders(copies: list[Rect]) -> Iterator[list[Rect]]:
    yield copies
    yield sorted(copies, key=lambda p: (-max(p.along, p.across), -min(p.along, p.across)))
    yield sorted(copies, key=lambda p: (-min(p.along, p.across), -max(p.along, p.across)))


def _tried(copies: list[Rect], sheet: Sheet, gap: int, rule: int) -> bool:
    """Lay one panel after another where the least is left beside it, keeping all largest free rectangles."""
    free = [(at, 0, 0, along + gap, across + gap) for at, (along, across) in enumerate(sheet.rects)]
    for panel in copies:
        best: Any = None
        for place in free:
            for x, y in panel.ways():
                left = (place[3] - x - gap, place[4] - y - gap)
                if min(left) >= 0:
                    rank = (min(left), max(left)) if rule == 0 else (place[1], place[2], min(left))
                    if best is None or rank < best[0]:
                        best = (rank, place, x + gap, y + gap)
        if best is None:
            return False
        _, (at, x0, y0, _, _), w, h = best
        free = _cut(free, (at, x0, y0, w, h))
    return True


def _shelved(copies: list[Rect], sheet: Sheet, gap: int, side: int, most: Callable[..., int]) -> bool:
    """Lay panels on shelves, the deepest first, each on the first shelf that has room (first fit, decreasing height).

    Shelves run along a rectangle (``side`` 0) or across it; turnable panels lie with the larger or the smaller side
    along the shelf, as ``most`` says.
    """
    items = []
    for panel in copies:
        ways = [(way[side], way[1 - side]) for way in panel.ways()]
        items.append(max(ways) if most is max else min(ways))
    items.sort(key=lambda item: (-item[1], -item[0]))
    shelves: list[list[int]] = []  # what is left of each along itself, and how deep it is
    left = [rect[1 - side] + gap for rect in sheet.rects]
    for length, depth in items:
        shelf = next((one for one in shelves if one[0] >= length + gap and one[1] >= depth + gap), None)
        if shelf is None:
            fits = (at for at, rect in enumerate(sheet.rects) if left[at] >= depth + gap and rect[side] >= length)
            at = next(fits, None)
            if at is None:
                return False
            left[at] -= depth + gap
            shelf = [sheet.rects[at][side] + gap, depth + gap]
            shelves.append(shelf)
        shelf[0] -= length + gap
    return True


def _cut(free: list[tuple[int, int, int, int, int]], used: tuple[int, int, int, int, int]) -> list[Any]:
    """Return the largest free rectangles that are left (maximal rectangles, Jylanki, 2010)."""
    at, ux, uy, uw, uh = used
    found = []
    for place in free:
        there, x, y, w, h = place
        if there != at or ux >= x + w or x >= ux + uw or uy >= y + h or y >= uy + uh:
            found.append(place)
            continue
        if ux > x:
            found.append((at, x, y, ux - x, h))
        if ux + uw < x + w:
            found.append((at, ux + uw, y, x + w - ux - uw, h))
        if uy > y:
            found.append((at, x, y, w, uy - y))
        if uy + uh < y + h:
            found.append((at, x, uy + uh, w, y + h - uy - uh))
    unique = list(dict.fromkeys(found))
    return [one for one in unique if not any(one is not two and _within(one, two) for two in unique)]


def _within(one: tuple[int, ...], two: tuple[int, ...]) -> bool:
    return (
        one[0] == two[0] and one[1] >= two[1] and one[2] >= two[2]
        and one[1] + one[3] <= two[1] + two[3] and one[2] + one[4] <= two[2] + two[4]
    )  # fmt: skip


def _searched(copies: list[Rect], sheet: Sheet, gap: int) -> bool | None:
    """Ask CP-SAT: every panel in one rectangle and one way, no two overlapping when each is larger by the gap.

    Pushed as far back and to the side as they go, panels stand at sums of others' sides only (normal patterns,
    Herz, 1972; Christofides and Whitlock, 1977); the model looks at no other places.
    """
    model = cp_model.CpModel()
    boxes: dict[int, list[tuple[Any, Any, int, int, Any]]] = {at: [] for at in range(len(sheet.rects))}
    last: dict[Rect, Any] = {}
    far = max(max(rect) for rect in sheet.rects) + gap
    sums = [_sums(copies, gap, along + gap, across + gap) for along, across in sheet.rects]
    for panel in copies:
        held, where = [], []
        for at, (x, y) in product(boxes, panel.ways()):
            rooms = (sheet.rects[at][0] - x, sheet.rects[at][1] - y)
            if min(rooms) >= 0:
                here = model.new_bool_var("")
                left, low = (
                    model.new_int_var_from_domain(cp_model.Domain.from_values([s for s in each if s <= room]), "")
                    for each, room in zip(sums[at], rooms, strict=True)
                )
                along = model.new_optional_fixed_size_interval_var(left, x + gap, here, "")
                across = model.new_optional_fixed_size_interval_var(low, y + gap, here, "")
                boxes[at].append((along, across, x + gap, y + gap, here))
                held.append(here)
                where.append((here, at, left))
        model.add_exactly_one(held)
        rank = model.new_int_var(0, far * (len(sheet.rects) + 1), "")
        for here, at, left in where:
            model.add(rank == left + at * far).only_enforce_if(here)
        if panel in last:  # like panels may change places, so they stand in order
            model.add(last[panel] <= rank)
        last[panel] = rank
    for at, laid in boxes.items():
        model.add_no_overlap_2d([box[0] for box in laid], [box[1] for box in laid])
        model.add_cumulative([box[0] for box in laid], [box[3] for box in laid], sheet.rects[at][1] + gap)
        model.add_cumulative([box[1] for box in laid], [box[2] for box in laid], sheet.rects[at][0] + gap)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_deterministic_time = _MOST_WORK
    status = solver.solve(model)
    if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return True
    return False if status == cp_model.INFEASIBLE else None


def _sums(copies: list[Rect], gap: int, along: int, across: int) -> tuple[list[int], list[int]]:
    """Return the sums of sides, gaps counted, at which a panel may stand along and across a rectangle."""
    found = []
    for most, side in ((along, 0), (across, 1)):
        sums = {0}
        for panel in copies:
            steps = {way[side] + gap for way in panel.ways()}
            sums |= {start + step for start in sums for step in steps if start + step < most}
        found.append(sorted(sums))
    return found[0], found[1]


class _Sharing:
    """How many of each panel come from each lot, where a part has several: by area first, then laid out, and again."""

    def __init__(self, demands: Sequence[Demand], bench: Bench) -> None:
        self._bench = bench
        self._model = cp_model.CpModel()
        self._sheets = {sheet.code: sheet for demand in demands for sheet in demand.sheets}
        self._rows: dict[str, list[tuple[Rect, Any]]] = {code: [] for code in self._sheets}
        for demand in demands:
            for panel in demand.panels:
                cells = []
                for sheet in demand.sheets:
                    most = panel.count if sheet.takes(panel) else 0
                    cells.append(self._model.new_int_var(0, most, ""))
                    self._rows[sheet.code].append((panel, cells[-1]))
                self._model.add(sum(cells) == panel.count)
            for sheet in demand.sheets:
                own = {id(panel) for panel in demand.panels}
                self._model.add(sum(var for panel, var in self._rows[sheet.code] if id(panel) in own) >= 1)
        for code, row in self._rows.items():
            most_mm2 = -(-self._sheets[code].most(bench.gap) // 10**6)
            self._model.add(sum(panel.area(bench.gap) // 10**6 * var for panel, var in row) <= most_mm2)

    def run(self) -> bool | None:
        doubts = 0
        for _ in range(_MOST_SHARES):
            if doubts > _MOST_DOUBTS:
                break
            solver = cp_model.CpSolver()
            solver.parameters.num_workers = 1
            if solver.solve(self._model) not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
                return None if doubts else False
            wrong = False
            for code, row in self._rows.items():
                counts = [solver.value(var) for _, var in row]
                panels = [panel.of(count) for (panel, _), count in zip(row, counts, strict=True)]
                lies = self._bench.lies(panels, self._sheets[code])
                if lies is not True:
                    wrong, doubts = True, doubts + (lies is None)
                    self._forbid(row, counts)
            if not wrong:
                return True
        return None

    def _forbid(self, row: list[tuple[Rect, Any]], counts: list[int]) -> None:
        """So many panels, or more of each, do not lie there."""
        fewer = []
        for (_, var), count in zip(row, counts, strict=True):
            if count:
                one = self._model.new_bool_var("")
                self._model.add(var <= count - 1).only_enforce_if(one)
                fewer.append(one)
        self._model.add_bool_or(fewer)
