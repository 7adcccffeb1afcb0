"""Twenty-five of the rules written by hand as plain functions: the baseline of the bulk evaluator.

Each says whether it fires on a piece, as a programmer would write it who knows the catalog and needs no reason,
no figure and no lot.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from catalog.color import de00_milli
from rules.piece import PartUse, Piece

Closure = Callable[[Piece], bool]


def _back_refused(part: PartUse) -> bool:
    return part.kind is not None and part.side == "flesh" and part.kind.back_shown == "refuse"


def _limits() -> list[Closure]:
    """Return the rules; the names in the comments are those of the rules they stand for."""
    found: list[Closure] = []

    def rule(fires: Closure) -> Closure:
        found.append(fires)
        return fires

    rule(lambda p: any(part.leather is None for part in p.parts.values()))  # CAT-03
    rule(lambda p: p.thread is None)  # CAT-01
    rule(lambda p: p.edge is None)  # EDG-02
    rule(lambda p: p.stitch not in p.pattern.stitches)  # type: ignore[union-attr]  # CAT-05
    rule(lambda p: p.edge is not None and p.edge.finish not in p.pattern.edge_finishes)  # type: ignore[union-attr]
    rule(lambda p: any(part.leather and part.leather.status == "retired" for part in p.parts.values()))  # CAT-02
    rule(lambda p: bool(p.outside and p.outside.kind and p.outside.kind.lining_only))  # CAT-07
    rule(lambda p: any(part.leather and part.leather.status == "last_lot" for part in p.parts.values()))  # STO-07
    rule(
        lambda p: bool(p.edge and p.outside and p.outside.kind and p.outside.kind.edge[p.edge.finish] == "refuse")
    )  # EDG-01
    rule(lambda p: bool(p.edge and p.edge.status == "out"))  # EDG-03
    rule(
        lambda p: bool(
            p.edge and p.edge.finish == "turned" and p.outside and p.outside.kind
            and p.outside.kind.skive_min_um > p.threshold("turned_skive_mm")
        )
    )  # EDG-05  # fmt: skip
    rule(
        lambda p: bool(
            p.matches_thread and p.thread and p.outside and p.outside.leather
            and de00_milli(p.outside.leather.swatch, p.thread.swatch) > p.threshold("match_color_de00")
        )
    )  # COL-01  # fmt: skip
    rule(
        lambda p: bool(
            p.thread
            and not p.threshold("stitch_ratio_min")
            <= Fraction(p.thread.diameter_um, p.pattern.pitch_um)  # type: ignore[union-attr]
            <= p.threshold("stitch_ratio_max")
        )
    )  # STI-01
    rule(
        lambda p: bool(
            p.thread and p.outside and p.outside.kind and p.outside.kind.rub_rating <= p.threshold("shed_rub_rating")
            and p.thread.swatch.lightness_milli > p.threshold("pale_thread_l")
        )
    )  # STI-03  # fmt: skip
    rule(
        lambda p: any(
            part.kind and part.side == "flesh" and part.kind.back_shown == "refuse" for part in p.parts.values()
        )
    )
    rule(lambda p: bool(p.typeface and any(sign.islower() for sign in p.spec.monogram.text)))  # type: ignore[union-attr]
    rule(lambda p: p.spec.monogram is not None and p.zone is None)  # MON-08
    rule(lambda p: p.spec.monogram is not None and p.spec.monogram.artwork)  # MON-10
    rule(
        lambda p: bool(
            p.typeface and p.zone and p.spec.monogram
            and len(p.spec.monogram.text.replace(" ", "")) * p.typeface.advance_um
            > p.zone.width_um - p.threshold("zone_margin_width_mm")
        )
    )  # MON-03  # fmt: skip
    rule(lambda p: bool(p.typeface and p.spec.monogram and p.spec.monogram.method not in p.typeface.methods))  # MON-06
    rule(lambda p: p.bearing and p.use is None)  # CAT-03, use
    rule(lambda p: p.use is not None and p.catalog.uses.get(p.use) == "refuse")  # LOD-04
    rule(lambda p: any(claim.casefold() == "vegan" for claim in p.spec.purpose.claims))  # LAW-12
    rule(lambda p: any(hardware.stock < p.quantity for hardware in p.hardware.values()))  # HDW-03
    rule(lambda p: p.spec.catalog_revision not in (None, p.catalog.workshop.catalog_revision))  # CAT-08
    return found


CLOSURES = tuple(_limits())
