"""What the routes are given. Nothing here waits, so everything is async (no thread per request)."""

from __future__ import annotations

from typing import Annotated, Any, Final

from fastapi import Depends, Query, Request, Security
from fastapi.openapi.models import HTTPBearer
from fastapi.security.base import SecurityBase
from starlette.types import Scope

from api.errors import ProblemError
from api.house import House
from api.keys import Key
from api.published import Published
from api.schemas.bases import In
from api.store.shelf import Shelf
from api.visibility import Caller
from rules.shop import Shop


class NoParameters(In):
    """The query of a call that takes none: a misspelled parameter is a fault, never ignored."""


async def _no_query(_query: Annotated[NoParameters, Query()]) -> None:
    """Refuse every query parameter."""


async def _house(request: Request) -> House:
    house: House = request.app.state.house
    return house


async def _published(request: Request) -> Published:
    state = request.app.state
    state.published = state.published.at(shelf_of(request.scope).shop)
    published: Published = state.published
    return published


def key_of(scope: Scope) -> Key:
    """Return the key with which the door let a request in."""
    key: Key = scope["state"]["key"]
    return key


def shelf_of(scope: Scope) -> Shelf:
    """Return the stock as it stood when the door let a request in."""
    shelf: Shelf = scope["state"]["shelf"]
    return shelf


def who(scope: Scope) -> Caller:
    """Return who asks."""
    return key_of(scope).caller


class _Least(SecurityBase):
    """Refuses keys below a class. The framework writes it into the document as the operation's security."""

    scheme_name = "key"
    model = HTTPBearer(
        bearerFormat="qf.CLASS.ID.SECRET",
        description="A key of the workshop. Its class, page, server, staff or owner, decides what it may ask and see.",
    )

    def __init__(self, caller: Caller) -> None:
        self._caller = caller

    async def __call__(self, request: Request) -> None:
        if who(request.scope) < self._caller:
            raise ProblemError("key-not-enough", f"this takes a key of class {self._caller.name.lower()} or above")


def least(caller: Caller) -> Any:
    """Return the dependency of a router whose operations take a key of this class or above."""
    return Security(_Least(caller), scopes=[caller.name.lower()])


async def _key(request: Request) -> Key:
    return key_of(request.scope)


async def _shelf(request: Request) -> Shelf:
    return shelf_of(request.scope)


async def _shop(request: Request) -> Shop:
    return shelf_of(request.scope).shop


async def _caller(request: Request) -> Caller:
    return who(request.scope)


NO_QUERY: Final = Depends(_no_query)
HouseDep = Annotated[House, Depends(_house)]
PublishedDep = Annotated[Published, Depends(_published)]
KeyDep = Annotated[Key, Depends(_key)]
CallerDep = Annotated[Caller, Depends(_caller)]
ShelfDep = Annotated[Shelf, Depends(_shelf)]
ShopDep = Annotated[Shop, Depends(_shop)]
