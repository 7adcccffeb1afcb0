"""The answer to what can still be chosen, as a caller may see it."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from threading import Lock
from typing import Any, Final
from weakref import WeakValueDictionary

from api.visibility import Caller, findings_view, reason_view
from rules.choices import choices_of
from rules.diagram.constraint import TooEntangledError
from rules.findings import Finding
from rules.guide import Guidance, Guided, Option, guide
from rules.guide.answer import CLOSED, OPEN
from rules.guide.nearest import Near, ways_out
from rules.guide.reasons import Reasons, clash_of
from rules.guide.strays import said_of_strays, strays_in, without
from rules.guide.summary import summaries_of
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


class _Turns:
    """Whoever asks what another is just compiling waits for it: two at once would each take twice as long."""

    def __init__(self) -> None:
        self._locks: WeakValueDictionary[Hashable, Lock] = WeakValueDictionary()  # gone with who holds it
        self._guard = Lock()

    def of(self, key: Hashable) -> Lock:
        """Return the turn of all who ask for the same."""
        with self._guard:
            found = self._locks.get(key)
            if found is None:
                found = self._locks[key] = Lock()
            return found


#: Ways out of a clash that are offered.
MOST_WAYS_OUT: Final = 3
_TURNS: Final = _Turns()


def _compiled_for(shop: Shop, spec: Spec, today: date) -> Hashable:
    """Return all that a compiled pattern hangs on, or more: the order's facts, never its choices."""
    facts = (
        spec.carry, spec.purpose, spec.quantity, spec.ship_to, spec.rush, spec.ready_by, tuple(spec.lots.items()),
        spec.repeats, spec.catalog_revision, spec.marks_ok, spec.mixed_metals_ok,
    )  # fmt: skip
    return id(shop.guides), shop.stock_revision, shop.backlog_revision, today, spec.pattern.casefold(), facts


def choices_for(shop: Shop, spec: Spec, today: date, asking: Asking) -> dict[str, Any]:
    """Return what can still be chosen in a spec, as JSON carries it.

    The same spec, revisions and day give the same answer. The first to ask for a pattern waits until it is compiled,
    some seconds; call it from a thread.
    """
    piece = shop.piece(spec)
    strays = strays_in(piece)
    if piece.pattern is None:
        findings = said_of_strays(shop, spec, today, [each for each in strays if each.what == "pattern"])
        slots = [_patterns(shop, today, asking)]
        return _answer(shop, shop.piece(Spec(pattern=spec.pattern)), today, asking, CLOSED, slots, None, findings)
    left_out = [pointer for pointer in asking.left_out if not _filled(spec, pointer)]
    with _TURNS.of(_compiled_for(shop, spec, today)):
        guidance = guide(shop, without(spec, strays), today, figures=asking.figures, left_out=left_out)
    findings = said_of_strays(shop, spec, today, strays, guidance.unheard)
    state = CLOSED if strays else guidance.state
    reasons = Reasons(guidance)
    slots = [_slot(piece, reasons, each, asking) for each in guidance.slots]
    conflict = _conflict(guidance, asking)
    return _answer(shop, piece, today, asking, state, slots, conflict, findings, exact=guidance.exact)


def _filled(spec: Spec, pointer: str) -> bool:
    """Return whether a spec fills a slot that is said to stay empty: what is chosen counts."""
    head, _, name = pointer[1:].partition("/")
    return spec.monogram is not None if head == "monogram" else name in spec.hardware


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
        "needed": [each.at for each in choices_of(piece) if each.required and not each.filled],
        "conflict": conflict,
        "findings": findings_view([each.as_json([]) for each in findings], asking.caller),
        "revisions": shop.revisions,
        "as_of": today.isoformat(),
    }


def _patterns(shop: Shop, today: date, asking: Asking) -> dict[str, Any]:
    """Return every pattern as an option, one piece with nothing chosen: what else was is of a pattern nobody knows.

    These are what :mod:`api.ahead` compiles, so that a slip of the pen costs no more than any other question.
    """
    options = [_pattern(shop, Spec(pattern=code), today, asking) for code in shop.catalog.patterns]
    return {"slot": "/pattern", "chosen": None, "options": options}


def _pattern(shop: Shop, spec: Spec, today: date, asking: Asking) -> dict[str, Any]:
    piece, guidance = shop.piece(spec), guide(shop, spec, today)
    shown: dict[str, Any] = {"value": spec.pattern, "state": guidance.state}
    if guidance.state == CLOSED:
        clash = clash_of(guidance)
        return shown | {"because": _reasons(() if clash is None else clash.findings, asking.caller)}
    summary = summaries_of(guidance)[guidance.state] if guidance.exact else None
    shown["cheapest"] = None if summary is None else _total(piece, summary.cheapest_minor)
    if asking.figures:
        shown["dearest"] = None if summary is None else _total(piece, summary.dearest_minor)
        shown["completions"] = None if summary is None else str(summary.specs)
    return shown


def _slot(piece: Piece, reasons: Reasons, guided: Guided, asking: Asking) -> dict[str, Any]:
    options = [_option(piece, reasons, guided.pointer, each, asking) for each in guided.options]
    return {"slot": guided.pointer, "chosen": None if guided.chosen == [] else guided.chosen, "options": options}


def _option(piece: Piece, reasons: Reasons, pointer: str, option: Option, asking: Asking) -> dict[str, Any]:
    shown: dict[str, Any] = {"value": option.value, "state": option.state}
    if option.state == CLOSED:
        return shown | {"because": _reasons(reasons.of(pointer, option.value), asking.caller)}
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
    return {
        "choices": [list(each) for each in clash.choices],
        "rules": _reasons(clash.findings, asking.caller),
        "ways_out": [_way(guidance.piece, each) for each in _ways(guidance)],
    }


def _ways(guidance: Guidance) -> list[Near]:
    try:
        return ways_out(guidance, MOST_WAYS_OUT)
    except TooEntangledError:
        return []


def _way(piece: Piece, near: Near) -> dict[str, Any]:
    state = OPEN if near.outcome == "buildable" else near.outcome
    shown = {"change": near.change.patch, "state": state, "says": near.change.says}
    return shown | {"cheapest": _total(piece, near.total_minor), "distance": near.distance_milli / 1000}


def _reasons(findings: Iterable[Finding], who: Caller) -> list[dict[str, Any]]:
    told: list[Mapping[str, Any]] = [
        {
            "rule": each.rule, "says": each.message, "measured": each.said.measured, "limit": each.said.limit,
            "unit": each.said.unit, "bench_message": each.said.bench_message,
        }
        for each in findings
    ]  # fmt: skip
    return reason_view(told, who)
