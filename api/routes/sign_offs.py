"""``/v1/sign-offs``: what the maker is asked to agree to, and the answers."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response
from pydantic_core import to_json
from sqlalchemy import select

from api.body import JsonRoute, json_answer
from api.deps import NO_QUERY, HouseDep, KeyDep, least
from api.desk.listing import number_of, page
from api.desk.signing import decide, sign_record, sign_row
from api.once import Answer
from api.routes.documented import KEYED, WRITES, problems
from api.schemas.records import SignOff, SignOffIn, SignOffList, SignOffQuery
from api.store.engine import Write
from api.store.tables import SIGN_OFFS
from api.visibility import Caller, sign_off_view
from api.writing import asked_of, written

router = APIRouter(tags=["sign-offs"], route_class=JsonRoute, dependencies=[least(Caller.STAFF)])
reads = APIRouter(tags=["sign-offs"], dependencies=[least(Caller.STAFF)])


@reads.get(
    "/v1/sign-offs",
    operation_id="listSignOffs",
    summary="List what the maker is asked",
    description="Sign-offs in the order in which they were asked for; state=asked is the maker's inbox.",
    response_model=SignOffList,
    response_description="Sign-offs.",
    responses=problems("schema-violation"),
)
def list_sign_offs(query: Annotated[SignOffQuery, Query()], house: HouseDep, key: KeyDep) -> Response:
    """Return sign-offs."""
    asked = select(SIGN_OFFS).order_by(SIGN_OFFS.c.number).limit(query.limit + 1)
    if query.state is not None:
        asked = asked.where(SIGN_OFFS.c.state == query.state)
    if query.after is not None:
        asked = asked.where(SIGN_OFFS.c.number > number_of(query.after))
    with house.store.read() as connection:
        rows = connection.execute(asked).all()
    return json_answer(page([sign_off_view(sign_record(row), key.caller) for row in rows], query.limit))


@router.post(
    "/v1/sign-offs",
    operation_id="decideSignOff",
    summary="Agree to a finding, or refuse it",
    description=(
        "Records the maker's word on one finding of one item of a quote. It becomes void when spec, lot or the wording"
        " of the rule changes. A refusal of a rule cannot be signed off: only what needs agreement is asked."
    ),
    status_code=201,
    response_model=SignOff,
    response_description="The sign-off.",
    responses=problems(
        "contradiction", "not-found", "wrong-state", *WRITES,
    ),
    openapi_extra=KEYED,
    dependencies=[NO_QUERY],
)  # fmt: skip
def decide_sign_off(request: Request, body: SignOffIn, house: HouseDep, key: KeyDep) -> Response:
    """Record the maker's word."""
    asked = asked_of(request, key, house, "decideSignOff", body)

    def act(write: Write) -> Answer:
        row = sign_row(write.connection, body.quote, body.item, body.finding)
        given = body.model_dump(mode="json")
        decide(write, row, given, now=house.now(), today=house.clock.today(), by=key.id)
        row = sign_row(write.connection, body.quote, body.item, body.finding)
        shown = sign_off_view(sign_record(row), key.caller)
        return Answer(201, {"cache-control": "no-store"}, to_json(shown).decode())

    return written(house, asked, act)
