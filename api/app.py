"""The only place where the parts meet. Nothing is built when this module is imported."""

from __future__ import annotations

import re
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager

from fastapi import FastAPI

from api import errors
from api.allowance import PAGE_LIMIT, Allowance
from api.desk.keeper import Keeper
from api.docs import add_docs
from api.document import add_document
from api.door import Door
from api.edge import BodyLimit, Envelope
from api.house import House
from api.lane import CheckLane
from api.published import Published
from api.routes import (
    carry_items,
    catalog,
    checks,
    edges,
    foils,
    hardware,
    health,
    kinds,
    leathers,
    lots,
    orders,
    patterns,
    price_list,
    problems,
    quotes,
    refusals,
    rules,
    sign_offs,
    supplies,
    threads,
    typefaces,
)

_RESOURCES = (
    checks, catalog, patterns, kinds, leathers, threads, edges, hardware, typefaces, foils, carry_items,
    price_list, rules, refusals, problems, health,
)  # fmt: skip


def create_app(house: House, *, page_limit: str = PAGE_LIMIT) -> FastAPI:
    """Build the service over an open house; ``page_limit`` is how often each page key may ask."""

    @asynccontextmanager
    async def kept(_app: FastAPI) -> AsyncIterator[None]:
        keeper = Keeper(house)
        keeper.start()
        try:
            yield
        finally:
            keeper.stop()

    app = FastAPI(lifespan=kept, docs_url=None, redoc_url=None, redirect_slashes=False, openapi_url="/openapi.json")
    app.state.house = house
    app.state.published = Published(house.shop)
    for resource in _RESOURCES:
        app.include_router(resource.router)
    for record in (lots, supplies, quotes, sign_offs, orders):
        app.include_router(record.router)
        app.include_router(record.reads)
    add_docs(app)
    add_document(app)
    app.state.methods_at = _methods_of(app)
    errors.install(app)
    app.add_middleware(CheckLane, house=house)
    app.add_middleware(Door, house=house, allowance=Allowance(page_limit))
    app.add_middleware(BodyLimit)
    app.add_middleware(Envelope)  # added last, so outermost: every answer passes through it
    return app


def _methods_of(app: FastAPI) -> Callable[[str], Sequence[str]]:
    """Return a function from a path to every method that it takes.

    The framework's own 405 names the methods of the first route that matches only.
    """
    found: list[tuple[re.Pattern[str], tuple[str, ...]]] = []
    for path, item in app.openapi()["paths"].items():
        pattern = re.sub(r"\\\{[^}]*\\\}", "[^/]+", re.escape(path))
        methods = {method.upper() for method in item}
        found.append((re.compile(pattern), tuple(sorted(methods | ({"HEAD"} if "GET" in methods else set())))))

    def methods_at(path: str) -> Sequence[str]:
        for pattern, methods in found:
            if pattern.fullmatch(path):
                return methods
        return ("GET", "HEAD")  # the pages that the document does not list

    return methods_at
