"""``/v1/leathers``: colors of a kind, and the way from what people say to a code."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import Field

from api.deps import NO_QUERY, CallerDep, PublishedDep, ShopDep, least
from api.errors import not_found
from api.published import respond
from api.routes.documented import CONDITIONAL, read_one, tagged
from api.schemas.bases import In
from api.schemas.figures import Code, Line
from api.schemas.nouns import LeatherList, LeatherOut
from api.visibility import Caller
from catalog.said import rank_leathers

router = APIRouter(tags=["catalog"], dependencies=[least(Caller.PAGE)])


class LeatherQuery(In):
    """How to choose and order the list."""

    said: Line | None = Field(
        None,
        description="What a customer said: ranks codes by name, alias and spelling. Nothing is mapped.",
        examples=["oxblood shell"],
    )


@router.get(
    "/v1/leathers",
    operation_id="listLeathers",
    summary="List leathers",
    description="Every leather; with said, those nearest to the words, best first. A person picks.",
    response_model=LeatherList,
    responses=tagged("Leathers.", "schema-violation", links=read_one("readLeather", "code", "code")),
    openapi_extra=CONDITIONAL,
)
async def list_leathers(
    request: Request,
    query: Annotated[LeatherQuery, Query()],
    shop: ShopDep,
    published: PublishedDep,
    caller: CallerDep,
) -> Response:
    """Return every leather, or the nearest to what was said."""
    if query.said is None:
        return respond(request, published.all("leathers", caller))
    ranked = rank_leathers(shop.catalog, query.said)
    return respond(request, published.ranked("leathers", [(each.code, score) for each, score in ranked], caller))


@router.get(
    "/v1/leathers/{code}",
    operation_id="readLeather",
    summary="Read a leather",
    description="One leather. Codes are compared without regard to case.",
    response_model=LeatherOut,
    responses=tagged("The leather.", "not-found", "schema-violation"),
    openapi_extra=CONDITIONAL,
    dependencies=[NO_QUERY],
)
async def read_leather(
    request: Request,
    code: Annotated[Code, Path(description="Code of a leather.", examples=["SH-GAR"])],
    published: PublishedDep,
    caller: CallerDep,
) -> Response:
    """Return one leather."""
    found = published.one("leathers", code, caller)
    if found is None:
        raise not_found("leather")
    return respond(request, found)
