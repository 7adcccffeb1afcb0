"""What a piece would be cut from: part by part, lot by lot."""

from __future__ import annotations

from typing import Any

from catalog.model import Lot
from catalog.units import shown
from rules.case import Case, thickness_from
from rules.holding import Share
from rules.layout import Piece as LaidPiece
from rules.piece import PartUse
from rules.stock import need_um2


def cut_from(case: Case) -> list[dict[str, Any]]:
    """Return one entry for each part and lot, with what is left of the lot after it.

    ``proof`` is ``layout`` where every panel lies; ``none`` where the lots do not hold them.
    """
    left: dict[str, Any] = {}
    found = []
    for part in case.piece.parts.values():
        if part.leather is None or part.kind is None:
            continue
        share = case.share(part.leather.code) if case.lies(part.leather.code) else None
        for lot in case.lots_for(part.code):
            panels = _all_or_none(case, part) if share is None else _panels(case, part, lot, share)
            area = need_um2(panels, case.warehouse.gap_um, part.kind)
            left[lot.code] = left.get(lot.code, lot.free_um2) - area
            found.append(
                {
                    "part": part.code,
                    "lot": lot.code,
                    "pieces": sum(panel.count for panel in panels),
                    "area_dm2": float(shown(area, "dm2")),
                    "thickness_mm": _worked_mm(case, part, lot),
                    "left_after_dm2": None if share is None else float(shown(left[lot.code], "dm2")),
                    "proof": "none" if share is None else "layout",
                }
            )
    return found


def _panels(case: Case, part: PartUse, lot: Lot, share: Share) -> list[LaidPiece]:
    """Return the panels of a part that the layout puts into one lot."""
    return [
        LaidPiece(panel.along_um, panel.across_um, panel.turnable, count, panel.label)
        for panel in case.laid(part.code)
        if (count := share.get((panel.label, lot.code), 0))
    ]


def _all_or_none(case: Case, part: PartUse) -> list[LaidPiece]:
    """Where nothing lies, one lot is shown with every panel; several cannot be told apart."""
    return case.laid(part.code) if len(case.lots_for(part.code)) == 1 else []


def _worked_mm(case: Case, part: PartUse, lot: Lot) -> float | int:
    """Return the largest thickness that the part's panels are worked at from the lot, mm."""
    worked = [thickness_from(case.piece, panel, part, lot).used_um for panel in case.panels if panel.part == part.code]
    decimal = shown(max(worked, default=0), "mm")
    return int(decimal) if decimal == decimal.to_integral_value() else float(decimal)
