"""``/v1/rules``: the rule book, each rule with its reason, limits, source and examples."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from api.deps import NO_QUERY, CallerDep, PublishedDep, least
from api.errors import not_found
from api.published import respond
from api.routes.documented import CONDITIONAL, read_one, tagged
from api.schemas.figures import RuleId
from api.schemas.rules import RuleList, RuleOut
from api.visibility import Caller

router = APIRouter(tags=["rules"], dependencies=[least(Caller.PAGE)])


@router.get(
    "/v1/rules",
    operation_id="listRules",
    summary="List rules",
    description="Every rule of the book, with reason, formula, limits, source and worked examples.",
    response_model=RuleList,
    responses=tagged("Rules.", "schema-violation", links=read_one("readRule", "id", "id")),
    openapi_extra=CONDITIONAL,
    dependencies=[NO_QUERY],
)
async def list_rules(request: Request, published: PublishedDep, caller: CallerDep) -> Response:
    """Return the rule book."""
    return respond(request, published.all("rules", caller))


@router.get(
    "/v1/rules/{id}",
    operation_id="readRule",
    summary="Read a rule",
    description="One rule. Ids are compared without regard to case.",
    response_model=RuleOut,
    responses=tagged("The rule.", "not-found", "schema-violation"),
    openapi_extra=CONDITIONAL,
    dependencies=[NO_QUERY],
)
async def read_rule(
    request: Request,
    rule_id: Annotated[RuleId, Path(alias="id", description="Id of a rule.", examples=["STK-01"])],
    published: PublishedDep,
    caller: CallerDep,
) -> Response:
    """Return one rule."""
    found = published.one("rules", rule_id, caller)
    if found is None:
        raise not_found("rule")
    return respond(request, found)
