"""Request bodies: JSON as RFC 8259 has it, read strictly.

Python's reader is more generous than JSON: it takes NaN, UTF-16 and a key written twice. Each of
those has hidden a caller's slip, so each is a fault here.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Coroutine, Mapping
from typing import Any, Final

from fastapi import Request, Response
from fastapi.routing import APIRoute
from pydantic_core import to_json

from api.errors import ProblemError

MEDIA_TYPE: Final = "application/json"


def parse(body: bytes) -> Any:
    """Return the JSON value of a body.

    Raises:
        json.JSONDecodeError: whatever is wrong; ``msg`` says it in words and repeats no input.
    """
    try:
        text = body.decode("utf-8-sig")
        return json.loads(text, parse_constant=_no_constant, object_pairs_hook=_object)
    except UnicodeDecodeError as bad:
        raise _unreadable(f"the text is not UTF-8 (byte {bad.start})") from None
    except json.JSONDecodeError as bad:
        raise _unreadable(f"line {bad.lineno}, column {bad.colno}: {bad.msg}") from None
    except RecursionError:
        raise _unreadable("lists and objects are nested too deep") from None
    except _NotJsonError as bad:
        raise _unreadable(str(bad)) from None
    except ValueError:  # Python's own guard against integers of thousands of digits
        raise _unreadable("a number has too many digits") from None


class _NotJsonError(ValueError):
    """Something that Python reads and JSON does not have."""


def _unreadable(words: str) -> json.JSONDecodeError:
    return json.JSONDecodeError(words, "", 0)


def _no_constant(word: str) -> None:
    raise _NotJsonError(f"{word} is no JSON number")


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise _NotJsonError("an object has the same key twice")
    return found


def json_answer(value: Mapping[str, Any]) -> Response:
    """Return a value as the JSON body of an answer.

    For answers that this program builds field by field from its own figures: passing them through
    their model once more would cost a tenth of the request and change no byte. The contract tests hold
    every such answer to its model.
    """
    return Response(to_json(value), media_type=MEDIA_TYPE)


class StrictRequest(Request):
    """A request whose body is read by :func:`parse`."""

    async def body(self) -> bytes:
        """Return the body. Raises json.JSONDecodeError where there is none."""
        body = await super().body()
        if not body:
            raise _unreadable("the body is empty")
        return body

    async def json(self) -> Any:
        """Return the JSON value of the body."""
        return parse(await self.body())


class JsonRoute(APIRoute):
    """A route that takes a JSON body in UTF-8 and nothing else."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """Return the handler, with the media type checked before the body is read."""
        handle = super().get_route_handler()

        async def strict(request: Request) -> Response:
            _check_media(request)
            return await handle(StrictRequest(request.scope, request.receive))

        return strict


def _check_media(request: Request) -> None:
    media = request.headers.get("content-type", "").partition(";")[0]
    if media.strip().lower() != MEDIA_TYPE:
        raise ProblemError("unsupported-media-type", f"send the body as {MEDIA_TYPE}", headers={"accept": MEDIA_TYPE})
    check_coding(request)


def check_coding(request: Request) -> None:
    """Raise ProblemError where a body is compressed, or text in another encoding than UTF-8."""
    coding = request.headers.get("content-encoding", "identity").strip().lower()
    if coding not in ("", "identity"):
        raise ProblemError(
            "unsupported-media-type",
            "send the body without compression",
            headers={"accept-encoding": "identity"},
        )
    parameters = request.headers.get("content-type", "").partition(";")[2]
    for parameter in parameters.lower().split(";"):
        name, _, value = parameter.partition("=")
        if name.strip() == "charset" and value.strip(' "') not in ("utf-8", "utf8"):
            raise ProblemError("unsupported-media-type", "send the text as UTF-8", headers={"accept": MEDIA_TYPE})
