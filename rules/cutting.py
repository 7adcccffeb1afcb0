"""What a piece would be cut from: part by part, lot by lot."""

from __future__ import annotations

from functools import partial
from typing import Any

from catalog.model import Lot
from catalog.units import number_in, thousandths
from rules.case import Case
from rules.holding import Share
from rules.layout import Piece as LaidPiece
from rules.stock import need_um2


def cut_from(case: Case) -> list[dict[str, Any]]:
    """Return one entry for each part and lot, with what is left of the lot after it.

    ``proof`` is ``layout`` where every panel lies; ``none`` where the lots do not hold them.
    """
    rows: dict[str, list[dict[str, Any]]] = {}
    for leather, parts in case.piece.cut_from.items():
        sides = tuple(case.piece.parts[part].side for part in parts)
        rows |= case.warehouse.cuts.get((case.held_by(leather), sides), partial(_rows_of, case, leather, parts))
    return [dict(row) for part in case.piece.parts for row in rows.get(part, ())]


def _rows_of(case: Case, leather: str, parts: tuple[str, ...]) -> dict[str, list[dict[str, Any]]]:
    """Return the entries of one leather by part."""
    left: dict[str, Any] = {}
    rows: dict[str, list[dict[str, Any]]] = {part: [] for part in parts}
    share, kind = case.holding(leather).share, case.piece.catalog.leathers[leather].kind
    for part in parts:
        for lot in case.lots_for(part):
            panels = _all_or_none(case, part) if share is None else _panels(case, part, lot, share)
            area = need_um2(panels, case.warehouse.gap_um, kind)
            left[lot.code] = left.get(lot.code, lot.free_um2) - area
            rows[part].append(
                {
                    "part": part,
                    "lot": lot.code,
                    "pieces": sum(panel.count for panel in panels),
                    "area_dm2": thousandths(area, "dm2") / 1000,
                    "thickness_mm": _worked_mm(case, part, lot),
                    "left_after_dm2": None if share is None else thousandths(left[lot.code], "dm2") / 1000,
                    "proof": "none" if share is None else "layout",
                }
            )
    return rows


def _panels(case: Case, part: str, lot: Lot, share: Share) -> list[LaidPiece]:
    """Return the panels of a part that the layout puts into one lot."""
    return [
        LaidPiece(panel.along_um, panel.across_um, panel.turnable, count, panel.label)
        for panel in case.laid(part)
        if (count := share.get((panel.label, lot.code), 0))
    ]


def _all_or_none(case: Case, part: str) -> list[LaidPiece]:
    """Where nothing lies, one lot is shown with every panel; several cannot be told apart."""
    return case.laid(part) if len(case.lots_for(part)) == 1 else []


def _worked_mm(case: Case, part: str, lot: Lot) -> float | int:
    """Return the largest thickness that the part's panels are worked at from the lot, mm."""
    worked = [case.shape.use_of(panel, lot).used_um for panel in case.panels if panel.part == part]
    return number_in(max(worked, default=0), "mm")
