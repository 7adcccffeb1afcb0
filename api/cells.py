"""Cells: whatever comes of one is a line of text with status 200, since a sheet hides every other answer.

Plain ASGI round all that may refuse a request: the limit of bodies, the door, the framework. What comes back
as a problem goes out as a line ``error: ...``, and so does an answer that takes too long. The key in the
address is taken out here, before anything could write the address down.
"""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import MutableMapping
from typing import Any, Final
from urllib.parse import unquote_plus

from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

PATH: Final = "/v1/cells"
#: The parameter that holds the key of a sheet.
KEY: Final = "key"
#: The member of a request's state with the keys that stood in a cell's address; no other request has it.
SHEET_KEYS: Final = "sheet_keys"
#: How long a cell waits for its answer. Programs that ask give up by themselves after some ten seconds, without a word.
CELL_SECONDS: Final = 5.0

_LOG = logging.getLogger("quarterfoot")
_GOOD: Final = 200
_PROBLEM: Final = "application/problem+json"
#: Headers of a problem that hold for its line too.
_KEPT: Final = frozenset(
    {b"access-control-allow-origin", b"access-control-expose-headers", b"cross-origin-resource-policy", b"ratelimit",
     b"ratelimit-policy", b"retry-after", b"vary"}
)  # fmt: skip


def is_for_cells(scope: MutableMapping[str, Any]) -> bool:
    """Whether a request goes to where cells are, by whatever method."""
    return scope["type"] == "http" and is_cell_path(scope["path"])


def is_cell_path(path: str) -> bool:
    """Whether cells are at a path, be it one that there is not."""
    return path == PATH or path.startswith(f"{PATH}/")


def line(text: str) -> str:
    """Return a text as one line."""
    return " ".join(text.split())


class CellLines:
    """Answers requests for cells by a line, always; passes all else on."""

    def __init__(self, app: ASGIApp, seconds: float = CELL_SECONDS) -> None:
        """Wrap an app; ``seconds`` is how long a cell waits for it."""
        self._app = app
        self._seconds = seconds

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one connection."""
        if is_for_cells(scope) and scope["method"] == "GET":  # HEAD has become GET further out
            answer = await self._answer(scope, receive)
            await answer(scope, receive, send)
        else:
            await self._app(scope, receive, send)

    async def _answer(self, scope: Scope, receive: Receive) -> Response:
        rest, keys = _without_keys(scope["query_string"])
        inner = {**scope, "query_string": rest, "state": {**scope["state"], SHEET_KEYS: keys}}
        caught = _Caught()
        try:
            async with asyncio.timeout(self._seconds):
                await self._app(inner, receive, caught.send)
            return caught.answer()
        except TimeoutError:
            return _fault("no answer in time; ask again in a while")
        except Exception:  # noqa: BLE001 -- whatever it is, a sheet would hide any other answer
            request_id = scope["state"]["request_id"]
            _LOG.exception("request %s failed", request_id)
            return _fault(f"something went wrong here; name {request_id} when you report it")


class _Caught:
    """An answer that is held back until it is whole."""

    def __init__(self) -> None:
        self._status = 0
        self._headers: list[tuple[bytes, bytes]] = []
        self._body = b""

    async def send(self, message: Message) -> None:
        """Take what an app sends."""
        if message["type"] == "http.response.start":
            self._status, self._headers = message["status"], list(message["headers"])
        elif message["type"] == "http.response.body":
            self._body += message.get("body", b"")

    def answer(self) -> Response:
        """Return it, in words where it is a problem."""
        if self._status == _GOOD:
            response = Response(self._body)
            response.raw_headers = self._headers
            return response
        response = _fault(json.loads(self._body)["detail"])
        response.raw_headers += [header for header in self._headers if header[0] in _KEPT]
        return response


def _fault(text: str) -> Response:
    return PlainTextResponse(f"error: {line(text)}", headers={"cache-control": "no-store"})


def _without_keys(query: bytes) -> tuple[bytes, tuple[str, ...]]:
    """Return a query string without the keys in it, and the keys."""
    rest, keys = [], []
    for each in query.split(b"&"):
        name, _, value = each.decode("latin-1").partition("=")
        if unquote_plus(name).strip().casefold() == KEY:
            keys.append(unquote_plus(value))
        else:
            rest.append(each)
    return b"&".join(rest), tuple(keys)
