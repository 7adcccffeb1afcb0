"""``/v1/hardware``: fittings."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from api.deps import NO_QUERY, CallerDep, PublishedDep, least
from api.published import respond
from api.routes.documented import CONDITIONAL, tagged
from api.schemas.nouns import HardwareList
from api.visibility import Caller

router = APIRouter(tags=["catalog"], dependencies=[least(Caller.PAGE)])


@router.get(
    "/v1/hardware",
    operation_id="listHardware",
    summary="List hardware",
    description="Every fitting.",
    response_model=HardwareList,
    responses=tagged("Hardware.", "schema-violation"),
    openapi_extra=CONDITIONAL,
    dependencies=[NO_QUERY],
)
async def list_hardware(request: Request, published: PublishedDep, caller: CallerDep) -> Response:
    """Return every fitting."""
    return respond(request, published.all("hardware", caller))
