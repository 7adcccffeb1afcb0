"""What a search must know of the panels still to be laid, computed once per multiset.

A multiset is one integer, its *code*: the counts of the kinds as digits of a mixed radix.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from typing import NamedTuple

from rules.layout.panels import Kind, Sheet, ways

# Reachable sums kept per multiset. Past it the bound is left out, which is sound.
_SUMS_AT_MOST = 4096
# Thresholds tried by the count bound: the first few prune, the rest only cost (measured).
_THRESHOLDS = 4


class Option(NamedTuple):
    """One way to lay the next copy: sizes as it lies, its kind, the code that remains."""

    along: int
    across: int
    kind: int
    code: int
    turned: bool
    rank: int


class Remaining(NamedTuple):
    """Facts of one multiset; lengths in micrometers, areas in square micrometers.

    ``along_sums`` and ``across_sums`` are the sorted sums that sizes can reach side by side,
    empty when too many. ``wide`` and ``tall`` are (threshold, total of the other size of all
    copies at or above the threshold), measured along and across. ``latest`` is the last place
    along at which the multiset may still be whole, see ``Pool._latest``.
    """

    area: int
    options: tuple[Option, ...]
    along_sums: Sequence[int]
    across_sums: Sequence[int]
    wide: Sequence[tuple[int, int]]
    tall: Sequence[tuple[int, int]]
    latest: int


class Pool:
    """All multisets up to the one asked, for one sheet."""

    def __init__(self, kinds: Sequence[Kind], sheet: Sheet) -> None:
        """Number the multisets; ``full`` is the code of all copies."""
        self._kinds = kinds
        self._sheet = sheet
        self._radix: list[int] = []
        step = 1
        for kind in kinds:
            self._radix.append(step)
            step *= kind.copies + 1
        self.full = step - 1
        shortest = [min((w[0] for w in ways(kind, sheet)), default=0) for kind in kinds]
        along = max(shortest, default=0)
        self._longest = (shortest.index(along) if kinds else 0, along)
        self._known: dict[int, Remaining] = {}
        self._sums: dict[tuple[int, bool], Sequence[int]] = {}

    def at(self, code: int) -> Remaining:
        """Return the facts of a code, computed at the first call."""
        known = self._known.get(code)
        if known is None:
            known = self._known[code] = self._facts(code)
        return known

    def _counts(self, code: int) -> list[int]:
        return [code // r % (k.copies + 1) for r, k in zip(self._radix, self._kinds, strict=True)]

    def _facts(self, code: int) -> Remaining:
        counts = self._counts(code)
        options: list[Option] = []
        wide: list[tuple[int, int]] = []
        tall: list[tuple[int, int]] = []
        for index, (kind, count) in enumerate(zip(self._kinds, counts, strict=True)):
            if not count:
                continue
            lying = ways(kind, self._sheet)
            for along, across, turned in lying:
                rest = code - self._radix[index]
                options.append(Option(along, across, index, rest, turned, 2 * index + int(turned)))
            # A turnable copy is at least as long and as broad as its smallest way to lie.
            along = min((way[0] for way in lying), default=kind.along)
            across = min((way[1] for way in lying), default=kind.across)
            wide.append((along, across * count))
            tall.append((across, along * count))
        area = sum(kind.area * count for kind, count in zip(self._kinds, counts, strict=True))
        sums = (self._sums_of(code, along=True), self._sums_of(code, along=False))
        latest = self._latest(counts)
        return Remaining(area, tuple(options), *sums, _totals(wide), _totals(tall), latest)

    def _latest(self, counts: Sequence[int]) -> int:
        """Bound where the longest kind first starts, micrometers along.

        Mirrored along and pushed back again, a layout stays a layout, and pushing moves no
        panel forward. So of a layout and its mirror image one has a copy of the longest kind
        centered in the near half; no other needs to be looked at.
        """
        index, along = self._longest
        if counts[index] < self._kinds[index].copies:
            return self._sheet.along
        return (self._sheet.along - along) // 2

    def _sums_of(self, code: int, *, along: bool) -> Sequence[int]:
        known = self._sums.get((code, along))
        if known is not None:
            return known
        sums: Sequence[int] = (0,)
        if code:
            index = next(i for i, count in enumerate(self._counts(code)) if count)
            sums = self._sums_of(code - self._radix[index], along=along)
            if sums:
                sums = self._with_copy(sums, self._kinds[index], along=along)
        self._sums[code, along] = sums
        return sums

    def _with_copy(self, sums: Sequence[int], kind: Kind, *, along: bool) -> Sequence[int]:
        room = self._sheet.along if along else self._sheet.across
        reach = set(sums)
        for way in ways(kind, self._sheet):
            size = way[0] if along else way[1]
            reach.update([total + size for total in sums if total + size <= room])
        return sorted(reach) if len(reach) <= _SUMS_AT_MOST else ()


def _totals(sizes: list[tuple[int, int]]) -> list[tuple[int, int]]:
    sizes.sort(reverse=True)
    total = 0
    totals = []
    for size, amount in sizes[:_THRESHOLDS]:
        total += amount
        totals.append((size, total))
    return totals


def room_for(
    bands: Sequence[tuple[int, int]],
    sums: Sequence[int],
    counts: Sequence[tuple[int, int]],
    area: int,
) -> bool:
    """Say whether bands of free room may hold panels: necessary, not sufficient.

    Every line through a band of length ``room`` crosses disjoint panels, so it is covered for
    at most the largest sum of sizes within ``room``, and by at most ``room // t`` panels of
    size t or more. Both are dual feasible functions applied band by band (Fekete and
    Schepers 2001, "New classes of fast lower bounds for bin packing problems").

    Args:
        bands: (breadth, room) of each band, micrometers.
        sums: Sorted sums within reach in the direction of ``room``; empty for no bound.
        counts: (threshold, total breadth) of the panels at or above the threshold.
        area: Area of the panels, square micrometers.
    """
    if sums:
        held = sum([breadth * sums[bisect_right(sums, room) - 1] for breadth, room in bands])
    else:
        held = sum([breadth * room for breadth, room in bands])
    if held < area:
        return False
    return all(sum([breadth * (room // size) for breadth, room in bands]) >= need for size, need in counts)
