"""The only place where the parts meet. Nothing is built when this module is imported."""

from __future__ import annotations

import re
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager

from fastapi import FastAPI

from api import errors
from api.ahead import Ahead
from api.allowance import Allowance
from api.cells import CELL_SECONDS, CellLines, is_for_cells
from api.desk.keeper import Keeper
from api.docs import add_docs
from api.document import add_document
from api.door import Door
from api.edge import FILES_LIMIT, BodyLimit, Envelope
from api.house import House
from api.lane import CheckLane
from api.lists.template import Templates
from api.lists.work import Workers
from api.published import Published
from api.routes import (
    carry_items,
    catalog,
    cells,
    checklists,
    checks,
    choices,
    edges,
    editions,
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
    rule_audit,
    rule_comparisons,
    rule_sheet,
    rules,
    sign_offs,
    supplies,
    threads,
    typefaces,
    wishlist_templates,
    wishlists,
)
from api.rule_audit import RuleAudits
from api.settings import Settings

_RESOURCES = (
    checks, choices, wishlists, wishlist_templates, cells, catalog, patterns, kinds, leathers, threads, edges, hardware,
    typefaces, foils, carry_items, price_list, rules, rule_comparisons, rule_sheet, rule_audit, refusals, problems,
    health,
)  # fmt: skip


def create_app(
    house: House, settings: Settings | None = None, *, cell_seconds: float = CELL_SECONDS, ahead: Ahead | None = None
) -> FastAPI:  # fmt: skip
    """Build the service over an open house.

    Args:
        house: what requests work with.
        settings: how it runs; without them as by default, and nobody works at long lists here.
        cell_seconds: after how long a cell is told that its answer takes too long.
        ahead: compiles what is asked next while the service runs; without it who asks first waits.
    """
    workers = None if settings is None else Workers(house, settings)
    settings = settings or Settings()

    @asynccontextmanager
    async def kept(_app: FastAPI) -> AsyncIterator[None]:
        keeper = Keeper(house, workers)
        keeper.start()
        if ahead is not None:
            ahead.start()
        try:
            yield
        finally:
            if ahead is not None:
                ahead.stop()
            keeper.stop()

    app = FastAPI(
        lifespan=kept,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        openapi_url="/openapi.json",
        # Traces write down addresses, and in the address of a cell stands a key.
        telemetry={"exclude": is_for_cells},
    )
    app.state.house = house
    app.state.list_rows_at_once = settings.list_rows_at_once
    app.state.published = Published(house.shop)
    app.state.templates = Templates()
    app.state.rule_audits = RuleAudits()
    for resource in _RESOURCES:
        app.include_router(resource.router)
    app.include_router(checklists.router)
    app.include_router(choices.pictures)
    for record in (lots, supplies, quotes, sign_offs, orders, editions):
        app.include_router(record.router)
        app.include_router(record.reads)
    add_docs(app)
    add_document(app)
    app.state.methods_at = _methods_of(app)
    errors.install(app)
    app.add_middleware(CheckLane, house=house)
    allowances = {
        "page": Allowance(settings.page_limit),
        "sheet": Allowance(settings.sheet_limit, policy="sheet"),
    }
    app.add_middleware(Door, house=house, allowances=allowances)
    longer = dict.fromkeys((*editions.PATHS, rule_comparisons.PATH), FILES_LIMIT)
    app.add_middleware(BodyLimit, longer={**longer, wishlists.PATH: settings.list_megabytes << 20})
    app.add_middleware(CellLines, seconds=cell_seconds)
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
