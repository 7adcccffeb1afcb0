"""How thick a pattern comes out from certain lots: panels, stacks, folds, spine, thread.

A part cut from several lots takes the worst of them: the largest thickness. Many specs differ
in nothing that matters here, so a shape is worked out once and kept by the warehouse.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from catalog.model import Catalog, Kind, Layer, Lot, Number, Panel, Pattern, Seam
from catalog.units import number_in
from rules.lazy import once
from rules.piece import FLESH
from rules.thread import saddle_stitch_um, stitches_of

SPLIT = ("split", "split_sign_off")


@dataclass(frozen=True, slots=True)
class ThicknessUse:
    """What a panel is worked at from one lot. ``how`` names the first rule of use that applies."""

    how: str
    used_um: int


def thickness_from(catalog: Catalog, pattern: Pattern, panel: Panel, side: str, lot: Lot) -> ThicknessUse:
    """Return the thickness a panel is worked at from a lot (common practice, no source).

    First that applies: too thin (as it is); fits; over by the tolerance, with some of the lot
    within (the maximum is chosen on the hide); flesh out, unsplittable, too delicate, bearing
    (never split); else split to the maximum.
    """
    low, high, most = lot.thickness.min_um, lot.thickness.max_um, panel.thickness.max_um
    if high < panel.thickness.min_um:
        return ThicknessUse("too_thin", high)
    if high <= most:
        return ThicknessUse("fits", high)
    if low <= most and high - most <= catalog.thresholds["thickness_over_tolerance_mm"].value:
        return ThicknessUse("tolerated", most)
    return _taken_off(pattern, side, catalog.leathers[lot.leather].kind, high, most)


def _taken_off(pattern: Pattern, side: str, kind: Kind, high: int, most: int) -> ThicknessUse:
    """Return the use of a lot that is over a panel's maximum, beyond the tolerance."""
    if side == FLESH:
        return ThicknessUse("flesh_out", most)
    if kind.split == "refuse":
        return ThicknessUse("unsplittable", high)
    if most < kind.split_min_um:
        return ThicknessUse("too_delicate", high)
    if pattern.load.load_class == "bearing":
        return ThicknessUse("bearing", most)
    return ThicknessUse("split_sign_off" if kind.split == "sign_off" else "split", most)


@dataclass(frozen=True, slots=True)
class Stack:
    """The sum of known layers, and whether every layer is known."""

    total_um: int
    complete: bool


class Shape:
    """A pattern with the sides of its parts and the lots they are cut from; () where none is given."""

    def __init__(
        self, catalog: Catalog, pattern: Pattern, sides: Mapping[str, str], lots: Mapping[str, tuple[Lot, ...]]
    ) -> None:  # fmt: skip
        self._catalog = catalog
        self.pattern = pattern
        self._sides = sides
        self._lots = lots
        self._used: dict[str, ThicknessUse | None] = {}

    def use_of(self, panel: Panel, lot: Lot) -> ThicknessUse:
        """Return what a panel is worked at from one lot."""
        return thickness_from(self._catalog, self.pattern, panel, self._sides[panel.part], lot)

    def thickness(self, panel_code: str) -> ThicknessUse | None:
        """Return the worst thickness that a panel is worked at, or None where not known."""
        if panel_code not in self._used:
            panel = self.pattern.panels[panel_code]
            uses = [self.use_of(panel, lot) for lot in self._lots[panel.part]]
            self._used[panel_code] = max(uses, key=lambda use: use.used_um) if uses else None
        return self._used[panel_code]

    def layer_um(self, layer: Layer) -> int | None:
        """Return the thickness of one layer in a stack, pared where the layer says so."""
        use = self.thickness(layer.panel)
        if use is None:
            return None
        return use.used_um if layer.skived_to_um is None else min(use.used_um, layer.skived_to_um)

    def stack(self, layers: Iterable[Layer]) -> Stack:
        """Return the sum of a stack's layers."""
        total, complete = 0, True
        for layer in layers:
            height = self.layer_um(layer)
            if height is None:
                complete = False
            else:
                total += layer.count * height
        return Stack(total, complete)

    def panels_stack(self, panels: Iterable[str], skived_to_um: int | None) -> Stack:
        """Return the sum of panels laid on each other, capped where they are pared."""
        found = self.stack(Layer(panel, 1) for panel in panels)
        if skived_to_um is None:
            return found
        return Stack(min(found.total_um, skived_to_um), found.complete)

    @once
    def seams(self) -> Mapping[str, Stack]:
        """The stack at each seam, by its code."""
        return {code: self.stack(seam.layers) for code, seam in self.pattern.seams.items()}

    @once
    def seams_mm(self) -> Mapping[str, int | float]:
        """The stack at each seam as JSON shows it, mm."""
        return {code: number_in(stack.total_um, "mm") for code, stack in self.seams.items()}

    @once
    def thickest_seam(self) -> Seam | None:
        """The seam with the thickest stack, the first of equals; None without seams."""
        thickest = max(self.seams, key=lambda code: self.seams[code].total_um, default=None)
        return None if thickest is None else self.pattern.seams[thickest]

    @once
    def closed(self) -> Stack:
        """The layers of the closed piece, without what it carries."""
        return self.stack(self.pattern.closed.layers)

    @once
    def spine(self) -> Stack | None:
        """The stack at the spine, where the pattern has one."""
        spine = self.pattern.spine
        return None if spine is None else self.panels_stack(spine.panels, spine.skived_to_um)

    @once
    def split_panels(self) -> int:
        """How many panels of a piece are split."""
        worked = ((panel.count, self.thickness(code)) for code, panel in self.pattern.panels.items())
        return sum(count for count, use in worked if use is not None and use.how in SPLIT)

    @once
    def thread_um(self) -> Number | None:
        """The thread of one piece in um: two needles, so 2 x (pitch + stack) a stitch, and waste.

        None while a layer is missing. Source: stack and pitch per stitch as in published length
        formulas for saddle stitch; the waste is common practice.
        """
        pattern = self.pattern
        total: Number = self._catalog.thresholds["thread_waste_m"].value
        for code, seam in pattern.seams.items():
            stack = self.seams[code]
            if not stack.complete:
                return None
            total += stitches_of(pattern, seam) * saddle_stitch_um(pattern.pitch_um, stack.total_um)
        return total
