"""The door: nobody comes in without a key, but for health, the documentation and what errors mean.

Plain ASGI, outside everything that answers. A key that may stand in a web page is held to the origins
that it names and to a number of requests; the count is kept in memory, for each process by itself.
"""

from __future__ import annotations

import math
import time
from typing import Final

from limits import RateLimitItem
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.errors import ProblemError, problem
from api.house import House
from api.keys import Key

#: What is open to everybody: these paths, and what lies below those that end in a slash.
OPEN: Final = frozenset({"/health/live", "/health/ready", "/docs", "/openapi.json", "/problems"})
OPEN_BELOW: Final = ("/docs/", "/problems/")
_BEARER: Final = "bearer "
_METHODS: Final = b"GET, HEAD, POST, DELETE"
_SENT: Final = b"authorization, content-type, idempotency-key, if-match, if-none-match, request-id"
_SHOWN: Final = b"etag, location, retry-after, ratelimit, ratelimit-policy, request-id"
_PREFLIGHT_SECONDS: Final = b"600"
Headers = list[tuple[bytes, bytes]]


def is_open(path: str) -> bool:
    """Whether a path needs no key."""
    return path in OPEN or path.startswith(OPEN_BELOW)


class Door:
    """Lets requests in that bring a key, and leaves the key in the scope for whoever answers."""

    def __init__(self, app: ASGIApp, house: House, page_limit: RateLimitItem) -> None:
        """Wrap an app; ``page_limit`` is how often each page key may ask."""
        self._app = app
        self._house = house
        self._limit = page_limit
        self._limiter = MovingWindowRateLimiter(MemoryStorage())
        window = page_limit.get_expiry()
        self._policy = b'"page";q=%d;w=%d' % (page_limit.amount, window)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one connection."""
        if scope["type"] != "http" or is_open(scope["path"]):
            await self._app(scope, receive, send)
            return
        authorization, origin, preflight = _read(scope)
        if preflight and origin is not None:
            await self._answer_preflight(origin, send)
            return
        house = self._house
        shelf = house.shelf
        key = house.keys_at(shelf).find(authorization, house.now()) if authorization else None
        if key is None:
            error = ProblemError(
                "key-unknown", "send a key as Authorization: Bearer", headers={"www-authenticate": "Bearer"}
            )
            await self._refuse(error, scope, receive, send)
            return
        scope["state"]["key"] = key
        scope["state"]["shelf"] = shelf
        if key.class_name == "sheet":
            error = ProblemError("key-not-enough", "a sheet key asks for single values of cells only")
            await self._refuse(error, scope, receive, send)
        elif key.class_name == "page":
            await self._as_page(key, origin, scope, receive, send)
        else:
            await self._app(scope, receive, send)

    async def _as_page(self, key: Key, origin: str | None, scope: Scope, receive: Receive, send: Send) -> None:
        extra: Headers = []
        if origin is not None:
            if origin not in key.origins:
                error = ProblemError("origin-not-allowed", "this key is not for pages of that origin")
                await self._refuse(error, scope, receive, send)
                return
            extra = [
                (b"access-control-allow-origin", origin.encode("latin-1")),
                (b"access-control-expose-headers", _SHOWN),
                (b"cross-origin-resource-policy", b"cross-origin"),
                (b"vary", b"Origin"),
            ]
        allowed = self._limiter.hit(self._limit, key.id)
        stats = self._limiter.get_window_stats(self._limit, key.id)
        wait = max(1, math.ceil(stats.reset_time - time.time()))
        extra += [
            (b"ratelimit-policy", self._policy),
            (b"ratelimit", b'"page";r=%d;t=%d' % (stats.remaining, wait)),
        ]

        async def dressed(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", []), *extra]
            await send(message)

        if allowed:
            await self._app(scope, receive, dressed)
        else:
            error = ProblemError(
                "too-many-requests", f"at most {self._limit} with one key", headers={"retry-after": str(wait)}
            )
            await self._refuse(error, scope, receive, dressed)

    async def _refuse(self, error: ProblemError, scope: Scope, receive: Receive, send: Send) -> None:
        await problem(error, scope["state"]["request_id"])(scope, receive, send)

    async def _answer_preflight(self, origin: str, send: Send) -> None:
        """Tell a browser whether a page of this origin may ask; it sends no key along."""
        headers: Headers = [(b"vary", b"Origin")]
        allowed = origin in self._house.keys.origins
        if allowed:
            headers += [
                (b"access-control-allow-origin", origin.encode("latin-1")),
                (b"access-control-allow-methods", _METHODS),
                (b"access-control-allow-headers", _SENT),
                (b"access-control-max-age", _PREFLIGHT_SECONDS),
            ]
        await send({"type": "http.response.start", "status": 204 if allowed else 403, "headers": headers})
        await send({"type": "http.response.body", "body": b""})


def _read(scope: Scope) -> tuple[str | None, str | None, bool]:
    """Return the key's text, the origin, and whether a browser only asks if it may ask."""
    authorization = origin = None
    asks = False
    for name, value in scope["headers"]:
        if name == b"authorization":
            text = value.decode("latin-1")
            if text[: len(_BEARER)].lower() == _BEARER:
                authorization = text[len(_BEARER) :].strip()
        elif name == b"origin":
            origin = value.decode("latin-1")
        elif name == b"access-control-request-method":
            asks = True
    return authorization, origin, asks and scope["method"] == "OPTIONS"
