"""``/v1/rule-audit``: what in the book has no effect, contradicts itself or is held by no example."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from api.deps import NO_QUERY, HouseDep, ShopDep, least
from api.published import respond
from api.routes.documented import CONDITIONAL, tagged
from api.rule_audit import RuleAudits
from api.schemas.rule_audit import RuleAudit
from api.visibility import Caller

router = APIRouter(tags=["rules"], dependencies=[least(Caller.STAFF)])


@router.get(
    "/v1/rule-audit",
    operation_id="auditRules",
    summary="Audit the rules",
    description=(
        "Codes and patterns of which nothing can be made, rules that never apply or that nothing breaks, rules and"
        " surcharges that double one another, examples that lack, are stale, or hold no limit in place. Each with a"
        " witness or the argument, and whether all was gone through or a search was made. The first answer for the"
        " same files and day takes a while; it is kept."
    ),
    response_model=RuleAudit,
    responses=tagged("The audit.", "schema-violation"),
    openapi_extra=CONDITIONAL,
    dependencies=[NO_QUERY],
)
def audit_rules(request: Request, house: HouseDep, shop: ShopDep) -> Response:
    """Return the audit."""
    audits: RuleAudits = request.app.state.rule_audits
    return respond(request, audits.of(house.catalog, shop.book, house.clock.today()))
