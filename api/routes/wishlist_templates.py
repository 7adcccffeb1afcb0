"""``/v1/wishlist-template.xlsx`` and ``.csv``: an empty wish list with what may stand in it."""

from __future__ import annotations

from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Request, Response

from api.deps import NO_QUERY, CallerDep, HouseDep, ShopDep, least
from api.lists.media import XLSX, csv_in
from api.lists.template import Templates
from api.published import respond
from api.routes.documented import CONDITIONAL, Responses, tagged
from api.visibility import Caller

router = APIRouter(tags=["wish lists"], dependencies=[least(Caller.SERVER)])

_MEDIA: Final = {"xlsx": XLSX, "csv": csv_in("utf-8")}


async def _templates(request: Request) -> Templates:
    templates: Templates = request.app.state.templates
    return templates


TemplatesDep = Annotated[Templates, Depends(_templates)]


def _documented(description: str, kind: str) -> Responses:
    found = tagged(description, "schema-violation")
    disposition = {"description": "attachment, and a name for the file.", "schema": {"type": "string"}}
    found[200]["headers"] = {**found[200]["headers"], "Content-Disposition": disposition}
    content: dict[str, Any] = {_MEDIA[kind].partition(";")[0]: {}}
    found[200]["content"] = content
    return found


def _file(request: Request, kind: str, templates: Templates, shop: ShopDep, house: HouseDep, who: Caller) -> Response:
    found = templates.get(kind, shop, house.clock.today(), who)
    name = f'attachment; filename="wishlist-template.{kind}"'
    return respond(request, found, media_type=_MEDIA[kind], headers={"content-disposition": name})


# Plain functions, so that the framework runs them in a thread: a template may take a second to make.
@router.get(
    "/v1/wishlist-template.xlsx",
    operation_id="readWorkbookTemplate",
    summary="Download a wish list to fill in, as a workbook",
    description=(
        "A sheet `wishes` with every column, three wishes that can be made today, and in its cells lists to choose"
        " from: what goes with the pattern of the row and is there today. A sheet `columns` says what each column"
        " means, a sheet `codes` what each code is. Values only, no macros. Filled in it can be posted as it is. For"
        " the workshop there are columns for lots too."
    ),
    response_class=Response,
    responses=_documented("The workbook.", "xlsx"),
    openapi_extra=CONDITIONAL,
    dependencies=[NO_QUERY],
)
def read_workbook(
    request: Request, templates: TemplatesDep, shop: ShopDep, house: HouseDep, caller: CallerDep
) -> Response:
    """Return the template as a workbook."""
    return _file(request, "xlsx", templates, shop, house, caller)


@router.get(
    "/v1/wishlist-template.csv",
    operation_id="readTableTemplate",
    summary="Download a wish list to fill in, as CSV",
    description=(
        "The names of all columns, and three wishes that can be made today. RFC 4180 in UTF-8. For the workshop there"
        " are columns for lots too."
    ),
    response_class=Response,
    responses=_documented("The table.", "csv"),
    openapi_extra=CONDITIONAL,
    dependencies=[NO_QUERY],
)
def read_table(
    request: Request, templates: TemplatesDep, shop: ShopDep, house: HouseDep, caller: CallerDep
) -> Response:
    """Return the template as CSV."""
    return _file(request, "csv", templates, shop, house, caller)
