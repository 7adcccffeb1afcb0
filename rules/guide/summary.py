"""What a guidance comes to as a whole: how many specs keep its choices, and between which totals."""

from __future__ import annotations

from dataclasses import dataclass

from rules.diagram.constraint import Allowed
from rules.guide.answer import Guidance
from rules.guide.situation import LEVELS, Situation
from rules.guide.views import left_by


@dataclass(frozen=True, slots=True)
class Summary:
    """Specs that keep all choices made, of one state or a better one.

    ``specs``: how many there are, lots and letters not told apart. The totals are those of an order in minor units,
    None where there is no spec.
    """

    specs: int
    cheapest_minor: int | None = None
    dearest_minor: int | None = None


def summaries_of(guidance: Guidance) -> dict[str, Summary]:
    """Return what each state comes to: ``open`` without what the maker must agree to, ``sign_off`` with it.

    Raises:
        TooEntangledError: the guidance is not exact.
    """
    situation = guidance.situation
    if guidance.unheard:
        return {name: Summary(0) for name in LEVELS}
    left = left_by(situation.domain, tuple(guidance.chosen))
    return {name: _summary(situation, level, left) for name, level in LEVELS.items()}


def _summary(situation: Situation, level: int, left: Allowed) -> Summary:
    diagram = situation.diagram(level)
    if situation.never(level) or not diagram.satisfiable:
        return Summary(0)
    prices = situation.prices
    allow = [one & other for one, other in zip(left, situation.alive(level), strict=True)]
    least, most = (pick(allow, prices.alone)[0] for pick in (diagram.cheapest, diagram.dearest))
    if least is None or most is None:
        return Summary(0)
    return Summary(
        situation.specs(level).count(left).total, prices.total_minor(int(least)), prices.total_minor(int(most))
    )
