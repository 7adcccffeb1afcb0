"""``/v1/edges``: edges."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from api.deps import NO_QUERY, CallerDep, PublishedDep, least
from api.published import respond
from api.routes.documented import CONDITIONAL, tagged
from api.schemas.nouns import EdgeList
from api.visibility import Caller

router = APIRouter(tags=["catalog"], dependencies=[least(Caller.PAGE)])


@router.get(
    "/v1/edges",
    operation_id="listEdges",
    summary="List edges",
    description="Every edge: a finish in a color.",
    response_model=EdgeList,
    responses=tagged("Edges.", "schema-violation"),
    openapi_extra=CONDITIONAL,
    dependencies=[NO_QUERY],
)
async def list_edges(request: Request, published: PublishedDep, caller: CallerDep) -> Response:
    """Return every edge."""
    return respond(request, published.all("edges", caller))
