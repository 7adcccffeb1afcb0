"""What every answer passes through, as plain ASGI: request ids, headers, HEAD, size, last resort.

Plain ASGI on purpose: the framework's own middleware class doubles the cost of a request.
"""

from __future__ import annotations

import logging
import re
import secrets
from collections.abc import Mapping
from contextlib import suppress
from typing import Final

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.errors import ProblemError, problem

BODY_LIMIT: Final = 128 * 1024
#: Bytes of a body that holds the workshop's files.
FILES_LIMIT: Final = 4 << 20
_LOG = logging.getLogger("quarterfoot")
_REQUEST_ID = re.compile(rb"[A-Za-z0-9_-]{8,64}")
_HEADERS: Final = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
)
_DEFAULTS: Final = (
    (b"cache-control", b"no-store"),
    (b"content-security-policy", b"default-src 'none'; frame-ancestors 'none'"),
    (b"cross-origin-resource-policy", b"same-origin"),
)
_ALL: Final = (*_HEADERS, *_DEFAULTS)


class Envelope:
    """Gives each request an id and each answer its headers; no exception leaves it.

    A caller's own id is kept if it is 8 to 64 letters, digits, ``_`` or ``-``. HEAD is answered
    as GET without the body (RFC 9110, 9.3.2).
    """

    def __init__(self, app: ASGIApp) -> None:
        """Wrap an app."""
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one connection."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request_id = _request_id(scope)
        bare = scope["method"] == "HEAD"
        inner = {**scope, "state": {**scope.get("state", {}), "request_id": request_id}}
        if bare:
            inner["method"] = "GET"
        started = False

        async def dressed(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                message["headers"] = _dress(message.get("headers", []), request_id)
            elif bare:
                message = {**message, "body": b""}
            await send(message)

        try:
            await self._app(inner, receive, dressed)
        except Exception:
            _LOG.exception("request %s failed", request_id)
            if started:
                raise
            error = ProblemError("internal-error", "the request could not be answered")
            await problem(error, request_id)(inner, receive, dressed)


def _request_id(scope: Scope) -> str:
    for name, value in scope["headers"]:
        if name == b"request-id" and _REQUEST_ID.fullmatch(value):
            return str(value.decode("ascii"))
    return secrets.token_hex(12)


def _dress(headers: list[tuple[bytes, bytes]], request_id: str) -> list[tuple[bytes, bytes]]:
    present = {name.lower() for name, _ in headers}
    missing = [header for header in _ALL if header[0] not in present]
    return [*headers, *missing, (b"request-id", request_id.encode("ascii"))]


class _TooLargeError(Exception):
    """Ends the reading of a body that passed the limit."""


class BodyLimit:
    """Answers 413 for a body over the limit, whether its length is declared or only turns out."""

    def __init__(self, app: ASGIApp, limit: int = BODY_LIMIT, longer: Mapping[str, int] | None = None) -> None:
        """Wrap an app; ``limit`` is in bytes, ``longer`` has the limits of paths that take more."""
        self._app = app
        self._usual = limit
        self._longer = longer or {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one connection."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        limit = self._longer.get(scope["path"], self._usual)
        if self._declared(scope) > limit:
            await self._refuse(limit, scope, receive, send)
        else:
            await self._count(limit, scope, receive, send)

    @staticmethod
    def _declared(scope: Scope) -> int:
        for name, value in scope["headers"]:
            if name == b"content-length" and value.isdigit():
                return int(value[:20])
        return 0

    @staticmethod
    async def _refuse(limit: int, scope: Scope, receive: Receive, send: Send) -> None:
        error = ProblemError("body-too-large", f"at most {limit} bytes", headers={"connection": "close"})
        await problem(error, scope["state"]["request_id"])(scope, receive, send)

    async def _count(self, limit: int, scope: Scope, receive: Receive, send: Send) -> None:
        seen = 0
        refused = False

        async def counted() -> Message:
            nonlocal seen, refused
            message = await receive()
            seen += len(message.get("body", b""))
            if seen > limit:
                refused = True
                raise _TooLargeError
            return message

        async def unless_refused(message: Message) -> None:
            # The framework answers 400 to whatever breaks the reading of a body; ours goes out instead.
            if not refused:
                await send(message)

        with suppress(_TooLargeError):
            await self._app(scope, counted, unless_refused)
        if refused:
            await self._refuse(limit, scope, receive, send)
