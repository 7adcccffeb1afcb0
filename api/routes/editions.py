"""``/v1/editions``: the workshop's files in force, and putting others in their place."""

from __future__ import annotations

from typing import Annotated, Any, Final

from fastapi import APIRouter, Path, Request, Response
from pydantic_core import to_json
from sqlalchemy import Row

from api.body import JsonRoute, json_answer
from api.comparing import affected_in, comparison_json
from api.deps import NO_QUERY, HouseDep, KeyDep, ShelfDep, least
from api.desk.editions import Draft, notes_on, obstacles, put_in_force
from api.drafting import about_folder, drafted
from api.errors import ProblemError, not_found
from api.once import Answer, in_one
from api.routes.documented import BODY, KEYED, VERSIONED, WRITES, problems
from api.schemas.editions import EditionDraftOut, EditionFull, EditionIn, EditionList, EditionMade, FilesIn
from api.store.editions import edition_row, edition_rows, files_of
from api.store.engine import Write
from api.visibility import Caller
from api.writing import answered, asked_of

router = APIRouter(tags=["editions"], route_class=JsonRoute, dependencies=[least(Caller.OWNER)])
reads = APIRouter(tags=["editions"], dependencies=[least(Caller.OWNER)])

#: Paths whose bodies hold files.
PATHS: Final = ("/v1/editions", "/v1/edition-drafts")
_NUMBER = Path(description="Number of an edition.", examples=[1], ge=1, le=1_000_000_000)
_CACHE: Final = {"cache-control": "private, no-cache"}


@reads.get(
    "/v1/editions",
    operation_id="listEditions",
    summary="List editions",
    description="Every edition of the workshop's files, the newest first, and whether the folder has others by now.",
    response_model=EditionList,
    response_description="Editions.",
    responses=problems("schema-violation"),
    dependencies=[NO_QUERY],
)
def list_editions(house: HouseDep, shelf: ShelfDep) -> Response:
    """Return all editions."""
    with house.store.read() as connection:
        rows = edition_rows(connection)
    items = [_shown(row, shelf.revisions.edition) for row in rows]
    return json_answer({"items": items, "folder": about_folder(house, shelf)})


@reads.get(
    "/v1/editions/{number}",
    operation_id="readEdition",
    summary="Read an edition",
    description="One edition with its files.",
    response_model=EditionFull,
    response_description="The edition.",
    responses=problems("not-found", "schema-violation"),
    dependencies=[NO_QUERY],
)
def read_edition(number: Annotated[int, _NUMBER], house: HouseDep, shelf: ShelfDep) -> Response:
    """Return an edition."""
    with house.store.read() as connection:
        row = edition_row(connection, number)
    if row is None:
        raise not_found("edition")
    return json_answer({**_shown(row, shelf.revisions.edition), "files": files_of(row)})


def _shown(row: Row[Any], in_force: int) -> dict[str, Any]:
    return {
        "number": row.number,
        "at": row.at,
        "by": row.by,
        "content_hash": row.content_hash,
        "note": row.note,
        "in_force": row.number == in_force,
    }


@router.post(
    "/v1/edition-drafts",
    operation_id="draftEdition",
    summary="See what files would change",
    description=(
        "Stores nothing. Reads the files and compares them with the edition in force over all open quotes and orders."
        " Its ETag is what putting them in force needs in If-Match."
    ),
    response_model=EditionDraftOut,
    response_description="What they would change.",
    responses=problems("contradiction", "files-unreadable", "changed-meanwhile", *BODY),
    dependencies=[NO_QUERY],
)
def draft_edition(body: FilesIn, house: HouseDep, shelf: ShelfDep, key: KeyDep) -> Response:
    """Return what files would change."""
    draft = drafted(house, body.model_dump())
    if draft.base != shelf.revisions.edition:
        raise ProblemError("changed-meanwhile", "another edition was put in force just now; ask again")
    old, new = shelf.plain, draft.shop
    with house.store.read() as connection:
        found = {
            "base": draft.base,
            "content_hash": new.catalog.content_hash,
            "in_the_way": [each.as_json() for each in obstacles(connection, old.catalog, new.catalog)],
            "notes": notes_on(connection, old.catalog, new.catalog),
        }
    found["affected"] = comparison_json(affected_in(house, old, new), key.caller)
    answer = json_answer(found)
    answer.headers.update({"etag": draft.token, **_CACHE})
    return answer


@router.post(
    "/v1/editions",
    operation_id="putEditionInForce",
    summary="Put files in force",
    description=(
        "Makes the files the next edition, all of them or none: every process answers by it from its next request on."
        " If-Match is the ETag of the draft that showed what they change. Open quotes keep their price, orders are not"
        " judged anew. Going back is putting an earlier edition's files in force again."
    ),
    status_code=201,
    response_model=EditionMade,
    response_description="The edition.",
    responses=problems(
        "contradiction", "files-unreadable", "still-in-use", "changed-meanwhile", "version-missing", *WRITES
    ),
    openapi_extra={"parameters": [*KEYED["parameters"], *VERSIONED["parameters"]]},
    dependencies=[NO_QUERY],
)
def put_edition_in_force(request: Request, body: EditionIn, house: HouseDep, key: KeyDep) -> Response:
    """Put files in force."""
    asked = asked_of(request, key, house, "putEditionInForce", body)

    def prepared() -> Answer:
        draft = drafted(house, body.model_dump())  # about a second, and nobody who writes waits for it
        return in_one(house.store, asked, lambda write: act(write, draft))

    def act(write: Write, draft: Draft) -> Answer:
        _check_token(request, write, draft)
        old = house.shelves.plain.catalog  # of the edition in force: the token was checked
        in_the_way = obstacles(write.connection, old, draft.shop.catalog)
        if in_the_way:
            members = {"in_the_way": [each.as_json() for each in in_the_way]}
            raise ProblemError("still-in-use", "what is in use would be gone", members=members)
        at = house.now()
        number, lots = put_in_force(write, draft, at=at, by=key.id, note=body.note)
        row = edition_row(write.connection, number)
        assert row is not None
        shown = {**_shown(row, number), "lots_received": lots}
        headers = {"etag": draft.token, "location": f"/v1/editions/{number}", **_CACHE}
        return Answer(201, headers, to_json(shown).decode())

    return answered(house, asked, prepared)


def _check_token(request: Request, write: Write, draft: Draft) -> None:
    """Hold that whoever puts a draft in force was shown what it changes, and that no other edition came between.

    Raises:
        ProblemError: If-Match is missing, or of other files or another edition.
    """
    header = request.headers.get("if-match")
    if header is None:
        raise ProblemError("version-missing", "send the ETag of the draft of these files as If-Match")
    if header.strip() != draft.token or write.edition != draft.base:
        raise ProblemError("changed-meanwhile", "that draft was of other files, or against another edition")
