"""``/v1/foils``: foils."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from api.deps import NO_QUERY, CallerDep, PublishedDep, least
from api.published import respond
from api.routes.documented import CONDITIONAL, tagged
from api.schemas.nouns import FoilList
from api.visibility import Caller

router = APIRouter(tags=["catalog"], dependencies=[least(Caller.PAGE)])


@router.get(
    "/v1/foils",
    operation_id="listFoils",
    summary="List foils",
    description="Every foil.",
    response_model=FoilList,
    responses=tagged("Foils.", "schema-violation"),
    openapi_extra=CONDITIONAL,
    dependencies=[NO_QUERY],
)
async def list_foils(request: Request, published: PublishedDep, caller: CallerDep) -> Response:
    """Return every foil."""
    return respond(request, published.all("foils", caller))
