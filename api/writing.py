"""What every call that stores something has in common: its key, its fingerprint, the version it was read at."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any, Final

from fastapi import Request, Response
from pydantic import BaseModel
from pydantic_core import to_json

from api.body import json_answer
from api.errors import ProblemError, request_id_of
from api.house import House
from api.keys import Key
from api.once import Answer, Asked, fingerprint_of, in_one, once
from api.store.engine import Write

_KEY: Final = re.compile(r'"([\x20\x21\x23-\x5b\x5d-\x7e]{1,128})"|([\x21\x23-\x7e]{1,128})')
_HEADER: Final = "idempotency-key"
_CACHE: Final = "private, no-cache"


def tag_of(version: int) -> str:
    """Return the entity tag of a record."""
    return f'"v{version}"'


def asked_of(request: Request, key: Key, house: House, operation: str, body: BaseModel | Mapping[str, Any]) -> Asked:
    """Return who asks for what, with which key.

    Raises:
        ProblemError: the Idempotency-Key is missing or no text that can be one.
    """
    found = _KEY.fullmatch(request.headers.get(_HEADER, "").strip())
    if found is None:
        raise ProblemError("key-missing", "Idempotency-Key: a text of 1 to 128 visible signs that you use once")
    value = body.model_dump(mode="json", exclude_unset=True) if isinstance(body, BaseModel) else dict(body)
    # The address is part of what is asked for: the same entry on another record is another request.
    fingerprint = fingerprint_of([request.url.path, value])
    text = found[1] or found[2]
    # Each class sees its own answer, so a key of another class is another caller.
    return Asked(
        key.client, f"{key.class_name} {operation}", text, fingerprint, request_id_of(request), house.now(), key.caller
    )


def written(house: House, asked: Asked, act: Callable[[Write], Answer]) -> Response:
    """Answer a request that stores something in one transaction, with one effect for its key."""
    return answered(house, asked, lambda: in_one(house.store, asked, act))


def answered(house: House, asked: Asked, act: Callable[[], Answer]) -> Response:
    """Answer a request that sees to its transactions itself, with one effect for its key."""
    _ = house.shelf  # holds that came due while it waited lapse first
    answer = once(house.store, house.running, asked, act)
    headers = dict(answer.headers)
    media = headers.pop("content-type", "application/json")
    return Response(answer.body, answer.status, headers, media)


def record_answer(status: int, shown: Mapping[str, Any], place: str, version: int) -> Answer:
    """Return the answer that shows a record; ``place`` is its address."""
    headers = {"etag": tag_of(version), "location": place, "cache-control": _CACHE}
    return Answer(status, headers, to_json(shown).decode(), str(shown["id"]))


def record_shown(shown: Mapping[str, Any], version: int) -> Response:
    """Return the response that reads a record."""
    answer = json_answer(shown)
    answer.headers.update({"etag": tag_of(version), "cache-control": _CACHE})
    return answer


def check_version(request: Request, version: int, *, needed: bool) -> None:
    """Compare If-Match with a record's version, strongly.

    Raises:
        ProblemError: it names another version, or is missing where one must have read the record.
    """
    header = request.headers.get("if-match")
    if header is None:
        if needed:
            raise ProblemError("version-missing", "send If-Match with the ETag of the record as you read it")
        return
    if header.strip() != "*" and tag_of(version) not in [each.strip() for each in header.split(",")]:
        raise ProblemError(
            "changed-meanwhile", "the record has changed since you read it", headers={"etag": tag_of(version)}
        )
