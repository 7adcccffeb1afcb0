"""``/v1/kinds``: tannage and behavior shared by leathers of one make."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from api.deps import NO_QUERY, CallerDep, PublishedDep, least
from api.published import respond
from api.routes.documented import CONDITIONAL, tagged
from api.schemas.nouns import KindList
from api.visibility import Caller

router = APIRouter(tags=["catalog"], dependencies=[least(Caller.PAGE)])


@router.get(
    "/v1/kinds",
    operation_id="listKinds",
    summary="List kinds",
    description="Every kind: tannage and behavior shared by leathers of one make.",
    response_model=KindList,
    responses=tagged("Kinds.", "schema-violation"),
    openapi_extra=CONDITIONAL,
    dependencies=[NO_QUERY],
)
async def list_kinds(request: Request, published: PublishedDep, caller: CallerDep) -> Response:
    """Return every kind."""
    return respond(request, published.all("kinds", caller))
