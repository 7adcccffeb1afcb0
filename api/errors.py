"""The one place that turns errors into answers: problem details after RFC 9457.

Every error has the same shape. ``type`` is a path of this service that explains it, ``instance``
carries the request's id, ``errors`` points into the body (JSON Pointer, RFC 6901) or at a query
parameter. What the caller sent is never repeated, except names of fields, cut short.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import ValidationError
from starlette.exceptions import HTTPException

from api.store.engine import BusyError

MEDIA_TYPE: Final = "application/problem+json"
MAX_ERRORS: Final = 50
_MAX_POINTER: Final = 120


@dataclass(frozen=True, slots=True)
class ProblemType:
    """One kind of error: its stable slug, HTTP status, title, and what to do about it."""

    slug: str
    status: int
    title: str
    explains: str

    @property
    def path(self) -> str:
        """Return the path that explains it, which is its ``type``."""
        return f"/problems/{self.slug}"


PROBLEM_TYPES: Final[Mapping[str, ProblemType]] = {
    kind.slug: kind
    for kind in (
        ProblemType(
            "unparsable-body", 400, "The body is not JSON",
            "The body could not be read as one JSON value in UTF-8. Nothing was judged. NaN, infinite"
            " numbers, keys written twice and very deep nesting are no JSON here.",
        ),
        ProblemType(
            "key-unknown", 401, "No key, or none that is in force",
            "Send a key as Authorization: Bearer KEY. A key that is unknown, revoked or expired is told from"
            " none in no way. Whoever runs the service makes keys: python -m api keys make CLASS --name NAME.",
        ),
        ProblemType(
            "key-not-enough", 403, "The key does not reach this far",
            "Classes of keys are page, server, staff and owner, each with all that the ones before it may"
            " ask; a sheet key asks for single cells only. The document names the class that an operation takes.",
        ),
        ProblemType(
            "origin-not-allowed", 403, "This key is not for pages of this origin",
            "A page key names the origins of the pages in which it stands, and the Origin header of this"
            " request is none of them.",
        ),
        ProblemType(
            "not-found", 404, "There is nothing here",
            "The address, or the code or id in it, is not known, or is not yours to see. Codes are"
            " compared without regard to case.",
        ),
        ProblemType(
            "method-not-allowed", 405, "This address does not take that method",
            "The Allow header names every method that it takes.",
        ),
        ProblemType(
            "body-too-large", 413, "The body is too large",
            "A body may have 128 kB, one that holds the workshop's files 4 MB, a wish list what the workshop has set"
            " (64 MB unless it says otherwise).",
        ),
        ProblemType(
            "unsupported-media-type", 415, "The body is of a kind that is not read here",
            "Send the media type named in the Accept header, in UTF-8, without compression.",
        ),
        ProblemType(
            "schema-violation", 422, "The request does not fit the schema",
            "Each entry of errors points at one field and says what would fit. A code that the catalog"
            " lacks is never an error: it is a finding of the check.",
        ),
        ProblemType(
            "list-unreadable", 422, "The list cannot be read",
            "It is no sheet that is read here, is damaged, too large or has no column pattern; detail says what would"
            " do. A single row that cannot be read is no such error: it gets one of its own.",
        ),
        ProblemType(
            "key-missing", 400, "The request needs a key of its own",
            "Send Idempotency-Key with a text that you use for this one request, such as a UUID. Sending the"
            " request again with the same key has no second effect and gets the same answer.",
        ),
        ProblemType(
            "key-running", 409, "The same request is still being answered",
            "Another request with this Idempotency-Key has not been answered yet. Wait, then send it again.",
        ),
        ProblemType(
            "key-reused", 422, "The request's key was used for another request",
            "This Idempotency-Key came with another body before. Use a new key for a new request.",
        ),
        ProblemType(
            "not-buildable", 409, "Not everything can be made as asked",
            "Nothing was set aside. checks holds the verdict on each item, in the order of the items.",
        ),
        ProblemType(
            "stock-changed", 409, "The stock is no longer what it was",
            "What was buildable a moment ago, or was set aside, is not there any more. check is the verdict now, rules"
            " the ids of the rules that say so.",
        ),
        ProblemType(
            "hold-lapsed", 409, "Nothing is set aside any more",
            "The time ran out, or the quote was withdrawn. check is the verdict now; renew the quote or make another.",
        ),
        ProblemType(
            "price-changed", 409, "The price is another now",
            "The quote is too old for its price to stand. check has the price of today; make a new quote from it. rules"
            " has the ids of the rules that say so.",
        ),
        ProblemType(
            "sign-off-missing", 409, "The maker has not agreed yet",
            "A finding of the quote needs the maker's agreement, or it was given for what has changed since."
            " sign_offs lists those that are missing.",
        ),
        ProblemType(
            "contradiction", 409, "The request contradicts what the book says",
            "The request has the right shape, and yet what it says cannot be: more taken than there is, an item or a"
            " lot that is not there. Each entry of errors points at a field and says what would fit.",
        ),
        ProblemType(
            "files-unreadable", 422, "The files cannot be read",
            "Each entry of faults names file, line and column and says what is wrong. Nothing was changed.",
        ),
        ProblemType(
            "still-in-use", 409, "Something in use would be gone",
            "in_the_way lists what open quotes and orders name or the stock needs and the files lack, with who uses it."
            " Nothing was changed.",
        ),
        ProblemType(
            "wrong-state", 409, "That cannot be done in this state",
            "state is the record's state; takes lists the kinds of entries that it takes now.",
        ),
        ProblemType(
            "measures-missing", 409, "What is left must be measured",
            "No straight cuts leave room for what is set aside for others in this lot. Say in rectangles_left_mm what"
            " is left, or cut from another lot.",
        ),
        ProblemType(
            "changed-meanwhile", 412, "The record has changed since you read it",
            "Read it again; its ETag is what If-Match must name.",
        ),
        ProblemType(
            "version-missing", 428, "Say which version you have read",
            "Send If-Match with the ETag of the record as you read it, so that nobody's change is overwritten.",
        ),
        ProblemType(
            "too-many-requests", 429, "Too many requests with this key",
            "Wait the seconds in Retry-After. RateLimit says how many are left in the window.",
        ),
        ProblemType(
            "too-many-lists", 429, "Too many of your lists are waiting",
            "Wait until some are done, or delete some.",
        ),
        ProblemType(
            "edition-unreadable", 503, "This process cannot read the files in force",
            "Another version of the program put them in force. Whoever runs the service starts this process anew with"
            " that version, or puts files in force that both read.",
        ),
        ProblemType(
            "busy", 503, "Too many are writing at once",
            "Nothing was written. Send the request again after the seconds in Retry-After.",
        ),
        ProblemType(
            "internal-error", 500, "Something went wrong here",
            "The fault is ours; the request may be sent again. Name the instance when you report it.",
        ),
    )
}  # fmt: skip

#: For errors of the framework, which know a status only: the first kind of each.
_SLUG_OF_STATUS: Final = {kind.status: kind.slug for kind in reversed(list(PROBLEM_TYPES.values()))}

# From the schema library's own codes to ours, which stay the same whatever library is used.
_CODES: Final[Mapping[str, tuple[str, str]]] = {
    "missing": ("missing", "this field is needed"),
    "extra_forbidden": ("unknown_field", "there is no such field"),
    "string_type": ("wrong_type", "text is needed"),
    "string_unicode": ("wrong_text", "the text holds half of a surrogate pair"),
    "string_too_long": ("too_long", "the text is too long: at most {max_length} characters"),
    "string_too_short": ("too_short", "the text is too short: at least {min_length} characters"),
    "string_pattern_mismatch": ("wrong_text", "the text holds characters that are not allowed here"),
    "model_type": ("wrong_type", "an object is needed"),
    "model_attributes_type": ("wrong_type", "an object is needed"),
    "dict_type": ("wrong_type", "an object is needed"),
    "list_type": ("wrong_type", "a list is needed"),
    "too_long": ("too_many", "at most {max_length} entries"),
    "bool_type": ("wrong_type", "true or false is needed"),
    "float_type": ("wrong_type", "a number is needed"),
    "int_type": ("wrong_type", "a whole number is needed"),
    "finite_number": ("wrong_type", "a finite number is needed"),
    "greater_than_equal": ("too_small", "at least {ge}"),
    "less_than_equal": ("too_large", "at most {le}"),
    "literal_error": ("not_offered", "one of {expected}"),
    "union_tag_invalid": ("not_offered", "kind is one of {expected_tags}"),
    "union_tag_not_found": ("missing", "the field kind is needed"),
}


class ProblemError(Exception):
    """An error that has a problem type. ``detail`` is one plain sentence about this occurrence."""

    def __init__(
        self,
        slug: str,
        detail: str,
        *,
        errors: Sequence[Mapping[str, str]] = (),
        headers: Mapping[str, str] | None = None,
        members: Mapping[str, Any] | None = None,
    ) -> None:
        """Keep what the answer needs; ``members`` are further fields of the problem."""
        super().__init__(detail)
        self.kind = PROBLEM_TYPES[slug]
        self.detail = detail
        self.errors = errors
        self.headers = dict(headers or {})
        self.members = dict(members or {})


def not_found(noun: str) -> ProblemError:
    """Return the error for a code or id in the path that nothing has."""
    return ProblemError("not-found", f"there is no such {noun}")


def contradiction(pointer: str, code: str, fits: str, *, says: str | None = None) -> ProblemError:
    """Return the error for a field that contradicts the book: where, which kind, what would fit; ``says`` it all."""
    entry = {"pointer": pointer, "code": code, "detail": fits}
    return ProblemError("contradiction", says or fits, errors=[entry])


def problem_body(error: ProblemError, request_id: str) -> dict[str, Any]:
    """Return the body of the answer for an error."""
    body: dict[str, Any] = {
        "type": error.kind.path,
        "title": error.kind.title,
        "status": error.kind.status,
        "detail": error.detail,
        "instance": f"/requests/{request_id}",
    }
    if error.errors:
        body["errors"] = list(error.errors)
    return body | error.members


def problem(error: ProblemError, request_id: str) -> Response:
    """Return the answer for an error."""
    text = json.dumps(problem_body(error, request_id), ensure_ascii=False, separators=(",", ":")).encode(
        "utf-8", "replace"
    )
    return Response(text, error.kind.status, error.headers, MEDIA_TYPE)


def request_id_of(request: Request) -> str:
    """Return the id that the edge gave this request."""
    return str(request.scope.get("state", {}).get("request_id", "unknown"))


def schema_violation(faults: Iterable[Mapping[str, Any]]) -> ProblemError:
    """Return the error for faults as the schema library lists them."""
    entries = [_entry(fault) for fault in faults]
    entries = list({(entry["pointer"], entry["code"]): entry for entry in entries}.values())
    count = len(entries)
    detail = "one field does not fit" if count == 1 else f"{count} fields do not fit"
    if count > MAX_ERRORS:
        detail += f"; the first {MAX_ERRORS} are listed"
    return ProblemError("schema-violation", detail, errors=entries[:MAX_ERRORS])


def violation_of(bad: ValidationError, at: Sequence[str | int] = ("body",)) -> ProblemError:
    """Return the error for what a model does not take; ``at`` is where what it was given stands."""
    faults = bad.errors(include_url=False, include_context=True, include_input=False)
    return schema_violation({**fault, "loc": (*at, *fault["loc"])} for fault in faults)


def _entry(fault: Mapping[str, Any]) -> dict[str, str]:
    code, words = _CODES.get(fault["type"], (fault["type"], fault["msg"]))
    for name, value in fault.get("ctx", {}).items():
        words = words.replace("{" + name + "}", f"{value:g}" if isinstance(value, float) else str(value))
    return {"pointer": pointer(fault["loc"]), "code": code, "detail": words}


def pointer(place: Sequence[str | int]) -> str:
    """Return where a fault is: a JSON Pointer into the body, or ``query/NAME``.

    Names come from the caller, so they are cut short and cannot break the encoding.
    """
    source, *rest = place or ("body",)
    steps = [str(step).replace("~", "~0").replace("/", "~1") for step in rest if step != "[key]"]
    path = "/".join(["" if source == "body" else str(source), *steps])
    return path[:_MAX_POINTER].encode("utf-8", "replace").decode()


def install(app: FastAPI) -> None:
    """Give an app the handlers that make every error a problem."""

    async def on_problem(request: Request, error: Exception) -> Response:
        assert isinstance(error, ProblemError)
        return problem(error, request_id_of(request))

    async def on_schema(request: Request, error: Exception) -> Response:
        assert isinstance(error, RequestValidationError)
        return problem(_from_schema(error, entry=request.url.path.endswith("/entries")), request_id_of(request))

    async def on_http(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        return problem(_from_http(error, request), request_id_of(request))

    async def on_busy(request: Request, _error: Exception) -> Response:
        busy = ProblemError("busy", "another change is being written", headers={"retry-after": "1"})
        return problem(busy, request_id_of(request))

    app.add_exception_handler(BusyError, on_busy)
    app.add_exception_handler(ProblemError, on_problem)
    app.add_exception_handler(RequestValidationError, on_schema)
    app.add_exception_handler(HTTPException, on_http)


def _from_schema(error: RequestValidationError, *, entry: bool) -> ProblemError:
    faults: Sequence[Any] = error.errors()
    if entry:  # the schema library names the kind of entry as if it were a field
        faults = [{**fault, "loc": ("body", *fault["loc"][2:])} if len(fault["loc"]) > 2 else fault for fault in faults]
    if faults and faults[0]["type"] == "json_invalid":
        return ProblemError("unparsable-body", str(faults[0]["ctx"]["error"]))
    return schema_violation(faults)


def _from_http(error: HTTPException, request: Request) -> ProblemError:
    slug = _SLUG_OF_STATUS.get(error.status_code, "internal-error")
    if slug == "method-not-allowed":
        allow = ", ".join(request.app.state.methods_at(request.url.path))
        return ProblemError(slug, f"this address takes {allow}", headers={"allow": allow})
    words = {
        "not-found": "there is nothing at this address",
        "unparsable-body": "the body could not be read",
    }
    return ProblemError(slug, words.get(slug, PROBLEM_TYPES[slug].title.lower()))
