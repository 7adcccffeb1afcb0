"""The answer to what can still be chosen, as a caller may see it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from api.visibility import Caller, findings_view, reason_view
from rules.findings import Finding
from rules.guide import Guidance, Guided, Option, guide
from rules.guide.answer import CLOSED, OPEN
from rules.guide.reasons import because, clash_of
from rules.guide.strays import said_of_strays, strays_in, without
from rules.guide.summary import Summary, summaries_of
from rules.money import money
from rules.piece import Piece
from rules.shop import Shop
from rules.spec import Spec


@dataclass(frozen=True, slots=True)
class Asking:
    """What is asked beside the spec: by whom, with which figures, and what is to stay empty."""

    caller: Caller
    figures: bool = False
    left_out: tuple[str, ...] = ()


def choices_for(shop: Shop, spec: Spec, today: date, asking: Asking) -> dict[str, Any]:
    """Return what can still be chosen in a spec, as JSON carries it.

    The same spec, revisions and day give the same answer. The first to ask for a pattern waits until it is compiled,
    some seconds; call it from a thread.
    """
    piece = shop.piece(spec)
    strays = strays_in(piece)
    if piece.pattern is None:
        findings = said_of_strays(shop, spec, today, [each for each in strays if each.what == "pattern"])
        slots = [_patterns(shop, spec, today, asking)]
        return _answer(shop, piece, today, asking, CLOSED, slots, None, findings)
    guidance = guide(shop, without(spec, strays), today, figures=asking.figures, left_out=asking.left_out)
    findings = said_of_strays(shop, spec, today, strays, guidance.unheard)
    state = CLOSED if strays else guidance.state
    slots = [_slot(piece, guidance, each, asking) for each in guidance.slots]
    conflict = _conflict(guidance, asking)
    return _answer(shop, piece, today, asking, state, slots, conflict, findings, exact=guidance.exact)


def _answer(
    shop: Shop, piece: Piece, today: date, asking: Asking, state: str, slots: list[dict[str, Any]],
    conflict: dict[str, Any] | None, findings: Iterable[Finding], *, exact: bool = True,
) -> dict[str, Any]:  # fmt: skip
    return {
        "buildable": state == OPEN,
        "state": state,
        "exact": exact,
        "currency": piece.catalog.workshop.currency,
        "quantity": piece.quantity,
        "slots": slots,
        "conflict": conflict,
        "findings": findings_view([each.as_json([]) for each in findings], asking.caller),
        "revisions": shop.revisions,
        "as_of": today.isoformat(),
    }


def _patterns(shop: Shop, spec: Spec, today: date, asking: Asking) -> dict[str, Any]:
    """Return every pattern as an option, all other choices kept."""
    options = []
    for code in shop.catalog.patterns:
        asked = replace(spec, pattern=code)
        piece = shop.piece(asked)
        strays = strays_in(piece)
        guidance = guide(shop, without(asked, strays), today, left_out=asking.left_out)
        options.append(_pattern(piece, guidance, CLOSED if strays else guidance.state, asking))
    return {"slot": "/pattern", "chosen": None, "options": options}


def _pattern(piece: Piece, guidance: Guidance, state: str, asking: Asking) -> dict[str, Any]:
    shown: dict[str, Any] = {"value": piece.spec.pattern, "state": state}
    if state == CLOSED:
        return shown | {"because": _reasons(clash.findings if (clash := clash_of(guidance)) else (), asking.caller)}
    summary = summaries_of(guidance)[state] if guidance.exact else Summary(0)
    shown["cheapest"] = _total(piece, summary.cheapest_minor)
    if asking.figures:
        shown["dearest"] = _total(piece, summary.dearest_minor)
        shown["completions"] = str(summary.specs) if guidance.exact else None
    return shown


def _slot(piece: Piece, guidance: Guidance, guided: Guided, asking: Asking) -> dict[str, Any]:
    options = [_option(piece, guidance, guided.pointer, each, asking) for each in guided.options]
    return {"slot": guided.pointer, "chosen": guided.chosen, "options": options}


def _option(piece: Piece, guidance: Guidance, pointer: str, option: Option, asking: Asking) -> dict[str, Any]:
    shown: dict[str, Any] = {"value": option.value, "state": option.state}
    if option.state == CLOSED:
        reasons = because(guidance, pointer, option.value)
        return shown | {"because": _reasons(reasons, asking.caller)}
    shown["cheapest"] = _total(piece, option.cheapest_minor)
    if asking.figures:
        shown["dearest"] = _total(piece, option.dearest_minor)
        shown["completions"] = None if option.completions is None else str(option.completions)
    return shown


def _total(piece: Piece, minor: int | None) -> str | None:
    return None if minor is None else money(piece, minor)


def _conflict(guidance: Guidance, asking: Asking) -> dict[str, Any] | None:
    clash = clash_of(guidance)
    if clash is None:
        return None
    return {"choices": [list(each) for each in clash.choices], "rules": _reasons(clash.findings, asking.caller)}


def _reasons(findings: Iterable[Finding], who: Caller) -> list[dict[str, Any]]:
    told: list[Mapping[str, Any]] = [
        {
            "rule": each.rule, "says": each.message, "measured": each.said.measured, "limit": each.said.limit,
            "unit": each.said.unit, "bench_message": each.said.bench_message,
        }
        for each in findings
    ]  # fmt: skip
    return reason_view(told, who)
