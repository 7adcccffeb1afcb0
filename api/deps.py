"""What the routes are given. Nothing here waits, so everything is async (no thread per request)."""

from __future__ import annotations

from typing import Annotated, Final

from fastapi import Depends, Query, Request
from pydantic import BaseModel, ConfigDict
from starlette.types import Scope

from api.house import House
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


def who(_scope: Scope) -> Caller:
    """Return who asks."""
    # Until there are keys, whoever reaches the port is the owner; the default host is this machine.
    return Caller.OWNER


async def _caller(request: Request) -> Caller:
    return who(request.scope)


NO_QUERY: Final = Depends(_no_query)
HouseDep = Annotated[House, Depends(_house)]
PublishedDep = Annotated[Published, Depends(_published)]
CallerDep = Annotated[Caller, Depends(_caller)]
