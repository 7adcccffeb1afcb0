"""The door: who may come in. Nothing passes without a key but the few paths that are open to all.

Plain ASGI, since it stands before the lane for plain checks. A key costs a hash and a look into a
table; the shelf that was looked up on the way goes on with the request.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, NamedTuple

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.allowance import Allowance, Taken
from api.errors import ProblemError, problem
from api.house import House
from api.keys import Key

Headers = list[tuple[bytes, bytes]]

#: What anyone may read: whether the service lives, and how to talk to it.
_OPEN: Final = frozenset({"/health/live", "/health/ready", "/openapi.json", "/docs", "/problems"})
_OPEN_BELOW: Final = ("/docs/", "/problems/")

#: How long a browser may keep the answer to a preflight.
_PREFLIGHT_SECONDS: Final = 600
_PREFLIGHT: Final = (
    (b"access-control-allow-methods", b"GET, HEAD, POST"),
    (b"access-control-allow-headers", b"authorization, content-type, if-none-match, request-id"),
    (b"access-control-max-age", b"%d" % _PREFLIGHT_SECONDS),
)
_EXPOSED: Final = (
    b"access-control-expose-headers",
    b"ETag, Link, Location, Request-Id, Retry-After, RateLimit, RateLimit-Policy",
)
_VARY: Final = (b"vary", b"origin")
#: Without it a browser would hide an answer that the page may read.
_READABLE_ELSEWHERE: Final = (b"cross-origin-resource-policy", b"cross-origin")
_BEARER: Final = b"bearer "

# One wording for missing, wrong, revoked and expired alike: whoever guesses learns nothing.
_UNKNOWN: Final = "send a key that is in force, as Authorization: Bearer KEY"


class Door:
    """Lets in who has a key, and puts ``key`` and ``shelf`` into the state of the request."""

    def __init__(self, app: ASGIApp, house: House, allowance: Allowance) -> None:
        """Wrap an app; ``allowance`` is what each page key may ask."""
        self._app = app
        self._house = house
        self._allowance = allowance

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one connection."""
        if scope["type"] == "websocket":  # nothing here speaks it, and nothing may slip in by it
            await send({"type": "websocket.close", "code": 1008})
        elif scope["type"] != "http" or is_open(scope["path"]):
            await self._app(scope, receive, send)
        else:
            await self._guarded(scope, receive, send)

    async def _guarded(self, scope: Scope, receive: Receive, send: Send) -> None:
        asked = _asked(scope["headers"])
        shelf = self._house.shelf
        keys = self._house.keys_at(shelf)
        if scope["method"] == "OPTIONS" and asked.before is not None and asked.origin in keys.origins:
            await _allow(asked.origin, send)
            return
        key = None if asked.key is None else keys.find(asked.key, self._house.now())
        if key is None:
            headers = {"www-authenticate": "Bearer"}
            await _refuse(ProblemError("key-unknown", _UNKNOWN, headers=headers), scope, receive, send)
            return
        scope["state"].update(key=key, shelf=shelf)
        if key.class_name == "page":
            await self._from_a_page(key, asked.origin, scope, receive, send)
        elif key.class_name == "sheet":
            error = ProblemError("key-not-enough", "a sheet key asks for single cells only")
            await _refuse(error, scope, receive, send)
        else:
            await self._app(scope, receive, send)

    async def _from_a_page(self, key: Key, origin: str | None, scope: Scope, receive: Receive, send: Send) -> None:
        if origin is not None and key.origins and origin not in key.origins:
            error = ProblemError("origin-not-allowed", "this key is for pages of other origins")
            await _refuse(error, scope, receive, send)
            return
        taken = self._allowance.take(key.id)
        more = self._dress(origin, taken)

        async def dressed(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", []), *more]
            await send(message)

        if taken.granted:
            await self._app(scope, receive, dressed)
            return
        seconds = str(taken.seconds)
        error = ProblemError("too-many-requests", f"again in {seconds} s", headers={"retry-after": seconds})
        await _refuse(error, scope, receive, dressed)

    def _dress(self, origin: str | None, taken: Taken) -> Headers:
        """Return the headers of an answer to a page key."""
        headers = [*self._allowance.headers(taken), _VARY]
        if origin is not None:
            allowed = (b"access-control-allow-origin", origin.encode("latin-1"))
            headers += [allowed, _EXPOSED, _READABLE_ELSEWHERE]
        return headers


def is_open(path: str) -> bool:
    """Whether a path asks for no key. Everything else does, paths that nobody knows too."""
    return path in _OPEN or path.startswith(_OPEN_BELOW)


class _Asked(NamedTuple):
    """What the headers of a request say of who asks; ``before``: the method that a preflight asks about."""

    key: str | None
    origin: str | None
    before: str | None


def _asked(headers: Iterable[tuple[bytes, bytes]]) -> _Asked:
    keys: list[bytes] = []
    origin = before = None
    for name, value in headers:
        if name == b"authorization":
            keys.append(value)
        elif name == b"origin":
            origin = value.decode("latin-1")
        elif name == b"access-control-request-method":
            before = value.decode("latin-1")
    # Two keys are none: whoever stands between may have read the other one.
    key = _bearer(keys[0]) if len(keys) == 1 else None
    return _Asked(key, origin, before)


def _bearer(value: bytes) -> str | None:
    if value[: len(_BEARER)].lower() != _BEARER:
        return None
    return value[len(_BEARER) :].strip().decode("latin-1")


async def _allow(origin: str, send: Send) -> None:
    """Answer a preflight: a browser asks, without a key, whether a page may ask."""
    allowed = (b"access-control-allow-origin", origin.encode("latin-1"))
    await send({"type": "http.response.start", "status": 204, "headers": [allowed, *_PREFLIGHT, _VARY]})
    await send({"type": "http.response.body", "body": b""})


async def _refuse(error: ProblemError, scope: Scope, receive: Receive, send: Send) -> None:
    await problem(error, scope["state"]["request_id"])(scope, receive, send)
