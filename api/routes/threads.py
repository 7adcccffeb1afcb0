"""``/v1/threads``: threads."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from api.deps import NO_QUERY, CallerDep, PublishedDep, least
from api.published import respond
from api.routes.documented import CONDITIONAL, tagged
from api.schemas.nouns import ThreadList
from api.visibility import Caller

router = APIRouter(tags=["catalog"], dependencies=[least(Caller.PAGE)])


@router.get(
    "/v1/threads",
    operation_id="listThreads",
    summary="List threads",
    description="Every thread, in stock or out.",
    response_model=ThreadList,
    responses=tagged("Threads.", "schema-violation"),
    openapi_extra=CONDITIONAL,
    dependencies=[NO_QUERY],
)
async def list_threads(request: Request, published: PublishedDep, caller: CallerDep) -> Response:
    """Return every thread."""
    return respond(request, published.all("threads", caller))
