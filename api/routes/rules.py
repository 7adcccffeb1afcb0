"""``/v1/rules``: the rule book, each rule with its reason, limits, source and examples."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import Field

from api.deps import NO_QUERY, CallerDep, HouseDep, PublishedDep, least
from api.errors import not_found
from api.published import respond
from api.routes.documented import CONDITIONAL, tagged
from api.rule_book import Wanted
from api.schemas.answer import Severity
from api.schemas.bases import In
from api.schemas.figures import Code, RuleId
from api.schemas.rules import RuleList, RuleOut
from api.visibility import Caller
from api.worked_orders import orders_of
from rules.ir import Stage

router = APIRouter(tags=["rules"], dependencies=[least(Caller.PAGE)])


class RuleQuery(In):
    """Which rules: all that meet everything that is said."""

    family: Code | None = Field(None, description="Family of the book.", examples=["folds"])
    stage: Stage | None = Field(None, description="When the rule speaks.")
    severity: Severity | None = Field(None, description="A severity that it can give.")
    pattern: Code | None = Field(
        None,
        description="Code of a pattern: rules that can apply to it. What follows from the pattern alone leaves a rule"
        " out; what hangs on a choice does not.",
        examples=["twofold"],
    )


@router.get(
    "/v1/rules",
    operation_id="listRules",
    summary="List rules",
    description="The rules of the book, with reason, formula, limits, source and worked examples.",
    response_model=RuleList,
    responses=tagged("Rules.", "not-found", "schema-violation"),  # no link to the first: there may be none
    openapi_extra=CONDITIONAL,
)
def list_rules(
    request: Request, query: Annotated[RuleQuery, Query()], published: PublishedDep, caller: CallerDep
) -> Response:
    """Return the rule book, or the rules of it that are looked for."""
    wanted = Wanted(query.family, query.stage, query.severity, query.pattern)
    if wanted == Wanted():
        return respond(request, published.all("rules", caller))
    return respond(request, published.rules(wanted, caller))


@router.get(
    "/v1/rules/{id}",
    operation_id="readRule",
    summary="Read a rule",
    description="One rule, for staff with the orders that were worked by hand for it. Ids are compared without regard"
    " to case.",
    response_model=RuleOut,
    responses=tagged("The rule.", "not-found", "schema-violation"),
    openapi_extra=CONDITIONAL,
    dependencies=[NO_QUERY],
)
def read_rule(
    request: Request,
    rule_id: Annotated[RuleId, Path(alias="id", description="Id of a rule.", examples=["STK-01"])],
    published: PublishedDep,
    house: HouseDep,
    caller: CallerDep,
) -> Response:
    """Return one rule."""
    shop, today = house.shelves.plain, house.clock.today()
    found = published.rule(rule_id, caller, lambda known: orders_of(shop.catalog, shop.book, known, today))
    if found is None:
        raise not_found("rule")
    return respond(request, found)
