"""``/v1/rule-audit``: what in the book has no effect, contradicts itself or is held by no example."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter, Request, Response
from pydantic_core import to_json

from api.body import MEDIA_TYPE
from api.deps import NO_QUERY, HouseDep, least
from api.published import respond
from api.routes.documented import CONDITIONAL, tagged
from api.rule_audit import RuleAudits
from api.schemas.rule_audit import AuditUnderWay, RuleAudit
from api.visibility import Caller

router = APIRouter(tags=["rules"], dependencies=[least(Caller.OWNER)])
#: How long a caller waits for an audit that is being made, and after how long it may ask again, in seconds.
_PATIENCE: Final = 4
_AGAIN: Final = {"retry-after": "5"}
_ANSWERS: Final = tagged("The audit.", "schema-violation") | {
    202: {
        "model": AuditUnderWay,
        "description": "It is being made.",
        "headers": {"Retry-After": {"description": "Seconds to wait.", "schema": {"type": "string"}}},
    }
}


@router.get(
    "/v1/rule-audit",
    operation_id="auditRules",
    summary="Audit the rules",
    description=(
        "Codes, options and patterns of which nothing can be made, choices that are none, rules that never apply, that"
        " nothing breaks, that others cover or that nobody can follow, surcharges that double one another, examples"
        " that lack, are stale, or hold no limit in place. Each with a witness or the argument, and whether all was"
        " gone through or a search was made. It is made once for the same files and day, which takes about a minute:"
        " until then the answer is 202."
    ),
    response_model=RuleAudit,
    responses=_ANSWERS,
    openapi_extra=CONDITIONAL,
    dependencies=[NO_QUERY],
)
def audit_rules(request: Request, house: HouseDep) -> Response:
    """Return the audit, or how far it is."""
    audits: RuleAudits = request.app.state.rule_audits
    shop = house.shelves.plain
    made = audits.of(shop.catalog, shop.book, house.clock.today())
    try:
        return respond(request, made.result(timeout=_PATIENCE))
    except TimeoutError:
        return Response(to_json({"judged": audits.judged}), 202, _AGAIN, MEDIA_TYPE)
