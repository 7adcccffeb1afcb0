"""Measures of sides and marks of nature (SID)."""

from __future__ import annotations

from catalog.vocabulary import STAMP_PLACES
from rules.piece import FLESH
from rules.subjects import PartScope, Whole
from rules.vocabulary import number, truth, word


@truth("part.back_seen", "the back of the leather is seen", reads=["side", "pattern"])
def back_seen(part: PartScope) -> bool:
    """Whether the flesh side is out, or a panel of the part shows its back anyway."""
    return part.part.side == FLESH or any(
        panel.reverse_seen for panel in part.case.panels if panel.part == part.part.code
    )


@word(
    "part.back_shown",
    "whether the back of this kind may show",
    reads=["leather"],
    levels=("fine", "sign_off", "refuse"),
)
def back_shown(part: PartScope) -> str:
    """Return the kind's grade."""
    return part.kind.back_shown


@truth("piece.mark_asked", "a measure mark is asked for", reads=["modifications"])
def mark_asked(whole: Whole) -> bool:
    """Whether the hide's stamp is to show."""
    return "measure_mark" in whole.piece.modifications


@number(
    "piece.marks_legible", "count", "legible measure marks in the lots of the outside", reads=["lots"], of=("outside",)
)
def marks_legible(whole: Whole) -> int | None:
    """Return the legible marks, one a lot; None where no lot is given."""
    lots = whole.case.outside_lots
    return sum(lot.stamp_legible for lot in lots) if lots else None


@number("piece.quantity", "count", "pieces ordered", reads=["quantity"])
def quantity(whole: Whole) -> int:
    """Return the quantity."""
    return whole.piece.quantity


@truth("part.lining_only", "the kind is a lining only", reads=["leather"])
def lining_only(part: PartScope) -> bool:
    """Whether the kind may serve as a lining only."""
    return part.kind.lining_only


@truth("piece.marks_ok", "small healed marks are welcome", reads=["marks_ok"])
def marks_ok(whole: Whole) -> bool | None:
    """Return the customer's answer; None where nobody asked."""
    return whole.piece.spec.marks_ok


@truth("part.grade_a", "the part comes from grade A only", reads=["lots"])
def grade_a(part: PartScope) -> bool | None:
    """Whether every lot of the part is grade A; None where it has none."""
    lots = part.case.lots_for(part.part.code)
    return all(lot.grade == "A" for lot in lots) if lots else None


@word("piece.mark_lands", "where the hide's stamp comes to lie", reads=["pattern"], levels=STAMP_PLACES)
def mark_lands(whole: Whole) -> str | None:
    """Return clear, fold, seam or hole; None where the template does not say."""
    return None if whole.piece.pattern is None else whole.piece.pattern.stamp_lands
