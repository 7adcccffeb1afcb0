"""``/v1/catalog``: the catalog at a glance."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from api.deps import NO_QUERY, CallerDep, PublishedDep, least
from api.published import respond
from api.routes.documented import CONDITIONAL, tagged
from api.schemas.workshop import CatalogOut
from api.visibility import Caller

router = APIRouter(tags=["catalog"], dependencies=[least(Caller.PAGE)])


@router.get(
    "/v1/catalog",
    operation_id="readCatalog",
    summary="Read the catalog at a glance",
    description="Revision and hashes, what a customer may know of the workshop, and where the lists are.",
    response_model=CatalogOut,
    responses=tagged("The catalog at a glance.", "schema-violation"),
    openapi_extra=CONDITIONAL,
    dependencies=[NO_QUERY],
)
async def read_catalog(request: Request, published: PublishedDep, caller: CallerDep) -> Response:
    """Return the catalog at a glance."""
    return respond(request, published.glance(caller))
