"""A worked order as a rule shows it."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from api.schemas.answer import Severity
from api.schemas.bases import Out
from api.schemas.figures import IsoDate
from api.schemas.spec import SpecIn


class WorkedOrderOut(Out):
    """A spec worked out by hand that stands at a limit of a rule, or one step past it. Staff only."""

    says: str = Field(description="The order in one line.")
    expect: Literal["fails", "passes", "skips"] = Field(description="What the rule is to say of it.")
    severity: Severity | None = Field(description="The severity expected, if it fails.")
    now: Literal["fails", "passes", "skips"] = Field(description="What the rule says of it.")
    now_severity: Severity | None = Field(description="The severity with which it fails, if it does.")
    on: IsoDate = Field(description="The day on which it is judged.")
    spec: SpecIn = Field(description="The spec, as it would be sent.")
    suppose: dict[str, Any] = Field(description="Figures of the catalog that are otherwise in this order, by path.")
    holds: list[str] = Field(description="Figures that it keeps in their place: moved a step, it comes out otherwise.")
    worked: str = Field(description="The arithmetic in words.")
