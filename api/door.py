"""The door: who may come in. Nothing passes without a key but the few paths that are open to all.

Plain ASGI, since it stands before the lane for plain checks. A key costs a hash and a look into a
table; the shelf that was looked up on the way goes on with the request.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final, NamedTuple

from starlette.concurrency import run_in_threadpool
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.allowance import Allowance, Taken
from api.cells import SHEET_KEYS
from api.editions import EditionError
from api.errors import ProblemError, problem
from api.house import House
from api.keys import Key, Keyring
from api.store.shelf import Shelf

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
_UNKNOWN_IN_CELL: Final = "send one key that is in force: a sheet key as key=KEY, any as Authorization: Bearer KEY"


class Door:
    """Lets in who has a key, and puts ``key`` and ``shelf`` into the state of the request."""

    def __init__(self, app: ASGIApp, house: House, allowances: Mapping[str, Allowance]) -> None:
        """Wrap an app; ``allowances`` is what keys may ask, by class; keys of other classes are not counted."""
        self._app = app
        self._house = house
        self._allowances = allowances

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
        try:
            shelf = await self._shelf()
        except EditionError:
            error = ProblemError("edition-unreadable", "another version of the program put the files in force")
            await _refuse(error, scope, receive, send)
            return
        keys = self._house.keys_at(shelf)
        if scope["method"] == "OPTIONS" and asked.before is not None and asked.origin in keys.origins:
            await _allow(asked.origin, send)
            return
        key = self._key(asked, scope, keys)
        if key is None:
            unknown = _UNKNOWN_IN_CELL if SHEET_KEYS in scope["state"] else _UNKNOWN
            error = ProblemError("key-unknown", unknown, headers={"www-authenticate": "Bearer"})
            await _refuse(error, scope, receive, send)
            return
        scope["state"].update(key=key, shelf=shelf)
        if key.class_name == "sheet" and SHEET_KEYS not in scope["state"]:
            error = ProblemError("key-not-enough", "a sheet key asks for single cells only")
            await _refuse(error, scope, receive, send)
        elif key.class_name in self._allowances:
            await self._counted(key, asked.origin, scope, receive, send)
        else:
            await self._app(scope, receive, send)

    async def _shelf(self) -> Shelf:
        revisions = self._house.store.revisions()
        if self._house.shelves.is_open(revisions):
            return self._house.shelf_at(revisions)
        # Another edition: whoever began before goes on meanwhile.
        return await run_in_threadpool(self._house.shelf_at, revisions)

    def _key(self, asked: _Asked, scope: Scope, keys: Keyring) -> Key | None:
        """Return the key of a request. In an address stand sheet keys alone, for cells alone."""
        text, in_address = asked.key, scope["state"].get(SHEET_KEYS, ())
        if in_address:
            text = in_address[0] if len(in_address) == 1 and not asked.any_key else None
        key = None if text is None else keys.find(text, self._house.now())
        return None if key is not None and in_address and key.class_name != "sheet" else key

    async def _counted(self, key: Key, origin: str | None, scope: Scope, receive: Receive, send: Send) -> None:
        page = key.class_name == "page"
        if page and origin is not None and key.origins and origin not in key.origins:
            error = ProblemError("origin-not-allowed", "this key is for pages of other origins")
            await _refuse(error, scope, receive, send)
            return
        allowance = self._allowances[key.class_name]
        taken = allowance.take(key.id)
        more = [*allowance.headers(taken), *(_for_pages(origin) if page else ())]

        async def dressed(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", []), *more]
            await send(message)

        if taken.granted:
            await self._app(scope, receive, dressed)
        else:
            await _refuse(_too_many(taken), scope, receive, dressed)


def _for_pages(origin: str | None) -> Headers:
    """Return the headers of an answer to a page key."""
    if origin is None:
        return [_VARY]
    return [_VARY, (b"access-control-allow-origin", origin.encode("latin-1")), _EXPOSED, _READABLE_ELSEWHERE]


def _too_many(taken: Taken) -> ProblemError:
    seconds = str(taken.seconds)
    detail = f"too many requests with this key; again in {seconds} s"
    return ProblemError("too-many-requests", detail, headers={"retry-after": seconds})


def is_open(path: str) -> bool:
    """Whether a path asks for no key. Everything else does, paths that nobody knows too."""
    return path in _OPEN or path.startswith(_OPEN_BELOW)


class _Asked(NamedTuple):
    """What the headers of a request say of who asks.

    ``any_key``: whether there is any key, be it malformed; ``before``: the method that a preflight asks about.
    """

    key: str | None
    any_key: bool
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
    return _Asked(key, bool(keys), origin, before)


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
