"""What the document says of answers that many operations share."""

from __future__ import annotations

from typing import Any, Final

from api.errors import MEDIA_TYPE, PROBLEM_TYPES

Responses = dict[int | str, dict[str, Any]]

_PROBLEM: Final = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}
_ETAG: Final = {
    "description": "Strong entity tag of the document.",
    "schema": {"type": "string"},
}
_HEADERS: Final[dict[int, dict[str, Any]]] = {
    401: {"WWW-Authenticate": {"description": "Bearer.", "schema": {"type": "string"}}},
    429: {"Retry-After": {"description": "Seconds to wait.", "schema": {"type": "string", "pattern": "^[0-9]+$"}}},
}

#: The header by which a caller says what it has already.
CONDITIONAL: Final[dict[str, Any]] = {
    "parameters": [
        {
            "name": "If-None-Match",
            "in": "header",
            "required": False,
            "description": "Entity tags that the caller has, or *; where one is current the answer is 304.",
            "schema": {"type": "string"},
        }
    ]
}


#: The header by which a retry is known.
KEYED: Final[dict[str, Any]] = {
    "parameters": [
        {
            "name": "Idempotency-Key",
            "in": "header",
            "required": True,
            "description": "A text of your own for this one request, such as a UUID. Sent again with the same body"
            " within two days it has no second effect and gets the same answer.",
            "schema": {"type": "string", "minLength": 1, "maxLength": 128, "pattern": "^[!#-\\[\\]-~]+$"},
        }
    ]
}
#: The header by which a caller says which version it has read.
VERSIONED: Final[dict[str, Any]] = {
    "parameters": [
        {
            "name": "If-Match",
            "in": "header",
            "required": False,
            "description": "The ETag of the record as you read it. Needed where the entry decides something.",
            "schema": {"type": "string"},
        }
    ]
}


#: The headers of an entry: it may have to say which version was read.
ENTERED: Final[dict[str, Any]] = {"parameters": [*KEYED["parameters"], *VERSIONED["parameters"]]}
#: What may be wrong with any body, and with any call that stores something.
BODY: Final = ("unparsable-body", "body-too-large", "unsupported-media-type", "schema-violation")
WRITES: Final = ("key-missing", "key-running", "key-reused", "busy", *BODY)


def read_one(operation: str, parameter: str, code: str) -> dict[str, Any]:
    """Return the link from a list to one of its entries; ``code`` is the field that names it."""
    return {
        operation: {
            "operationId": operation,
            "description": "One entry of the list.",
            "parameters": {parameter: f"$response.body#/items/0/{code}"},
        }
    }


def problems(*slugs: str) -> Responses:
    """Return what the document says of these problems; those of the same status are told together."""
    found: Responses = {}
    for slug in (*slugs, "internal-error"):
        kind = PROBLEM_TYPES[slug]
        response = found.setdefault(kind.status, {"content": _PROBLEM})
        response["description"] = f"{response.get('description', '')} {kind.title}.".strip()
        if kind.status in _HEADERS:
            response["headers"] = _HEADERS[kind.status]
    return found


def at_the_door() -> Responses:
    """Return what the document says of every operation that takes a key."""
    return problems("key-unknown", "key-not-enough", "origin-not-allowed", "too-many-requests")


def tagged(description: str, *slugs: str, links: dict[str, Any] | None = None) -> Responses:
    """Return what the document says of a document with an ETag, and of these problems."""
    found: dict[str, Any] = {"description": description, "headers": {"ETag": _ETAG}}
    if links is not None:
        found["links"] = links
    return {
        200: found,
        304: {"description": "The caller has the current document.", "headers": {"ETag": _ETAG}},
        **problems(*slugs),
    }
