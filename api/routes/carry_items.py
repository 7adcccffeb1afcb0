"""``/v1/carry-items``: things that must fit."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from api.deps import NO_QUERY, CallerDep, PublishedDep, least
from api.published import respond
from api.routes.documented import CONDITIONAL, tagged
from api.schemas.nouns import CarryItemList
from api.visibility import Caller

router = APIRouter(tags=["catalog"], dependencies=[least(Caller.PAGE)])


@router.get(
    "/v1/carry-items",
    operation_id="listCarryItems",
    summary="List carry items",
    description="Every thing that a piece can be asked to hold, from tables of published sizes.",
    response_model=CarryItemList,
    responses=tagged("Carry items.", "schema-violation"),
    openapi_extra=CONDITIONAL,
    dependencies=[NO_QUERY],
)
async def list_carry_items(request: Request, published: PublishedDep, caller: CallerDep) -> Response:
    """Return every carry item."""
    return respond(request, published.all("carry-items", caller))
