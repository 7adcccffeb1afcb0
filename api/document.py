"""The OpenAPI document: what the framework writes, put right where it is wrong."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any, Final

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from api.cells import KEY, is_cell_path
from api.door import is_open
from api.routes.documented import at_the_door
from api.schemas.problem import Problem
from api.schemas.wishlists import Specs

TITLE: Final = "Quarterfoot"
VERSION: Final = "1"
DESCRIPTION: Final = """\
Checks what a leather bench can make: a spec is held against the rules of the trade and the stock, and the
answer says what stands in the way, with the figure, the limit and what would do.

Lengths are in mm with at most 3 decimals, areas in dm2, lengths of thread in m, dates in ISO 8601, money is
decimal text beside an ISO 4217 currency. `null` means absent. Codes are compared without regard to case.
Every error is a problem (RFC 9457), but for cells, which answer a line of text whatever happens.

Every call but those of health and problems takes a key, `Authorization: Bearer KEY`. Its class, page, server,
staff or owner, decides what may be asked and what is seen; each operation names the least class that it takes.
A key of class sheet asks for cells only, and alone may stand in an address, as `key`.
Page and sheet keys may ask so often in a while: their answers carry `RateLimit-Policy` and `RateLimit`.
"""
TAGS: Final = (
    {"name": "checks", "description": "Specs held against the rules and the stock."},
    {"name": "choices", "description": "What can still be chosen, and what it comes to."},
    {"name": "cells", "description": "Single values of a check, for formulas in a sheet."},
    {"name": "wish lists", "description": "Many specs at once, in the kind of file in which they are."},
    {"name": "quotes", "description": "Baskets frozen and priced, with all that they take set aside."},
    {"name": "sign-offs", "description": "What the maker is asked to agree to."},
    {"name": "orders", "description": "Quotes accepted, on their way to the bench and out of the door."},
    {"name": "lots", "description": "Leather in stock and its ledger."},
    {"name": "supplies", "description": "Thread, edge finish, foil, hardware and type in stock, and their ledger."},
    {"name": "refusals", "description": "What was asked for and could not be made."},
    {"name": "catalog", "description": "What the workshop makes, and of what. Documents carry an ETag."},
    {"name": "rules", "description": "The rule book: reasons, limits, sources, examples."},
    {"name": "editions", "description": "The workshop's files in force, what others would change, and changing them."},
    {"name": "problems", "description": "What each kind of error means."},
    {"name": "health", "description": "For whoever runs the service."},
)
_SHEET: Final = "sheetKey"
_SHEET_KEY: Final = {
    "type": "apiKey",
    "in": "query",
    "name": KEY,
    "description": "A key of class sheet, for programs that can send no header. It is good for cells and nothing else.",
}


def add_document(app: FastAPI) -> None:
    """Make ``app.openapi()`` return the corrected document, built once."""

    def openapi() -> dict[str, Any]:
        if app.openapi_schema is None:
            app.openapi_schema = _built(app)
        return app.openapi_schema

    app.openapi = openapi  # type: ignore[method-assign]  # the framework's documented way to extend it


def _built(app: FastAPI) -> dict[str, Any]:
    document = get_openapi(
        title=TITLE,
        version=VERSION,
        openapi_version="3.1.0",
        description=DESCRIPTION,
        routes=app.routes,
        tags=[dict(tag) for tag in TAGS],
        servers=[{"url": "/", "description": "This service."}],
        separate_input_output_schemas=False,
    )
    for model in (Problem, Specs):  # what the framework does not see in any signature
        schema = model.model_json_schema(ref_template="#/components/schemas/{model}")
        parts = schema.pop("$defs")
        document["components"]["schemas"].update({**parts, model.__name__: schema})
    document["components"]["securitySchemes"][_SHEET] = _SHEET_KEY
    for path, item in document["paths"].items():
        for operation in item.values():
            _drop_body_of_304(operation)
            _say_who_may(operation, everyone=is_open(path))
            if is_cell_path(path):
                _say_of_cells(operation)
            elif not is_open(path):
                _say_what_the_door_answers(operation)
    return document


def operations(document: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """Yield every operation of a document."""
    for path in document["paths"].values():
        yield from path.values()


def _drop_body_of_304(operation: dict[str, Any]) -> None:
    operation["responses"].get("304", {}).pop("content", None)


def _say_who_may(operation: dict[str, Any], *, everyone: bool) -> None:
    """Say which key an operation takes."""
    if everyone:
        operation["security"] = []
    elif "security" not in operation:  # no service starts with an operation that forgot to ask for a class
        raise RuntimeError(f"{operation['operationId']} does not say which keys it takes")


def _say_what_the_door_answers(operation: dict[str, Any]) -> None:
    responses = operation["responses"]
    for status, response in at_the_door().items():
        responses.setdefault(str(status), response)


def _say_of_cells(operation: dict[str, Any]) -> None:
    """Say that a sheet key may stand in the address. A cell has no status but 200, so the door's are not named."""
    operation["security"].append({_SHEET: []})


def as_text(document: Mapping[str, Any]) -> str:
    """Return the document as it is kept in the repository: sorted keys, a newline at the end."""
    return json.dumps(document, indent=2, sort_keys=True, ensure_ascii=False) + "\n"
