"""Bench minutes by operation as whole numbers: what one pattern takes, worked out once.

A minute is split into as many parts as make every figure of the catalog whole, so that sums are
exact and quick.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import lcm

from catalog.model import Catalog, Labor, Number, Pattern
from rules.thread import stitches_of

_HUNDRED_MM = 100_000


@dataclass(frozen=True, slots=True)
class PatternTimes:
    """Parts of a minute that one piece of a pattern takes: always, by edge finish, by stitch."""

    always: int
    edge: Mapping[str, int]
    stitch: Mapping[str, int]


class Times:
    """The catalog's bench times in whole parts of a minute; ``per_minute`` says how many parts."""

    def __init__(self, catalog: Catalog) -> None:
        labor = catalog.labor
        patterns = {code: _times_of(pattern, labor) for code, pattern in catalog.patterns.items()}
        single = {
            "split_panel": labor.split_panel, "hardware_each": labor.hardware_each,
            "monogram_letter": labor.monogram_letter,
            "monogram_once": labor.monogram_setup + labor.monogram_test_strike,
        }  # fmt: skip
        rows: list[Iterable[Number]] = [single.values(), labor.modification.values()]
        for always, edge, stitch in patterns.values():
            rows += [[always], edge.values(), stitch.values()]
        self.per_minute = lcm(*(figure.denominator for row in rows for figure in row))
        self.split_panel = self._whole(single["split_panel"])
        self.hardware_each = self._whole(single["hardware_each"])
        self.monogram_letter = self._whole(single["monogram_letter"])
        self.monogram_once = self._whole(single["monogram_once"])
        self.modification = {code: self._whole(minutes) for code, minutes in labor.modification.items()}
        self.patterns = {
            code: PatternTimes(
                self._whole(always),
                {finish: self._whole(minutes) for finish, minutes in edge.items()},
                {name: self._whole(minutes) for name, minutes in stitch.items()},
            )
            for code, (always, edge, stitch) in patterns.items()
        }

    def _whole(self, minutes: Number) -> int:
        return int(minutes * self.per_minute)

    def minutes(self, parts: int) -> Number:
        """Return parts of a minute as minutes, exact."""
        whole, rest = divmod(parts, self.per_minute)
        return Fraction(parts, self.per_minute) if rest else whole


def _times_of(pattern: Pattern, labor: Labor) -> tuple[Number, dict[str, Number], dict[str, Number]]:
    """Return the minutes of a piece that are always needed, and those by edge finish and by stitch."""
    seams = sum(seam.length_um for seam in pattern.seams.values())
    always = (
        labor.per_piece.get(pattern.code, 0)
        + labor.cut_panel * sum(panel.count for panel in pattern.panels.values())
        + Fraction(seams, _HUNDRED_MM) * (labor.skive_per_100_mm + labor.glue_per_100_mm)
    )
    edges: dict[str, Number] = {
        finish: Fraction(pattern.edge_length_um, _HUNDRED_MM) * labor.edge_per_100_mm[finish] * pattern.edge_time_factor
        for finish in pattern.edge_finishes
    }
    return always, edges, {stitch: _stitching(pattern, labor, stitch, seams) for stitch in pattern.stitches}


def _stitching(pattern: Pattern, labor: Labor, stitch: str, seams_um: int) -> Number:
    stitches = sum(stitches_of(pattern, seam) for seam in pattern.seams.values())
    if stitch == "machine":
        machine = Fraction(seams_um, _HUNDRED_MM) * labor.machine_stitch_per_100_mm
        return stitches * labor.prick_per_hole + machine
    by_hand = labor.whip_stitch if stitch == "whip" else labor.hand_stitch
    return stitches * (labor.prick_per_hole + by_hand)
