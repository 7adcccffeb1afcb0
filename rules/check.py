"""A check: a spec held against rules and stock.

The answer is a JSON-ready dict with the fields of the service's contract, as the owner sees it.
Same spec, same revisions, same day: the same answer, byte for byte.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from typing import Any

from catalog.units import number_in
from rules.alternatives import alternatives_for
from rules.case import Case
from rules.closed import closed_um
from rules.cost import cost_minor, margin_percent_of
from rules.cutting import cut_from
from rules.defaults import fill_gaps
from rules.echo import spec_hash, understood
from rules.evaluate import OUTCOMES, Rank, order_of, rank_of, value_of
from rules.explain import explained, read_back
from rules.findings import Finding, findings_of, headline_of
from rules.labor import order_minutes
from rules.law_rows import covers
from rules.lots import Best, find_best
from rules.measures.edges import edge_ul
from rules.measures.law import is_personalized
from rules.money import money, price_json
from rules.piece import Piece
from rules.promise import promise_of
from rules.remedies import remedies_for
from rules.shop import Shop
from rules.spec import Spec
from rules.stock import TooLongError

#: Steps of a search over lots in haste: some milliseconds.
HURRIED_WORK = 100


@dataclass(frozen=True, slots=True)
class Verdict:
    """A judged spec: the best assignment's case, the findings in order, and the steps it took."""

    case: Case
    findings: tuple[Finding, ...]
    rank: Rank
    work: int

    @property
    def outcome(self) -> str:
        """Return buildable, sign_off or refused."""
        return OUTCOMES[self.rank.outcome]

    @property
    def order(self) -> tuple[int, int, int, int]:
        """Return how bad the verdict is, as a sort key."""
        return order_of(self.rank)


@dataclass(frozen=True, slots=True)
class Offers:
    """Changes that were re-checked: remedies by finding id, and alternatives to the spec."""

    remedies: dict[str, list[dict[str, Any]]]
    alternatives: list[dict[str, Any]]


def judge(shop: Shop, spec: Spec, today: date) -> Verdict:
    """Judge a spec over the best assignment of lots."""
    best = find_best(shop.piece(spec), shop.judges(today), shop.warehouse, today)
    return _verdict(best)


def judge_with(shop: Shop, spec: Spec, lots: Mapping[str, Sequence[str]], today: date) -> Verdict:
    """Judge a spec cut from these lots, codes in stock by part, whatever others might do better."""
    given = {part: tuple(shop.catalog.lots[code] for code in codes) for part, codes in lots.items()}
    case = Case(shop.piece(spec), given, shop.warehouse, today)
    return _verdict(Best(case, tuple(shop.judges(today).everything(case)), 1))


def _verdict(best: Best) -> Verdict:
    rank = rank_of((said.rule, said.severity) for said in best.said)
    return Verdict(best.case, findings_of(best.said), rank, best.work)


def check(
    shop: Shop,
    spec: Spec,
    *,
    today: date,
    fill_defaults: bool = False,
    alternatives: int = 0,
    explain: bool = False,
) -> dict[str, Any]:
    """Return the answer to a spec; with ``fill_defaults`` its gaps are filled first and named."""
    return checked(shop, spec, today=today, fill_defaults=fill_defaults, alternatives=alternatives, explain=explain)[0]


def checked(
    shop: Shop,
    spec: Spec,
    *,
    today: date,
    fill_defaults: bool = False,
    alternatives: int = 0,
    explain: bool = False,
) -> tuple[dict[str, Any], Verdict]:
    """Return the answer to a spec with the verdict behind it, for whoever sets aside what it takes."""
    filled: tuple[str, ...] = ()
    if fill_defaults:
        spec, filled = fill_gaps(spec, shop.indexes)
    verdict = judge(shop, spec, today)

    def recheck(changed: Spec) -> Verdict:
        return judge(shop, changed, today)

    offers = Offers(
        remedies_for(shop, spec, verdict, recheck),
        alternatives_for(shop, verdict, recheck, alternatives) if alternatives else [],
    )
    return _answer(shop, verdict, filled, offers, explain=explain), verdict


def answer_of(shop: Shop, verdict: Verdict) -> dict[str, Any]:
    """Return the answer to a judged spec with nothing offered: remedies cost far more than the verdict."""
    return _answer(shop, verdict, (), Offers({}, []), explain=False)


def quick_check(shop: Shop, spec: Spec, *, today: date) -> dict[str, Any] | None:
    """Return the answer to a spec if nothing stands in its way and that is soon known, else None.

    The same bytes as :func:`check`. For callers that must not be kept waiting for others: what
    needs remedies, many steps of the search over lots or a hard layout is left to a patient check.
    """
    verdict = _quick_verdict(shop, spec, today)
    return None if verdict is None or verdict.outcome != OUTCOMES[0] else answer_of(shop, verdict)


def quick_answer(shop: Shop, spec: Spec, *, today: date) -> dict[str, Any] | None:
    """Return the answer to a spec with nothing offered if it is soon known, whatever it is, else None."""
    verdict = _quick_verdict(shop, spec, today)
    return None if verdict is None else answer_of(shop, verdict)


def _quick_verdict(shop: Shop, spec: Spec, today: date) -> Verdict | None:
    try:
        return _verdict(find_best(shop.piece(spec), shop.judges(today), shop.hurried, today, HURRIED_WORK))
    except TooLongError:
        return None


def _answer(shop: Shop, verdict: Verdict, filled: tuple[str, ...], offers: Offers, *, explain: bool) -> dict[str, Any]:
    case, piece = verdict.case, verdict.case.piece
    echo = understood(piece)
    promise = promise_of(case)
    shop_facts = piece.catalog.workshop
    answer: dict[str, Any] = {
        "outcome": verdict.outcome,
        "complete": not any(finding.rule == "CAT-03" for finding in verdict.findings) and piece.complete,
        "headline": headline_of(verdict.findings, piece.called),
        "spec": echo,
        "resolved": _resolved(piece),
        "filled": list(filled),
        "spec_hash": spec_hash(echo),
        "findings": [finding.as_json(offers.remedies.get(finding.id, [])) for finding in verdict.findings],
        "price": price_json(piece, verdict.outcome),
        "cut_from": cut_from(case),
        "figures": _figures(case),
        "rated_for": _rated_for(case),
        "alternatives": offers.alternatives,
        "promise": None if promise is None else {"ready_on": promise.ready_on.isoformat(), "weeks": promise.weeks},
        "withdrawal": _withdrawal(piece),
        "revisions": shop.revisions,
        "as_of": case.today.isoformat(),
        "valid_until": (case.today + timedelta(days=shop_facts.quote_days)).isoformat(),
    }
    if explain:
        answer["explained"] = explained(shop.judges(case.today), case)
        answer["read_back"] = read_back(case)
    return answer


def _resolved(piece: Piece) -> dict[str, Any]:
    thread = piece.thread if piece.matches_thread else None
    edge = piece.edge if piece.matches_edge else None
    return {
        "thread": None if thread is None else thread.code,
        "edge": None if edge is None else edge.code,
    }


def number_json(value: int | Fraction | None, unit: str) -> int | float | None:
    """Return a base-unit figure as a JSON number in its unit, at most 3 decimals."""
    if value is None:
        return None
    return number_in(value, unit)


def _figures(case: Case) -> dict[str, Any]:
    piece, pattern = case.piece, case.pattern
    if pattern is None:
        return {}
    thread, cost = case.shape.thread_um, cost_minor(case)
    spine = case.shape.spine
    return {
        "closed_thickness_mm": number_json(closed_um(case), "mm"),
        "thread_m": None if thread is None else _figure(thread * piece.quantity, "m"),
        "edge_ml": None if piece.edge is None else number_json(edge_ul(piece) or 0, "ml"),
        "stack_mm": dict(case.shape.seams_mm),
        "spine_mm": None if spine is None else number_json(spine.total_um, "mm"),
        "minutes": number_json(order_minutes(case), "min"),
        "cost": None if cost is None else money(piece, round(cost)),
        "margin_percent": number_json(margin_percent_of(case), "percent"),
    }


def _figure(value: int | Fraction, unit: str) -> int | float | None:
    """Thread is short: its meters are shown to a tenth of a millimeter."""
    return round(Fraction(value) / 100) / 10_000 if unit == "m" else number_json(value, unit)


def _rated_for(case: Case) -> dict[str, Any] | None:
    if not case.piece.bearing:
        return None
    required, strap = value_of(case, "piece.required_strength"), value_of(case, "piece.strap_strength")
    return {
        "use": case.piece.use,
        "required_n": number_json(required if isinstance(required, int | Fraction) else None, "N"),
        "strap_breaks_at_n": number_json(strap if isinstance(strap, int | Fraction) else None, "N"),
        "note": "Not for lifting, climbing, fall arrest, vehicles or children. Inspect before use; follow local codes.",
    }


def _withdrawal(piece: Piece) -> dict[str, Any] | None:
    row = next((row for row in piece.catalog.law_of("LAW-08") if covers(row, piece)), None)
    if row is None:
        return None
    ground = "personalized" if is_personalized(piece) else "options_only"
    days = {"checked_on": row.checked_on.isoformat(), "review_by": row.review_by.isoformat()}
    return {"ground": ground, "law_row": row.code, **days}
