"""``/v1/rule-sheet``: the rule book to print."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response
from pydantic import Field

from api.deps import CallerDep, ShopDep, least
from api.published import respond, sealed
from api.routes.documented import CONDITIONAL, tagged
from api.rule_sheet import MEDIA_TYPE, Paper, policy, sheet
from api.schemas.bases import In
from api.schemas.figures import Code
from api.visibility import Caller

router = APIRouter(tags=["rules"], dependencies=[least(Caller.STAFF)])


class SheetQuery(In):
    """What to print, and on what."""

    family: Code | None = Field(None, description="One family of the book; all if left out.", examples=["folds"])
    paper: Paper = Field("A4", description="Size of the paper.")


_ANSWERS = tagged("The sheet.", "not-found", "schema-violation")
_ANSWERS[200]["content"] = {"text/html": {"schema": {"type": "string"}}}


@router.get(
    "/v1/rule-sheet",
    operation_id="printRules",
    summary="Print the rules",
    description="The rule book as a page to print and pin to the wall: a page or more for each family, each rule with"
    " its sentence, limits, severity, what to do and source. It holds no script and asks for nothing from elsewhere.",
    response_class=Response,
    responses=_ANSWERS,
    openapi_extra=CONDITIONAL,
)
def print_rules(request: Request, query: Annotated[SheetQuery, Query()], shop: ShopDep, caller: CallerDep) -> Response:
    """Return the sheet."""
    page = sealed(sheet(shop, caller, query.family, query.paper).encode())
    headers = {"content-security-policy": policy(query.paper)}
    return respond(request, page, media_type=MEDIA_TYPE, headers=headers)
