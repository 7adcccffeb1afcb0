"""``POST /v1/choices``: what can still be chosen in a spec; and the picture of it for a pattern."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Final

from anyio import CapacityLimiter
from fastapi import APIRouter, Body, Path, Query, Request, Response
from fastapi.openapi.models import Example

from api.answering import choices_to
from api.body import JsonRoute, json_answer
from api.choices_picture import choices_picture
from api.deps import NO_QUERY, HouseDep, KeyDep, ShopDep, least
from api.errors import ProblemError, not_found
from api.permission import check_lots
from api.published import respond, sealed
from api.routes.documented import BODY, CONDITIONAL, problems, tagged
from api.schemas.choices import ChoicesAnswer, ChoicesIn, ChoicesQuery
from api.schemas.figures import Code
from api.visibility import Caller
from catalog.model import Pattern
from catalog.strict_yaml import did_you_mean

router = APIRouter(tags=["choices"], route_class=JsonRoute, dependencies=[least(Caller.PAGE)])
#: The picture is the owner's: it tells of the whole stock at a glance.
pictures = APIRouter(tags=["choices"], dependencies=[least(Caller.OWNER)])
#: Threads that work out choices at once; a page that asks for what must be compiled first leaves room for the others.
_THREADS: Final = CapacityLimiter(4)
_EXAMPLES: Final[dict[str, Example]] = {
    "nothing": {"summary": "A pattern and nothing else", "value": {"pattern": "fob"}},
    "some": {
        "summary": "A leather chosen, no monogram",
        "value": {"pattern": "twofold", "parts": {"outside": {"leather": "SH-GAR"}}, "left_out": ["/monogram"]},
    },
}


@router.post(
    "/v1/choices",
    operation_id="listChoices",
    summary="List what can still be chosen",
    description=(
        "Every slot of a spec's pattern, open or chosen, with each value that it may take, all other choices kept:"
        " open if some buildable spec uses it, sign_off if the maker must agree, closed if there is none, with the"
        " rules that close it. Taking open options one after another never leads into a dead end, and cheapest is the"
        " exact total of the cheapest completion, as long as the revisions stay the same. Stores nothing and is safe"
        " to repeat. The first to ask for a pattern may wait some seconds."
    ),
    response_model=ChoicesAnswer,
    response_model_exclude_unset=True,
    response_description="The choices.",
    responses=problems(*BODY),
)
async def list_choices(
    spec: Annotated[ChoicesIn, Body(openapi_examples=_EXAMPLES)],
    query: Annotated[ChoicesQuery, Query()],
    house: HouseDep,
    shop: ShopDep,
    key: KeyDep,
) -> Response:
    """Return what can be chosen as the caller may see it."""
    check_lots(spec, key)
    _check_places(shop.indexes.patterns.find(spec.pattern), spec.left_out or ())
    answer = await choices_to(house, shop, spec, key=key, figures=query.figures == "all", threads=_THREADS)
    return json_answer(answer)


def _check_places(pattern: Pattern | None, left_out: Sequence[str]) -> None:
    """Raise where a place for hardware is to stay empty that the pattern lacks: a slip of the pen would open it."""
    if pattern is None:
        return
    errors = [
        {
            "pointer": f"/left_out/{place}",
            "code": "not_offered",
            "detail": f"this pattern has no such place{did_you_mean(name, pattern.fixings)}",
        }
        for place, pointer in enumerate(left_out)
        if pointer.startswith(_HARDWARE) and (name := pointer.removeprefix(_HARDWARE)) not in pattern.fixings
    ]
    if errors:
        raise ProblemError("schema-violation", "what is to stay empty is not there", errors=errors)


_HARDWARE: Final = "/hardware/"
_SVG: Final = "image/svg+xml"
_PICTURE = tagged("The picture.", "not-found", "schema-violation")
_PICTURE[200]["content"] = {_SVG: {"schema": {"type": "string"}}}


@pictures.get(
    "/v1/patterns/{code}/choices.svg",
    operation_id="drawChoices",
    summary="Draw what can be chosen of a pattern",
    description=(
        "Every option of every slot of a pattern of which nothing is chosen: which can be made, which only if the maker"
        " agrees, which not at all, and how many specs there are. States are told apart by shape and words, not by"
        " color alone. It holds no script and asks for nothing from elsewhere."
    ),
    response_class=Response,
    responses=_PICTURE,
    openapi_extra=CONDITIONAL,
    dependencies=[NO_QUERY],
)
def draw_choices(
    request: Request,
    code: Annotated[Code, Path(description="Code of a pattern.", examples=["twofold"])],
    house: HouseDep,
    shop: ShopDep,
) -> Response:
    """Return the picture."""
    if shop.indexes.patterns.find(code) is None:
        raise not_found("pattern")
    drawn = choices_picture(shop, shop.indexes.patterns.code(code), house.clock.today())
    return respond(request, sealed(drawn.encode()), media_type=_SVG)
