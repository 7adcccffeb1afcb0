"""``/v1/patterns``: what is made."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from api.deps import NO_QUERY, CallerDep, PublishedDep, least
from api.errors import not_found
from api.published import respond
from api.routes.documented import CONDITIONAL, read_one, tagged
from api.schemas.figures import Code
from api.schemas.patterns import PatternList, PatternOut
from api.visibility import Caller

router = APIRouter(tags=["catalog"], dependencies=[least(Caller.PAGE)])


@router.get(
    "/v1/patterns",
    operation_id="listPatterns",
    summary="List patterns",
    description="Every pattern with its parts, panels, seams, folds, pockets, marking zones and limits.",
    response_model=PatternList,
    responses=tagged("Patterns.", "schema-violation", links=read_one("readPattern", "code", "code")),
    openapi_extra=CONDITIONAL,
    dependencies=[NO_QUERY],
)
async def list_patterns(request: Request, published: PublishedDep, caller: CallerDep) -> Response:
    """Return every pattern."""
    return respond(request, published.all("patterns", caller))


@router.get(
    "/v1/patterns/{code}",
    operation_id="readPattern",
    summary="Read a pattern",
    description="One pattern. Codes are compared without regard to case.",
    response_model=PatternOut,
    responses=tagged("The pattern.", "not-found", "schema-violation"),
    openapi_extra=CONDITIONAL,
    dependencies=[NO_QUERY],
)
async def read_pattern(
    request: Request,
    code: Annotated[Code, Path(description="Code of a pattern.", examples=["twofold"])],
    published: PublishedDep,
    caller: CallerDep,
) -> Response:
    """Return one pattern."""
    found = published.one("patterns", code, caller)
    if found is None:
        raise not_found("pattern")
    return respond(request, found)
