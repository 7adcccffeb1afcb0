"""``/v1/orders/{order}/checklists/{stage}``: what the bench looks at before the knife and before the parcel."""

from __future__ import annotations

from typing import Annotated, Any, Final

from fastapi import APIRouter, Path, Request, Response

from api.body import json_answer
from api.checklists import MEDIA_TYPE, STYLE, page, wants_page
from api.deps import NO_QUERY, HouseDep, KeyDep, least
from api.desk.listing import owner_of
from api.desk.orders import order_record
from api.desk.rows import order_row
from api.desk.stages import BenchStage, checklist
from api.pages import policy
from api.routes.documented import problems
from api.schemas.records import RecordId
from api.schemas.stages import Checklist
from api.visibility import Caller, checklist_view

router = APIRouter(tags=["orders"], dependencies=[least(Caller.STAFF)])

_PAGE: Final[dict[int | str, dict[str, Any]]] = {
    200: {"description": "The checklist.", "content": {MEDIA_TYPE: {"schema": {"type": "string"}}}}
}


@router.get(
    "/v1/orders/{order}/checklists/{stage}",
    operation_id="readChecklist",
    summary="Read a checklist",
    description=(
        "What the rules ask the bench to look at, for the order as it stands today: cut, before the knife; pack, before"
        " the parcel. With Accept: text/html a page to print, with boxes to tick. What nobody keeps book of is not"
        " asked, and an empty list says no more than that."
    ),
    response_model=Checklist,
    responses={**problems("not-found", "schema-violation"), **_PAGE},
    dependencies=[NO_QUERY],
)
def read_checklist(
    request: Request,
    order: Annotated[RecordId, Path(description="Id of an order.", examples=["O13"])],
    stage: Annotated[BenchStage, Path(description="Before the knife, or before the parcel.", examples=["cut"])],
    house: HouseDep,
    key: KeyDep,
) -> Response:
    """Return a checklist."""
    shop = house.shop
    with house.store.read() as connection:
        record = order_record(connection, order_row(connection, order, owner_of(key)))
        found = checklist(connection, shop, house.clock, record, stage)
    shown = checklist_view(found, key.caller)
    if wants_page(request.headers.get("accept", "")):
        answer: Response = Response(page(shown), media_type=MEDIA_TYPE)
        answer.headers["content-security-policy"] = policy(STYLE)
    else:
        answer = json_answer(shown)
    answer.headers["cache-control"] = "no-store"
    answer.headers["vary"] = "accept"
    return answer
