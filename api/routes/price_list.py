"""``/v1/price-list``: base prices, surcharges, breaks and price points."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from api.deps import NO_QUERY, CallerDep, PublishedDep, least
from api.published import respond
from api.routes.documented import CONDITIONAL, tagged
from api.schemas.workshop import PriceListOut
from api.visibility import Caller

router = APIRouter(tags=["catalog"], dependencies=[least(Caller.PAGE)])


@router.get(
    "/v1/price-list",
    operation_id="readPriceList",
    summary="Read the price list",
    description="Base prices, surcharges, quantity breaks and price points, tax included.",
    response_model=PriceListOut,
    responses=tagged("The price list.", "schema-violation"),
    openapi_extra=CONDITIONAL,
    dependencies=[NO_QUERY],
)
async def read_price_list(request: Request, published: PublishedDep, caller: CallerDep) -> Response:
    """Return the price list."""
    return respond(request, published.price_list(caller))
