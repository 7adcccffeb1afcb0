"""What the routes are given. Nothing here waits, so everything is async (no thread per request)."""

from __future__ import annotations

from typing import Annotated, Any, Final

from fastapi import Depends, Query, Request
from pydantic import BaseModel, ConfigDict
from starlette.types import Scope

from api.errors import ProblemError
from api.house import House
from api.keys import Key
from api.published import Published
from api.visibility import Caller


class NoParameters(BaseModel):
    """The query of a call that takes none: a misspelled parameter is a fault, never ignored."""

    model_config = ConfigDict(extra="forbid")


async def _no_query(_query: Annotated[NoParameters, Query()]) -> None:
    """Refuse every query parameter."""


async def _house(request: Request) -> House:
    house: House = request.app.state.house
    return house


async def _published(request: Request) -> Published:
    published: Published = request.app.state.published
    return published


def key_in(scope: Scope) -> Key:
    """Return the key that the door let in."""
    key: Key = scope["state"]["key"]
    return key


async def _key(request: Request) -> Key:
    return key_in(request.scope)


async def _caller(request: Request) -> Caller:
    return key_in(request.scope).caller


def least(who: Caller) -> Any:
    """Return the dependency of routes that are for keys of a class and those above it."""

    async def check(request: Request) -> None:
        if key_in(request.scope).caller < who:
            raise ProblemError("key-not-enough", f"this call is for keys of the class {who.name.lower()} and above")

    return Depends(check)


NO_QUERY: Final = Depends(_no_query)
HouseDep = Annotated[House, Depends(_house)]
PublishedDep = Annotated[Published, Depends(_published)]
KeyDep = Annotated[Key, Depends(_key)]
CallerDep = Annotated[Caller, Depends(_caller)]
