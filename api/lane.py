"""A lane for plain checks: a good spec without a query is answered before the framework begins.

Most requests are such, and the framework's routing, middleware and dependencies cost about as
much as the check. Whatever is not plainly good, a fault first of all, is handed on untouched: one
place finds faults and words them.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from pydantic import TypeAdapter
from pydantic_core import to_json
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.answering import answer_to
from api.body import MEDIA_TYPE, parse
from api.deps import key_of, shelf_of
from api.house import House
from api.schemas.spec import SpecIn
from api.visibility import Caller

PATH: Final = "/v1/checks"
_SPEC: Final = TypeAdapter(SpecIn)
_MEDIA: Final = MEDIA_TYPE.encode()
_TYPE: Final = (b"content-type", _MEDIA)


class CheckLane:
    """Answers plain checks; passes all else on."""

    def __init__(self, app: ASGIApp, house: House) -> None:
        """Wrap an app."""
        self._app = app
        self._house = house

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != "http" or scope["path"] != PATH or not _is_plain(scope):
            await self._app(scope, receive, send)
            return
        body = await _read(receive)
        if body is None:
            return
        try:
            spec = _SPEC.validate_python(parse(body))
        except ValueError:  # no JSON, or no spec
            await self._app(scope, _again(body, receive), send)
            return
        key = key_of(scope)
        if spec.lots and key.caller < Caller.STAFF:  # a fault; one place words it
            await self._app(scope, _again(body, receive), send)
            return
        answer = to_json(await answer_to(self._house, shelf_of(scope).shop, spec, key=key))
        headers = [_TYPE, (b"content-length", b"%d" % len(answer))]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": answer})


def _is_plain(scope: Scope) -> bool:
    if scope["method"] != "POST" or scope["query_string"]:
        return False
    headers: Iterable[tuple[bytes, bytes]] = scope["headers"]
    media = None
    for name, value in headers:
        if name == b"content-encoding":
            return False
        if name == b"content-type":
            media = value if media is None else b"two of them"
    return media == _MEDIA


async def _read(receive: Receive) -> bytes | None:
    """Return the whole body, or None where the caller is gone before its end."""
    body: bytes = b""
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            return None
        body += message.get("body", b"")
        if not message.get("more_body", False):
            return body


def _again(body: bytes, receive: Receive) -> Receive:
    """Return a receive that gives a body already read once more."""
    given = False

    async def replayed() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return replayed
