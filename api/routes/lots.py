"""``/v1/lots``: leather in stock and its ledger."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import Field
from sqlalchemy import Connection, select

from api.body import JsonRoute, json_answer
from api.deps import NO_QUERY, HouseDep, KeyDep, least
from api.desk.listing import page
from api.desk.rows import lot_row
from api.desk.shortage import settle_after_loss
from api.desk.stock import is_last, lot_shown, post_lot_entry, receive_lot, with_history
from api.house import House
from api.once import Answer
from api.routes.documented import ENTERED, KEYED, WRITES, problems
from api.schemas.bases import In
from api.schemas.figures import Code
from api.schemas.stock import LotEntryIn, LotIn, LotList, LotRecord
from api.store.engine import Write
from api.store.shelf import Shelf
from api.store.tables import LOTS
from api.visibility import Caller
from api.writing import asked_of, check_version, record_answer, record_shown, written

router = APIRouter(tags=["lots"], route_class=JsonRoute, dependencies=[least(Caller.STAFF)])
reads = APIRouter(tags=["lots"], dependencies=[least(Caller.STAFF)])

_CODE = Path(description="Code of a lot.", examples=["L104"])


class LotQuery(In):
    """Which lots."""

    leather: Code | None = Field(None, description="Only those of this leather.")
    after: Code | None = Field(None, description="Only those that came in after this one.")
    limit: Annotated[int, Field(ge=1, le=100)] = Field(50, description="How many at most.")


def _record(connection: Connection, shelf: Shelf, code: str) -> tuple[dict[str, Any], int]:
    row = lot_row(connection, code)
    lot = shelf.shop.catalog.lots.get(row.code)
    shown = lot_shown(row, lot, last=is_last(shelf.shop.catalog, lot))
    return with_history(connection, "lot", shown), row.version


@reads.get(
    "/v1/lots",
    operation_id="listLots",
    summary="List lots",
    description="Lots in the order in which they came in, those thrown away too.",
    response_model=LotList,
    response_description="Lots.",
    responses=problems("schema-violation"),
)
def list_lots(query: Annotated[LotQuery, Query()], house: HouseDep) -> Response:
    """Return lots."""
    catalog = house.shop.catalog
    asked = select(LOTS).order_by(LOTS.c.place).limit(query.limit + 1)
    if query.leather is not None:
        known = {code.casefold(): code for code in catalog.leathers}
        asked = asked.where(LOTS.c.leather == known.get(query.leather.casefold(), ""))
    with house.store.read() as connection:
        if query.after is not None:
            places = {code.casefold(): place for code, place in connection.execute(select(LOTS.c.code, LOTS.c.place))}
            asked = asked.where(LOTS.c.place > places.get(query.after.casefold(), -1))
        rows = connection.execute(asked).all()
    lots = catalog.lots
    shown = [lot_shown(row, lots.get(row.code), last=is_last(catalog, lots.get(row.code))) for row in rows]
    return json_answer(page(shown, query.limit))


@reads.get(
    "/v1/lots/{code}",
    operation_id="readLot",
    summary="Read a lot",
    description="One lot as its entries leave it, with its history.",
    response_model=LotRecord,
    response_description="The lot.",
    responses=problems("not-found", "schema-violation"),
    dependencies=[NO_QUERY],
)
def read_lot(code: Annotated[Code, _CODE], house: HouseDep) -> Response:
    """Return a lot."""
    shelf = house.shelf
    with house.store.read() as connection:
        shown, version = _record(connection, shelf, code)
    return record_shown(shown, version)


@reads.get(
    "/v1/lots/{code}/entries",
    operation_id="listLotEntries",
    summary="Read a lot's history",
    description="Every entry of one lot, oldest first.",
    response_model=dict[str, Any],
    response_description="Entries.",
    responses=problems("not-found", "schema-violation"),
    dependencies=[NO_QUERY],
)
def list_entries(code: Annotated[Code, _CODE], house: HouseDep) -> Response:
    """Return a lot's entries."""
    shelf = house.shelf
    with house.store.read() as connection:
        shown, _ = _record(connection, shelf, code)
    return json_answer({"items": shown["entries"]})


@router.post(
    "/v1/lots",
    operation_id="receiveLot",
    summary="Take a lot into stock",
    description=(
        "What was measured counts. A mill's stamp, read by the convention named, is kept for the record; where it"
        " differs by more than 1.2 dm2 and more than 3 % from what was measured, the entry holds a claim."
    ),
    status_code=201,
    response_model=LotRecord,
    response_description="The lot.",
    responses=problems("contradiction", *WRITES),
    openapi_extra=KEYED,
    dependencies=[NO_QUERY],
)
def receive(request: Request, body: LotIn, house: HouseDep, key: KeyDep) -> Response:
    """Receive a lot."""
    asked = asked_of(request, key, house, "receiveLot", body)

    def act(write: Write) -> Answer:
        given = body.model_dump(mode="json", exclude_unset=True)
        code = receive_lot(write, house.shop.catalog, given, at=house.now(), by=key.id)
        shelf = house.shelves.read_anew(write.connection, write.revisions)
        shown, version = _record(write.connection, shelf, code)
        return record_answer(201, shown, f"/v1/lots/{code}", version)

    return written(house, asked, act)


@router.post(
    "/v1/lots/{code}/entries",
    operation_id="addLotEntry",
    summary="Record what happened to a lot",
    description=(
        "What is there is always accepted. Where what was set aside no longer lies in what is left, it moves to other"
        " lots; what cannot move is short, the newest first. If-Match is compared where it is sent."
    ),
    status_code=201,
    response_model=LotRecord,
    response_description="The lot after it; short names the quotes that are short now.",
    responses=problems("not-found", "changed-meanwhile", "contradiction", *WRITES),
    openapi_extra=ENTERED,
    dependencies=[NO_QUERY],
)
def add_entry(
    request: Request, code: Annotated[Code, _CODE], body: LotEntryIn, house: HouseDep, key: KeyDep
) -> Response:
    """Add an entry to a lot."""
    asked = asked_of(request, key, house, "addLotEntry", body)

    def act(write: Write) -> Answer:
        row = lot_row(write.connection, code)
        check_version(request, row.version, needed=False)
        post_lot_entry(write, row, body.model_dump(mode="json", exclude_unset=True), at=house.now(), by=key.id)
        return _after(house, write, row.code)

    return written(house, asked, act)


def _after(house: House, write: Any, code: str) -> Answer:
    short = settle_after_loss(house, write)
    shelf = house.shelves.read_anew(write.connection, write.revisions)
    shown, version = _record(write.connection, shelf, code)
    return record_answer(201, {**shown, "short": short}, f"/v1/lots/{code}", version)
