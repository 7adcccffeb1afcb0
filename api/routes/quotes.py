"""``/v1/quotes``: baskets frozen and priced, with all that they take set aside."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Annotated, Any, Final

from fastapi import APIRouter, Path, Query, Request, Response

from api.body import JsonRoute, json_answer
from api.demo import DEMO_SPEC
from api.deps import NO_QUERY, HouseDep, KeyDep, least
from api.desk.examine import Examined
from api.desk.forgetting import forget_quote
from api.desk.listing import listed, owner_of
from api.desk.quotes import (
    MOST_TRIES,
    TAKES,
    Basket,
    is_current,
    make_quote,
    post_entry,
    quote_record,
    settled,
)
from api.desk.repeats import known
from api.desk.rows import quote_row
from api.errors import ProblemError
from api.house import House
from api.keys import Key
from api.once import Answer, Asked, keep, replayed
from api.permission import check_lots
from api.routes.documented import ENTERED, KEYED, WRITES, problems
from api.schemas.records import ListQuery, Quote, QuoteEntryIn, QuoteIn, RecordId, SummaryList
from api.store.engine import Write
from api.store.tables import QUOTES
from api.visibility import Caller, record_view
from api.writing import answered, asked_of, check_version, record_answer, record_shown, written

router = APIRouter(tags=["quotes"], route_class=JsonRoute, dependencies=[least(Caller.SERVER)])
reads = APIRouter(tags=["quotes"], dependencies=[least(Caller.SERVER)])

_EXAMPLE: Final[dict[str, Any]] = {"items": [{"spec": DEMO_SPEC}], "hold": "cart"}


@router.post(
    "/v1/quotes",
    operation_id="makeQuote",
    summary="Set a basket aside",
    description=(
        "Freezes and prices one or more complete specs and sets aside all that they take: leather by one joint layout,"
        " thread, edge finish, foil, hardware, rush minutes. All of it or nothing. An item that needs the maker's"
        " agreement leaves the quote awaiting_sign_off, set aside all the same."
    ),
    status_code=201,
    response_model=Quote,
    response_description="The quote.",
    responses=problems("not-buildable", "stock-changed", *WRITES),
    openapi_extra={**KEYED, "requestBody": {"content": {"application/json": {"example": _EXAMPLE}}}},
    dependencies=[NO_QUERY],
)
def make(request: Request, body: QuoteIn, house: HouseDep, key: KeyDep) -> Response:
    """Make a quote."""
    if body.hold == "quote" and key.caller < Caller.STAFF:
        raise ProblemError("key-not-enough", "a hold to valid_until is for the workshop's staff; ask for a cart")
    for item in body.items:
        check_lots(item.spec, key)
    bodies = tuple(item.spec.model_dump(mode="json", exclude_unset=True) for item in body.items)
    reference = body.reference or body.items[0].spec.reference
    basket = Basket(bodies, body.hold, reference, key.client, key.id)
    asked = asked_of(request, key, house, "makeQuote", body)
    return answered(house, asked, lambda: _make(house, asked, basket, key))


def _make(house: House, asked: Asked, basket: Basket, key: Key) -> Answer:
    """Judge a basket with the door open; should the stock move meanwhile, again, at last with the door shut."""
    specs, found = tuple(known(house, spec, owner_of(key)) for spec in basket.specs), None
    for _ in range(MOST_TRIES):
        found = settled(house, specs, None, found)
        answer = _write(house, asked, basket, key.caller, partial(_if_current, found))
        if answer is not None:
            return answer
    answer = _write(house, asked, basket, key.caller, lambda write: settled(house, specs, write, found))
    assert answer is not None, "nobody moves the stock with the door shut"
    return answer


def _if_current(found: Examined, write: Write) -> Examined | None:
    return found if is_current(write, found.shelf) else None


def _write(
    house: House, asked: Asked, basket: Basket, who: Caller, judged: Callable[[Write], Examined | None]
) -> Answer | None:
    """Write a quote of what was judged, or return None where the stock has moved since."""
    with house.store.write() as write:
        again = replayed(write.connection, asked)
        if again is not None:
            return again
        found = judged(write)
        if found is None:
            return None
        quote, hold = make_quote(house, write, basket, found)
        answer = keep(write, asked, _shown(house, write, quote, who))
    house.shelves.adopt(house.shelves.beside(found.shelf, hold))
    return answer


def _shown(house: House, write: Write, quote: str, who: Caller) -> Answer:
    row = quote_row(write.connection, quote, None)
    record = quote_record(house, write.connection, row)
    return record_answer(201, record_view(record, who), f"/v1/quotes/{row.id}", row.version)


@reads.get(
    "/v1/quotes",
    operation_id="listQuotes",
    summary="List quotes",
    description="Your own quotes, the workshop's staff sees all; in the order in which they were made.",
    response_model=SummaryList,
    response_description="Quotes.",
    responses=problems("schema-violation"),
)
def list_quotes(query: Annotated[ListQuery, Query()], house: HouseDep, key: KeyDep) -> Response:
    """Return quotes."""
    names = ("id", "created_at", "state", "reference", "currency", "total_minor", "valid_until")
    return json_answer(listed(house, QUOTES, names, key, query))


@reads.get(
    "/v1/quotes/{quote}",
    operation_id="readQuote",
    summary="Read a quote",
    description="One quote, as it was frozen, with its history. It stays readable whatever becomes of it.",
    response_model=Quote,
    response_description="The quote.",
    responses=problems("not-found", "schema-violation"),
    dependencies=[NO_QUERY],
)
def read_quote(
    quote: Annotated[RecordId, Path(description="Id of a quote.", examples=["Q12"])],
    house: HouseDep,
    key: KeyDep,
) -> Response:
    """Return a quote."""
    with house.store.read() as connection:
        row = quote_row(connection, quote, owner_of(key))
        record = quote_record(house, connection, row)
    return record_shown(record_view(record, key.caller), row.version)


@router.post(
    "/v1/quotes/{quote}/entries",
    operation_id="addQuoteEntry",
    summary="Renew, withdraw or forget a quote",
    description=(
        "renew sets aside anew or for longer (a cart three times at most); withdraw gives back what is set aside;"
        " forget deletes the customer's text of a quote that is over. If-Match is needed but for forget."
    ),
    status_code=201,
    response_model=Quote,
    response_description="The quote after it.",
    responses=problems(
        "not-found", "stock-changed", "hold-lapsed", "price-changed", "wrong-state", "changed-meanwhile",
        "version-missing", *WRITES,
    ),
    openapi_extra=ENTERED,
    dependencies=[NO_QUERY],
)  # fmt: skip
def add_entry(
    request: Request,
    quote: Annotated[RecordId, Path(description="Id of a quote.", examples=["Q12"])],
    body: QuoteEntryIn,
    house: HouseDep,
    key: KeyDep,
) -> Response:
    """Add an entry to a quote."""
    asked = asked_of(request, key, house, "addQuoteEntry", body)

    def act(write: Write) -> Answer:
        row = quote_row(write.connection, quote, owner_of(key))
        check_version(request, row.version, needed=body.kind != "forget")
        if body.kind == "forget":
            forget_quote(house, write, row, TAKES[row.state], by=key.id)
        else:
            free = key.caller >= Caller.STAFF
            post_entry(house, write, row, body.model_dump(mode="json"), by=key.id, free=free)
        return _shown(house, write, row.id, key.caller)

    return written(house, asked, act)
