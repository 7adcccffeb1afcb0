"""``POST /v1/checks``: a spec held against the rules and the stock."""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Body, Query, Response
from fastapi.openapi.models import Example
from pydantic import BeforeValidator, Field
from pydantic_core import PydanticCustomError

from api.answering import answer_to
from api.body import JsonRoute, json_answer
from api.demo import DEMO_SPEC
from api.deps import HouseDep, KeyDep, ShopDep, least
from api.permission import check_lots
from api.routes.documented import BODY, problems
from api.schemas.answer import CheckAnswer
from api.schemas.bases import In
from api.schemas.spec import SpecIn
from api.visibility import Caller

router = APIRouter(tags=["checks"], route_class=JsonRoute, dependencies=[least(Caller.PAGE)])

_EXAMPLES: Final[dict[str, Example]] = {
    "complete": {"summary": "A wallet, complete", "value": DEMO_SPEC},
    "incomplete": {"summary": "A pattern and nothing else", "value": {"pattern": "belt"}},
}


def _digit(value: Any) -> int:
    if isinstance(value, str) and len(value) == 1 and value in "012345":
        return int(value)
    raise PydanticCustomError("not_offered", "one of 0, 1, 2, 3, 4, 5")


def _truth(value: Any) -> bool:
    if value in ("true", "false"):
        return bool(value == "true")
    raise PydanticCustomError("not_offered", "one of true, false")


class CheckQuery(In):
    """What a check answers beside the verdict."""

    alternatives: Annotated[int, Field(ge=0, le=5), BeforeValidator(_digit)] = Field(
        0, description="How many nearby specs with a better outcome to look for."
    )
    explain: Literal["all"] | None = Field(
        None, description="all: also say which rules were judged and passed, with their figures."
    )
    defaults: Annotated[bool, BeforeValidator(_truth)] = Field(
        default=False, description="true: fill gaps from the pattern's defaults and name them in filled."
    )


@router.post(
    "/v1/checks",
    operation_id="checkSpec",
    summary="Check a spec",
    description=(
        "Holds a spec against the rules and the stock. Stores nothing and is safe to repeat. An unbuildable"
        " spec is no error: the answer is 200 with the outcome refused and the findings. The same spec,"
        " revisions and date give the same bytes."
    ),
    response_model=CheckAnswer,
    response_model_exclude_unset=True,
    response_description="The verdict.",
    responses=problems(*BODY),
)
async def check_spec(
    spec: Annotated[SpecIn, Body(openapi_examples=_EXAMPLES)],
    query: Annotated[CheckQuery, Query()],
    house: HouseDep,
    shop: ShopDep,
    key: KeyDep,
) -> Response:
    """Return the verdict as the caller may see it."""
    check_lots(spec, key)
    answer = await answer_to(
        house,
        shop,
        spec,
        key=key,
        fill_defaults=query.defaults,
        alternatives=query.alternatives,
        explain=query.explain == "all",
    )
    return json_answer(answer)
