"""``/v1/refusals``: what was asked for and could not be made."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Response
from pydantic import BaseModel, Field

from api.body import json_answer
from api.deps import HouseDep, least
from api.desk.log import refusals
from api.routes.documented import problems
from api.schemas.bases import In
from api.schemas.figures import Day, Money
from api.visibility import Caller

router = APIRouter(tags=["refusals"], dependencies=[least(Caller.STAFF)])


class RefusalQuery(In):
    """Which days."""

    since: Day | None = Field(None, description="The first day, UTC.")
    until: Day | None = Field(None, description="The last day, UTC.")


class Refusal(BaseModel):
    """Checks refused by one rule, of one pattern, in one month."""

    rule: str = Field(examples=["THK-04"], description="Id of the rule.")
    pattern: str = Field(examples=["twofold"], description="Code of the pattern.")
    month: str = Field(examples=["2026-03"], description="Month, UTC.")
    checks: int = Field(description="How many checks.")
    specs: int = Field(description="How many different specs.")
    value: Money = Field(description="What those specs would have cost, each once; 0 where no price exists.")
    currency: str | None = Field(None, description="ISO 4217; null where no price exists.")


class RefusalList(BaseModel):
    """Refusals, by month, the most frequent first."""

    items: list[Refusal] = Field(description="The entries of the list.")


@router.get(
    "/v1/refusals",
    operation_id="listRefusals",
    summary="Count what was refused",
    description=(
        "Refused checks by rule, pattern and month, with what the specs would have cost. A spec that two rules refuse"
        " counts with both. Checks of the last second may be missing."
    ),
    response_model=RefusalList,
    response_description="Refusals.",
    responses=problems("schema-violation"),
)
def list_refusals(query: Annotated[RefusalQuery, Query()], house: HouseDep) -> Response:
    """Return refusals."""
    since, until = (None if day is None else day.isoformat() for day in (query.since, query.until))
    digits = house.catalog.workshop.minor_digits
    with house.store.read() as connection:
        return json_answer({"items": refusals(connection, digits, since, until)})
