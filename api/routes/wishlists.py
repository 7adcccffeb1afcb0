"""``/v1/wishlists``: many specs against today's stock, in the kind of file in which they are."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from functools import partial
from io import BytesIO
from itertools import islice
from pathlib import Path as File
from typing import Annotated, Any, Final

from anyio import CapacityLimiter, WouldBlock, to_thread
from fastapi import APIRouter, Path, Query, Request, Response
from fastapi.responses import FileResponse
from pydantic import Field
from sqlalchemy import Connection
from starlette.requests import ClientDisconnect
from starlette.types import Receive, Scope, Send

from api.body import json_answer
from api.demo import DEMO_SPEC
from api.deps import NO_QUERY, HouseDep, KeyDep, ShopDep, least
from api.desk.listing import owner_of
from api.errors import ProblemError, contradiction, not_found
from api.house import House
from api.keys import CLASSES, Key
from api.lists.asking import Source
from api.lists.folders import a_folder
from api.lists.handling import Handling, Wanted
from api.lists.judging import Mode
from api.lists.keeping import (
    MOST_WAITING,
    Sent,
    add_list,
    answers_of,
    drop_lists,
    find_list,
    shown_list,
    waiting_of,
    write_out,
)
from api.lists.media import CSV, FORM, JSON, LINES, NDJSON, XLSX
from api.lists.receiving import Received, Saved, opened, saved, source_of, unreadable
from api.lists.telling import columns_of
from api.lists.writing import media_of, write_stored
from api.routes.documented import BODY, problems
from api.schemas.bases import In
from api.schemas.records import RecordId
from api.schemas.wishlists import WishListAnswer, WishListOut, to_what_if
from api.sheets.model import SheetError
from api.store.tables import WISH_LISTS
from api.visibility import Caller
from rules.best import Measure
from rules.shop import Shop
from rules.what_if import WhatIfError

router = APIRouter(tags=["wish lists"], dependencies=[least(Caller.SERVER)])

PATH: Final = "/v1/wishlists"
#: The best of more rows than this are searched for beside other work.
BEST_AT_ONCE: Final = 40
#: Rows of a list in the modes in which each depends on the others, so that it keeps no others waiting for long.
MOST_ROWS: Final[Mapping[str, int]] = {"independent": 1_048_576, "together": 20_000, "best": 2_000}
#: Seconds for which the best rows are searched for while the caller waits.
_SECONDS_AT_ONCE: Final = 10.0
_MOST_NOTES: Final = 4_000
#: Lists judged, and files written, side by side in this process: single questions are to find a thread.
_SIDE_BY_SIDE: Final = CapacityLimiter(2)
_WRITTEN: Final = CapacityLimiter(2)
#: Lists that may be on their way in, and out, at a time.
_RECEIVED: Final = CapacityLimiter(16)
_READ: Final = CapacityLimiter(16)
_SPECS: Final = {"$ref": "#/components/schemas/Specs"}
_LIST: Final = {"type": "array", "items": {}, "description": "Specs.", "maxItems": 1_000_000}
_SHEET: Final = {
    "type": "object",
    "required": ["file"],
    "additionalProperties": False,
    "properties": {
        "file": {"type": "string", "format": "binary", "description": "A CSV or XLSX sheet."},
        "overrides": {"type": "string", "description": "What if: an object as in the JSON body, as text."},
    },
}
_LINES: Final = {"type": "string", "description": "A spec a line."}
_BODY: Final[dict[str, Any]] = {
    "required": True,
    "content": {
        JSON: {"schema": {"anyOf": [_LIST, _SPECS]}, "example": {"specs": [DEMO_SPEC]}},
        **{media: {"schema": _LINES} for media in LINES},
        FORM: {"schema": _SHEET},
    },
}
_FILES: Final = {
    CSV: {"schema": {"type": "string"}},
    NDJSON: {"schema": {"type": "string"}},
    XLSX: {"schema": {"type": "string", "format": "binary"}},
}
_NOTES_HEADER: Final = {
    "Wish-List-Notes": {
        "description": "What is to be said once of the whole list, a JSON array of texts; for sheets.",
        "schema": {"type": "string"},
    }
}


class TermsQuery(In):
    """How a list is judged."""

    mode: Mode = Field(
        "independent",
        description="independent: each row alone. together: rows take from the stock in the order given. best: as many"
        " rows as can be made together.",
    )
    maximize: Measure = Field("count", description="In the mode best: the number of rows, or their total.")


@router.post(
    PATH,
    operation_id="checkWishList",
    summary="Check a list",
    description=(
        "Holds many specs against the rules and the stock, all at one revision, and stores nothing of a short list."
        " Send JSON (a list, or specs with overrides), NDJSON, or a CSV or XLSX sheet as the form's file, with the"
        " columns of the template; the answer is of the same kind: your own columns, then ours, which begin with qf_."
        " A row that cannot be read gets an error of its own. A long list is 202: ask its address how far it has come."
    ),
    response_model=WishListAnswer,
    response_model_exclude_unset=True,
    response_description="The verdicts, row by row.",
    responses={
        200: {"content": _FILES, "headers": _NOTES_HEADER},
        202: {
            "model": WishListOut,
            "description": "The list is judged beside other work.",
            "headers": {
                "Location": {"description": "Where to ask for it.", "schema": {"type": "string"}},
                "Retry-After": {"description": "Seconds to wait.", "schema": {"type": "string"}},
            },
            "links": {
                name: {"operationId": name, "description": what, "parameters": {"wish_list": "$response.body#/id"}}
                for name, what in (
                    ("readWishList", "How far it has come."),
                    ("readWishListRows", "What is said of its rows."),
                    ("dropWishList", "Stop and delete it."),
                )
            },
        },
        **problems("list-unreadable", "contradiction", "too-many-lists", "busy", *BODY),
    },
    openapi_extra={"requestBody": _BODY},
)
async def check_list(
    request: Request, query: Annotated[TermsQuery, Query()], house: HouseDep, shop: ShopDep, key: KeyDep
) -> Response:
    """Judge a list, or keep it for a worker."""
    limit = request.app.state.list_rows_at_once
    with _place(_RECEIVED), a_folder() as folder:
        try:
            sent = await saved(request, folder)
        except ClientDisconnect:  # nobody is there to be told
            return Response(status_code=400)
        answer = partial(_answer, house, shop, key, query, sent, limit)
        return await to_thread.run_sync(answer, limiter=_SIDE_BY_SIDE)


@contextmanager
def _place(places: CapacityLimiter) -> Iterator[None]:
    """Hold a place, or raise ProblemError where all are taken: what waits takes room on the disk."""
    holder = object()
    try:
        places.acquire_on_behalf_of_nowait(holder)
    except WouldBlock:
        raise ProblemError("busy", "too many lists at once", headers={"retry-after": "5"}) from None
    try:
        yield
    finally:
        places.release_on_behalf_of(holder)


def _answer(house: House, shop: Shop, key: Key, query: TermsQuery, received: Saved, limit: int) -> Response:
    sent = opened(received, key.caller)
    if sent.overrides.lots and key.caller < Caller.STAFF:
        raise ProblemError("key-not-enough", "only the workshop's staff may think of other lots")
    source, best = sent.source, query.mode == "best"
    wanted = Wanted(
        mode=query.mode,
        maximize=query.maximize,
        what_if=to_what_if(sent.overrides),
        caller=key.caller,
        client=owner_of(key),
        seconds=_SECONDS_AT_ONCE,
    )
    try:
        handling = Handling(house, shop, source, wanted)
        most = MOST_ROWS[query.mode]
        rows = source.count(most)
        if rows > most:
            raise unreadable(f"the mode {query.mode} takes at most {most} rows", "")
        if rows > limit or (best and rows > BEST_AT_ONCE):
            return _kept(house, key, query, sent, rows)
        out = BytesIO()
        handling.write(out)
    except SheetError as bad:
        raise unreadable(str(bad), "/file") from None
    except WhatIfError as bad:
        raise contradiction(f"/overrides{bad.pointer}", "not_offered", str(bad)) from None
    return Response(out.getvalue(), media_type=media_of(source), headers=_headers(source))


def _headers(source: Source) -> dict[str, str]:
    if source.kind in ("json", "ndjson"):
        return {}
    headers = {"content-disposition": f'attachment; filename="checked.{source.kind}"'}
    told = list(source.notes)
    while len(notes := json.dumps([*told, *_left_out(len(source.notes) - len(told))])) > _MOST_NOTES:
        told.pop()
    return {**headers, "wish-list-notes": notes} if source.notes else headers


def _left_out(count: int) -> list[str]:
    return [f"and {count} more"] if count else []


def _kept(house: House, key: Key, query: TermsQuery, sent: Received, rows: int) -> Response:
    terms = {
        "mode": query.mode,
        "maximize": query.maximize,
        "overrides": sent.overrides.model_dump(mode="json", exclude_unset=True),
    }
    kept = Sent(key.client, key.class_name, sent.source.kind, terms, rows, sent.source.notes)
    with house.store.write() as write, sent.path.open("rb") as content:
        if waiting_of(write.connection, key.client) >= MOST_WAITING:
            raise ProblemError(
                "too-many-lists", f"{MOST_WAITING} of your lists are not done yet", headers={"retry-after": "30"}
            )
        name = add_list(write, kept, content, house.clock.now())
        shown = shown_list(find_list(write.connection, name, None, house.now()))
    answer = json_answer(shown)
    answer.status_code = 202
    answer.headers.update({"location": f"{PATH}/{name}", "retry-after": "1"})
    return answer


_ID = Path(description="Id of a list.", examples=["W12"])


@router.get(
    f"{PATH}/{{wish_list}}",
    operation_id="readWishList",
    summary="Read how far a list has come",
    description="A long list: its state, the rows judged so far, what came of them.",
    response_model=WishListOut,
    response_description="The list.",
    responses=problems("not-found", "schema-violation"),
    dependencies=[NO_QUERY],
)
def read_list(wish_list: Annotated[RecordId, _ID], house: HouseDep, key: KeyDep) -> Response:
    """Return a list."""
    row = _found(house, wish_list, key)
    answer = json_answer(shown_list(row))
    if row.state in ("waiting", "running"):
        answer.headers["retry-after"] = "1"
    return answer


@router.get(
    f"{PATH}/{{wish_list}}/rows",
    operation_id="readWishListRows",
    summary="Read what is said of a list's rows",
    description="The answer in the kind in which the list came, with the rows that are judged so far.",
    response_model=WishListAnswer,
    response_model_exclude_unset=True,
    response_description="The verdicts, row by row.",
    responses={
        200: {"content": _FILES, "headers": _NOTES_HEADER},
        **problems("not-found", "schema-violation", "busy"),
    },
    dependencies=[NO_QUERY],
)
async def read_rows(wish_list: Annotated[RecordId, _ID], house: HouseDep, key: KeyDep) -> Response:
    """Return the rows of a list that are judged."""
    with _place(_READ), ExitStack() as until_sent:
        folder = until_sent.enter_context(a_folder())
        source = await to_thread.run_sync(partial(_written, house, wish_list, key, folder), limiter=_WRITTEN)
        gone = until_sent.pop_all()
    return _FileOnce(folder / "answer", gone, media_type=media_of(source), headers=_headers(source))


class _FileOnce(FileResponse):
    """A file that is gone once it was sent, or could not be."""

    def __init__(self, path: File, gone: ExitStack, **named: Any) -> None:
        super().__init__(path, **named)
        self._gone = gone

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Send it."""
        with self._gone:
            await super().__call__(scope, receive, send)


def _written(house: House, wish_list: str, key: Key, folder: File) -> Source:
    """Write the answer to a list so far into a folder; all of it as one moment has it."""
    with house.store.read() as connection:
        row = _seen(connection, wish_list, key, house)
        caller = CLASSES[row.key_class]
        write_out(connection, row.id, folder / "list")
        source, shown = source_of(row.kind, folder / "list", caller), shown_list(row)
        with (folder / "answer").open("wb") as out:
            answers = islice(answers_of(connection, row.id), row.done)
            write_stored(source, columns_of(shown["mode"], caller), answers, shown, out)
    return source


@router.delete(
    f"{PATH}/{{wish_list}}",
    operation_id="dropWishList",
    summary="Stop and delete a list",
    description="Whoever is at it stops. Everything that was sent and said is deleted; it would be by itself in time.",
    status_code=204,
    response_description="It is gone.",
    responses=problems("not-found", "schema-violation", "busy"),
    dependencies=[NO_QUERY],
)
def drop_list(wish_list: Annotated[RecordId, _ID], house: HouseDep, key: KeyDep) -> Response:
    """Delete a list."""
    row = _found(house, wish_list, key)
    with house.store.write() as write:
        drop_lists(write.connection, WISH_LISTS.c.id == row.id)
    return Response(status_code=204)


def _found(house: House, name: str, key: Key) -> Any:
    """Return a list that the key may see: its client's own, or the workshop's, told to no lower class."""
    with house.store.read() as connection:
        return _seen(connection, name, key, house)


def _seen(connection: Connection, name: str, key: Key, house: House) -> Any:
    row = find_list(connection, name, owner_of(key), house.now())
    if row is None or key.caller < CLASSES[row.key_class]:
        raise not_found("list")
    return row
