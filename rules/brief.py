"""A verdict in brief: what a row of a list says of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from rules.check import Verdict
from rules.findings import headline_of
from rules.ir import SEVERITIES, Severity
from rules.pricing import priced
from rules.promise import promise_of

_PLACE = {severity: place for place, severity in enumerate(SEVERITIES)}
Fired = tuple[str, Severity]


@dataclass(frozen=True, slots=True)
class Brief:
    """A verdict in brief. Equal for a single check and for a row of a list.

    ``fired``: each rule that fired with each of its severities, once, by severity, then id.
    ``total_minor``: None where there is no price. ``lots``: codes by part, in the pattern's order.
    """

    outcome: str
    headline: str
    fired: tuple[Fired, ...]
    total_minor: int | None
    ready_on: date | None
    lots: Mapping[str, tuple[str, ...]]


def in_order(fired: set[Fired]) -> tuple[Fired, ...]:
    """Return rules that fired by severity, the worst first, then id."""
    return tuple(sorted(fired, key=lambda each: (_PLACE[each[1]], each[0])))


def brief_of(verdict: Verdict) -> Brief:
    """Return a verdict in brief."""
    case, piece = verdict.case, verdict.case.piece
    price, promise = priced(piece), promise_of(case)
    lots = {part: tuple(lot.code for lot in case.lots_for(part)) for part in piece.parts}
    return Brief(
        outcome=verdict.outcome,
        headline=headline_of(verdict.findings, piece.called),
        fired=in_order({(finding.rule, finding.severity) for finding in verdict.findings}),
        total_minor=None if price is None else price.total_minor,
        ready_on=None if promise is None else promise.ready_on,
        lots={part: codes for part, codes in lots.items() if codes},
    )
