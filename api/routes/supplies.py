"""``/v1/supplies``: thread, edge finish, foil, hardware and type in stock, and their ledger."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response
from sqlalchemy import select

from api.body import JsonRoute, json_answer
from api.deps import NO_QUERY, HouseDep, KeyDep, least
from api.desk.rows import supply_row
from api.desk.shortage import settle_after_loss
from api.desk.stock import post_supply_entry, supply_shown, with_history
from api.once import Answer
from api.routes.documented import ENTERED, WRITES, problems
from api.schemas.figures import Code
from api.schemas.stock import SupplyEntryIn, SupplyList, SupplyRecord
from api.store.engine import Write
from api.store.tables import SUPPLIES
from api.visibility import Caller
from api.writing import asked_of, check_version, record_answer, record_shown, written

router = APIRouter(tags=["supplies"], route_class=JsonRoute, dependencies=[least(Caller.STAFF)])
reads = APIRouter(tags=["supplies"], dependencies=[least(Caller.STAFF)])

_CODE = Path(description="Code of a thread, edge, foil, fitting or typeface.", examples=["TH-P05-GAR"])


@reads.get(
    "/v1/supplies",
    operation_id="listSupplies",
    summary="List supplies",
    description="Every thread, edge finish, foil, fitting and type case with what is left.",
    response_model=SupplyList,
    response_description="Supplies.",
    responses=problems("schema-violation"),
    dependencies=[NO_QUERY],
)
def list_supplies(house: HouseDep) -> Response:
    """Return supplies."""
    with house.store.read() as connection:
        rows = connection.execute(select(SUPPLIES).order_by(SUPPLIES.c.noun, SUPPLIES.c.code)).all()
    return json_answer({"items": [supply_shown(row) for row in rows]})


@reads.get(
    "/v1/supplies/{code}",
    operation_id="readSupply",
    summary="Read a supply",
    description="One supply as its entries leave it, with its history.",
    response_model=SupplyRecord,
    response_description="The supply.",
    responses=problems("not-found", "schema-violation"),
    dependencies=[NO_QUERY],
)
def read_supply(code: Annotated[Code, _CODE], house: HouseDep) -> Response:
    """Return a supply."""
    with house.store.read() as connection:
        row = supply_row(connection, code)
        shown = with_history(connection, "supply", supply_shown(row))
    return record_shown(shown, row.version)


@router.post(
    "/v1/supplies/{code}/entries",
    operation_id="addSupplyEntry",
    summary="Record what happened to a supply",
    description=(
        "receive, count, use, wear. What is there is always accepted; where it no longer suffices for what is set"
        " aside, the newest quotes and orders are short."
    ),
    status_code=201,
    response_model=SupplyRecord,
    response_description="The supply after it; short names the quotes that are short now.",
    responses=problems(
        "not-found", "changed-meanwhile", "contradiction", *WRITES,
    ),
    openapi_extra=ENTERED,
    dependencies=[NO_QUERY],
)  # fmt: skip
def add_entry(
    request: Request, code: Annotated[Code, _CODE], body: SupplyEntryIn, house: HouseDep, key: KeyDep
) -> Response:
    """Add an entry to a supply."""
    asked = asked_of(request, key, house, "addSupplyEntry", body)

    def act(write: Write) -> Answer:
        row = supply_row(write.connection, code)
        check_version(request, row.version, needed=False)
        given = body.model_dump(mode="json", exclude_unset=True)
        post_supply_entry(write, row, given, at=house.now(), by=key.id)
        short = settle_after_loss(house, write)
        row = supply_row(write.connection, code)
        shown = {**with_history(write.connection, "supply", supply_shown(row)), "short": short}
        return record_answer(201, shown, f"/v1/supplies/{row.code}", row.version)

    return written(house, asked, act)
