"""``/v1/orders``: quotes accepted, and their way to the bench and out of the door."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request, Response
from sqlalchemy import Row

from api.body import JsonRoute, json_answer
from api.deps import NO_QUERY, HouseDep, KeyDep, least
from api.desk import orders as desk
from api.desk.bench import cut, ship
from api.desk.forgetting import forget_order
from api.desk.listing import listed, owner_of
from api.desk.rows import check_takes, order_row, quote_row
from api.errors import ProblemError
from api.house import House
from api.keys import Key
from api.once import Answer, refusal_of
from api.routes.documented import ENTERED, KEYED, WRITES, problems
from api.schemas.records import ListQuery, Order, OrderEntryIn, OrderIn, RecordId, SummaryList
from api.store.engine import Write
from api.store.tables import ORDERS
from api.visibility import Caller, record_view
from api.writing import asked_of, check_version, record_answer, record_shown, written

router = APIRouter(tags=["orders"], route_class=JsonRoute, dependencies=[least(Caller.SERVER)])
reads = APIRouter(tags=["orders"], dependencies=[least(Caller.SERVER)])

#: Kinds of entries that a storefront may post; the others are the workshop's.
_FOR_SERVERS = ("cancel", "forget")
_ID = Path(description="Id of an order.", examples=["O13"])


@router.post(
    "/v1/orders",
    operation_id="makeOrder",
    summary="Accept a quote",
    description=(
        "Makes an order of a live quote whose sign-offs are all given. What others took meanwhile plays no part:"
        " what the quote had set aside becomes the order's. Authorize the payment, order, capture on 201, void on 409."
    ),
    status_code=201,
    response_model=Order,
    response_description="The order.",
    responses=problems(
        "not-found", "hold-lapsed", "stock-changed", "sign-off-missing", "wrong-state", *WRITES,
    ),
    openapi_extra=KEYED,
    dependencies=[NO_QUERY],
)  # fmt: skip
def make(request: Request, body: OrderIn, house: HouseDep, key: KeyDep) -> Response:
    """Make an order."""
    asked = asked_of(request, key, house, "makeOrder", body)

    def act(write: Write) -> Answer:
        quote = quote_row(write.connection, body.quote, owner_of(key))
        payment = body.payment.model_dump(mode="json")
        order, missing = desk.make_order(house, write, quote, payment, by=key.id)
        if missing:
            # Not undone: what was voided meanwhile stands in the maker's inbox again.
            error = ProblemError("sign-off-missing", "the maker has not agreed yet", members={"sign_offs": missing})
            return refusal_of(error, asked, kept=False)
        return _shown(write, order, key)

    return written(house, asked, act)


def _shown(write: Write, order: str, key: Key) -> Answer:
    row = order_row(write.connection, order, None)
    record = desk.order_record(write.connection, row)
    return record_answer(201, record_view(record, key.caller), f"/v1/orders/{row.id}", row.version)


@reads.get(
    "/v1/orders",
    operation_id="listOrders",
    summary="List orders",
    description="Your own orders, the workshop's staff sees all; in the order in which they were made.",
    response_model=SummaryList,
    response_description="Orders.",
    responses=problems("schema-violation"),
)
def list_orders(query: Annotated[ListQuery, Query()], house: HouseDep, key: KeyDep) -> Response:
    """Return orders."""
    names = ("id", "created_at", "state", "quote", "reference", "currency", "total_minor", "ready_on")
    return json_answer(listed(house, ORDERS, names, key, query))


@reads.get(
    "/v1/orders/{order}",
    operation_id="readOrder",
    summary="Read an order",
    description="One order with its items, what each is made of, and its history.",
    response_model=Order,
    response_description="The order.",
    responses=problems("not-found", "schema-violation"),
    dependencies=[NO_QUERY],
)
def read_order(order: Annotated[RecordId, _ID], house: HouseDep, key: KeyDep) -> Response:
    """Return an order."""
    with house.store.read() as connection:
        row = order_row(connection, order, owner_of(key))
        record = desk.order_record(connection, row)
    return record_shown(record_view(record, key.caller), row.version)


@router.post(
    "/v1/orders/{order}/entries",
    operation_id="addOrderEntry",
    summary="Record what happens to an order",
    description=(
        "pin, cut, recut, inspect, ship and amend are the workshop's; cancel and forget also whose order it is."
        " pin, amend and cancel need If-Match; what was done at the bench is always accepted."
    ),
    status_code=201,
    response_model=Order,
    response_description="The order after it.",
    responses=problems(
        "contradiction", "not-found", "not-buildable", "measures-missing", "wrong-state", "changed-meanwhile",
        "version-missing", *WRITES,
    ),
    openapi_extra=ENTERED,
    dependencies=[NO_QUERY],
)  # fmt: skip
def add_entry(
    request: Request, order: Annotated[RecordId, _ID], body: OrderEntryIn, house: HouseDep, key: KeyDep
) -> Response:
    """Add an entry to an order."""
    asked = asked_of(request, key, house, "addOrderEntry", body)

    def act(write: Write) -> Answer:
        row = order_row(write.connection, order, owner_of(key))
        if key.caller < Caller.STAFF and body.kind not in _FOR_SERVERS:
            raise ProblemError("key-not-enough", f"{body.kind} is for the workshop's staff")
        check_version(request, row.version, needed=body.kind in desk.DECIDES)
        check_takes("an order", row, desk.TAKES[row.state], body.kind)
        _post(house, write, row, body, key)
        return _shown(write, row.id, key)

    return written(house, asked, act)


def _post(house: House, write: Write, row: Row[Any], body: OrderEntryIn, key: Key) -> None:
    given = body.model_dump(mode="json", exclude_unset=True)
    match body.kind:
        case "pin":
            desk.pin(house, write, row, given, by=key.id)
        case "cut" | "recut":
            cut(house, write, row, given, by=key.id)
        case "inspect":
            desk.inspect(house, write, row, given, by=key.id)
        case "ship":
            ship(house, write, row, by=key.id)
        case "amend":
            desk.amend(house, write, row, given, by=key.id)
        case "cancel":
            desk.cancel(house, write, row, given, by=key.id)
        case "forget":
            forget_order(house, write, row, by=key.id)
