"""``/problems``: what each kind of error means. The ``type`` of every error is an address here."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path

from api.errors import PROBLEM_TYPES, ProblemType, not_found
from api.routes.documented import problems
from api.schemas.figures import Code
from api.schemas.problem import ProblemTypeList, ProblemTypeOut

router = APIRouter(tags=["problems"], prefix="/problems")


def _shown(kind: ProblemType) -> ProblemTypeOut:
    return ProblemTypeOut(type=kind.path, title=kind.title, status=kind.status, explains=kind.explains)


@router.get(
    "",
    operation_id="listProblems",
    summary="List kinds of errors",
    description="Every kind of error that this service answers with.",
    responses=problems(),
)
async def list_problems() -> ProblemTypeList:
    """Return every kind of error."""
    return ProblemTypeList(items=[_shown(kind) for kind in PROBLEM_TYPES.values()])


@router.get(
    "/{slug}",
    operation_id="readProblem",
    summary="Read what an error means",
    description="One kind of error: what it means, and what to do.",
    responses=problems("not-found", "schema-violation"),
)
async def read_problem(
    slug: Annotated[Code, Path(description="Last part of a problem's type.", examples=["not-found"])],
) -> ProblemTypeOut:
    """Return one kind of error."""
    if slug not in PROBLEM_TYPES:
        raise not_found("problem")
    return _shown(PROBLEM_TYPES[slug])
