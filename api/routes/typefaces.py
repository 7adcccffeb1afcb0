"""``/v1/typefaces``: type in the case."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from api.deps import NO_QUERY, CallerDep, PublishedDep, least
from api.published import respond
from api.routes.documented import CONDITIONAL, tagged
from api.schemas.nouns import TypefaceList
from api.visibility import Caller

router = APIRouter(tags=["catalog"], dependencies=[least(Caller.PAGE)])


@router.get(
    "/v1/typefaces",
    operation_id="listTypefaces",
    summary="List typefaces",
    description="Every typeface.",
    response_model=TypefaceList,
    responses=tagged("Typefaces.", "schema-violation"),
    openapi_extra=CONDITIONAL,
    dependencies=[NO_QUERY],
)
async def list_typefaces(request: Request, published: PublishedDep, caller: CallerDep) -> Response:
    """Return every typeface."""
    return respond(request, published.all("typefaces", caller))
