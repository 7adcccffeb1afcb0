"""Who sees what. One table, and the function that applies it.

The table mirrors the answer. A leaf is the least class of key that sees the field; a field that
the table does not name is for the owner alone, so a new field stays closed until someone decides.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import IntEnum
from typing import Any, Final


class Caller(IntEnum):
    """Classes of keys, each seeing all that the ones before it see."""

    PAGE = 1
    SERVER = 2
    STAFF = 3
    OWNER = 4


@dataclass(frozen=True, slots=True)
class Blank:
    """Shown as null to callers below ``least``; with ``stock_only``, only where stock decided."""

    least: Caller
    stock_only: bool = False


PAGE, STAFF, OWNER = Caller.PAGE, Caller.STAFF, Caller.OWNER
_STOCK: Final = Blank(STAFF, stock_only=True)

#: Rules whose figures would tell how much is in stock.
STOCK_RULES: Final = frozenset({"STI-02", "EDG-03", "HDW-03", "MON-02", "MON-07", "SID-02", "PRC-03"})
STOCK_FAMILY: Final = "STO-"
#: A workshop's own rules: nobody has looked over what their figures would tell, so customers get the sentence alone.
HOUSE_FAMILY: Final = "H-"
#: Rules that only the owner sees.
OWNER_RULES: Final = frozenset({"PRC-01", "STO-11"})

_REMEDY: Final = {"change": PAGE, "outcome": PAGE, "total": PAGE, "says": PAGE}

ANSWER: Final[Mapping[str, Any]] = {
    "outcome": PAGE,
    "complete": PAGE,
    "headline": PAGE,
    "spec": {"lots": STAFF, "*": PAGE},
    "resolved": PAGE,
    "filled": PAGE,
    "spec_hash": PAGE,
    "findings": {
        "id": PAGE,
        "rule": PAGE,
        "severity": PAGE,
        "at": PAGE,
        "subject": {"lot": STAFF, "lots": STAFF, "*": PAGE},
        "measured": _STOCK,
        "limit": _STOCK,
        "off_by": _STOCK,  # with the limit of a seam it would give the figure away
        "bound": PAGE,
        "unit": PAGE,
        "caused_by": PAGE,
        "message": PAGE,
        "bench_message": STAFF,
        "params": {
            "lot": STAFF,
            "lots": STAFF,
            "supplier": OWNER,
            "cost": OWNER,
            "margin": OWNER,
            "*": _STOCK,
        },
        "remedies": _REMEDY,
        "source": PAGE,
    },
    "price": PAGE,
    "cut_from": STAFF,
    "figures": {"minutes": STAFF, "cost": OWNER, "margin_percent": OWNER, "*": PAGE},
    "rated_for": PAGE,
    "alternatives": {**_REMEDY, "distance": PAGE},
    "promise": {"minutes": STAFF, "*": PAGE},
    "withdrawal": PAGE,
    "revisions": PAGE,
    "as_of": PAGE,
    "valid_until": PAGE,
    "explained": {
        "subject": {"lot": STAFF, "lots": STAFF, "*": PAGE},
        "measured": _STOCK,
        "limit": _STOCK,
        "room": _STOCK,
        "*": PAGE,
    },
    "repeat": PAGE,
    "read_back": {"good": STAFF, "worn": STAFF, "*": PAGE},
}

#: Fields of catalog nouns that not everyone sees; all others are public.
NOUNS: Final[Mapping[str, Mapping[str, Caller]]] = {
    "kinds": {
        "price_per_sqft": OWNER,
        "currency": OWNER,
        "lead_days": OWNER,
        "minimum_order_sqft": OWNER,
        "reports": STAFF,
    },
    "leathers": {"reserve_dm2": STAFF, "demand_dm2_per_week": OWNER},
    "threads": {"left_m": STAFF},
    "edges": {"left_ml": STAFF, "opened_on": STAFF},
    "hardware": {"stock": STAFF},
    "typefaces": {"sorts_per_letter": STAFF, "sorts": STAFF, "worn": STAFF},
    "foils": {"left_m": STAFF},
}


SERVER: Final = Caller.SERVER
#: What a rule says of a quote or on a checklist: a check's finding, with its item and what its rule says.
STAGE_FINDING: Final[Mapping[str, Any]] = {**ANSWER["findings"], "item": PAGE, "says": PAGE}
#: What a rule says against an option or a set of choices: its sentence, and for the workshop its figures.
REASON: Final[Mapping[str, Any]] = {
    "rule": PAGE,
    "says": PAGE,
    "measured": STAFF,
    "limit": STAFF,
    "unit": STAFF,
    "bench_message": STAFF,
}
_SIGN_OFF: Final = {"lots": STAFF, "note": STAFF, "by": STAFF, "*": SERVER}
#: Quotes, orders and sign-offs. Verdicts inside them follow the table of answers.
RECORD: Final[Mapping[str, Any]] = {
    "items": {
        "item": SERVER,
        "spec": {"lots": STAFF, "*": SERVER},
        "check": SERVER,
        "sign_offs": _SIGN_OFF,
        "to_cut": STAFF,
    },
    "findings": STAGE_FINDING,
    "as_built": {"cuts": STAFF, "*": SERVER},
    "entries": {
        "lot": STAFF,
        "rectangles_left_mm": STAFF,
        "area_left_dm2": STAFF,
        "by": STAFF,
        "agreed": STAFF,
        "stock": STAFF,
        "*": SERVER,
    },
    "version": OWNER,
    "*": SERVER,
}


def record_view(record: Mapping[str, Any], who: Caller) -> dict[str, Any]:
    """Return a quote or an order as a caller may see it. The record itself is never changed."""
    items = [{**item, "check": view(item["check"], who)} for item in record["items"]]
    shown = _seen({**record, "items": items}, RECORD, who, stock=False)
    if "findings" in record:
        shown["findings"] = stage_view(record["findings"], who)
    shown.pop("version", None)  # the ETag says it
    return shown


def stage_view(findings: Iterable[Mapping[str, Any]], who: Caller) -> list[dict[str, Any]]:
    """Return what rules say at a stage after a check as a caller may see it."""
    kept = (each for each in findings if who is OWNER or each["rule"] not in OWNER_RULES)
    return [_seen(each, STAGE_FINDING, who, stock=_by_stock(each)) for each in kept]


def findings_view(findings: Iterable[Mapping[str, Any]], who: Caller) -> list[dict[str, Any]]:
    """Return findings of a check that stand alone as a caller may see them."""
    kept = (each for each in findings if who is OWNER or each["rule"] not in OWNER_RULES)
    return [_seen(each, ANSWER["findings"], who, stock=_by_stock(each)) for each in kept]


def reason_view(reasons: Iterable[Mapping[str, Any]], who: Caller) -> list[dict[str, Any]]:
    """Return what rules say against something as a caller may see it. Rules of the owner close nothing."""
    return [_seen(each, REASON, who, stock=False) for each in reasons if each["rule"] not in OWNER_RULES]


def checklist_view(checklist: Mapping[str, Any], who: Caller) -> dict[str, Any]:
    """Return a checklist as a caller may see it."""
    return {**checklist, "lines": stage_view(checklist["lines"], who)}


def sign_off_view(sign: Mapping[str, Any], who: Caller) -> dict[str, Any]:
    """Return a sign-off as a caller may see it."""
    return _seen(sign, _SIGN_OFF, who, stock=False)


def problem_view(members: Mapping[str, Any], who: Caller) -> dict[str, Any]:
    """Return the further fields of a problem as a caller may see them."""
    shown = dict(members)
    if "check" in shown:
        shown["check"] = view(shown["check"], who)
    if "checks" in shown:
        shown["checks"] = [view(answer, who) for answer in shown["checks"]]
    return shown


def view(answer: Mapping[str, Any], who: Caller) -> Mapping[str, Any]:
    """Return a check's answer as a caller may see it. The answer itself is never changed."""
    if who is Caller.OWNER:
        return answer
    kept = [finding for finding in answer["findings"] if finding["rule"] not in OWNER_RULES]
    shown = {**answer, "findings": _renumbered(kept)}
    if "explained" in answer:
        shown["explained"] = [each for each in answer["explained"] if each["rule"] not in OWNER_RULES]
    if who < Caller.STAFF:
        # A change that names a lot has no meaning to someone who may not send one.
        shown["alternatives"] = _without_lots(answer["alternatives"])
        shown["findings"] = [
            {**finding, "remedies": _without_lots(finding["remedies"])} for finding in shown["findings"]
        ]
    return _seen(shown, ANSWER, who, stock=False)


def sees_rule(rule: str, who: Caller) -> bool:
    """Return whether a caller may read a rule at all."""
    return who >= Caller.OWNER or rule not in OWNER_RULES


def noun_view(resource: str, noun: Mapping[str, Any], who: Caller) -> dict[str, Any]:
    """Return a catalog noun as a caller may see it."""
    least = NOUNS.get(resource, {})
    return {name: value for name, value in noun.items() if who >= least.get(name, Caller.PAGE)}


def sees_orders(rule_id: str, who: Caller) -> bool:
    """Whether a caller sees a rule's worked orders: they name lots, and those of an owner's rule tell costs."""
    return who >= (OWNER if rule_id in OWNER_RULES else STAFF)


def _seen(value: Mapping[str, Any], table: Mapping[str, Any], who: Caller, *, stock: bool) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, field in value.items():
        row = table.get(name, table.get("*"))
        if row is None:
            continue
        if isinstance(row, Blank):
            hidden = who < row.least and (stock or not row.stock_only)
            found[name] = None if hidden else field
        elif isinstance(row, Caller):
            if who >= row:
                found[name] = field
        else:
            found[name] = _nested(field, row, who, stock=stock)
    return found


def _nested(value: Any, table: Mapping[str, Any], who: Caller, *, stock: bool) -> Any:
    if isinstance(value, list):
        return [_nested(item, table, who, stock=stock) for item in value]
    if isinstance(value, Mapping):
        return _seen(value, table, who, stock=stock or _by_stock(value))
    return value


def _by_stock(value: Mapping[str, Any]) -> bool:
    rule = value.get("rule")
    return isinstance(rule, str) and (rule in STOCK_RULES or rule.startswith((STOCK_FAMILY, HOUSE_FAMILY)))


def _renumbered(findings: list[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Close the gap that a finding left out would leave. Only advice ever follows such a gap."""
    ids = {finding["id"]: f"f{place}" for place, finding in enumerate(findings, 1)}
    return [{**each, "id": ids[each["id"]], "caused_by": ids.get(each["caused_by"])} for each in findings]


def _without_lots(offers: list[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    return [offer for offer in offers if "lots" not in offer["change"]]
