"""Rules as JSON carries them."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from api.schemas.answer import Severity
from api.schemas.figures import IsoDate


class LimitOut(BaseModel):
    """A limit of the rule."""

    model_config = ConfigDict(extra="allow")

    measured: str = Field(description="What is measured.")
    bound: str = Field(description="How the limit bounds it: max, min, between or equal.")
    limit: str = Field(description="The limit in words.")
    unit: str = Field(description="Unit.")
    severity: Severity = Field(description="What passing it means.")


class ExampleOut(BaseModel):
    """A worked example; it runs whenever the rule book is opened."""

    model_config = ConfigDict(extra="allow")

    expect: Literal["fails", "passes", "skips"] = Field(description="What it is to come out as.")
    severity: Severity | None = Field(None, description="The severity expected, if it fails.")
    now: Literal["fails", "passes", "skips"] = Field(description="What it comes out as.")
    facts: dict[str, Any] = Field(
        description="The facts, by name, figures with their unit; a later example says what differs from the first."
    )


class RuleOut(BaseModel):
    """One rule of the trade or the house."""

    model_config = ConfigDict(extra="allow")

    id: str = Field(description="Id; never given to another rule.", examples=["STK-01"])
    family: str = Field(description="Family.")
    each: str = Field(description="What it is judged for each of.")
    severities: list[Severity] = Field(description="Severities that it can give, worst first.")
    says: str = Field(description="The rule in one sentence.")
    why: str = Field(description="The reason.")
    formula: list[str] = Field(description="How it is judged, clause by clause.")
    limits: list[LimitOut] = Field(description="Its limits.")
    stage: str = Field(description="When it is judged.")
    source: str = Field(description="Where it comes from.")
    valid_from: IsoDate | None = Field(None, description="First day on which it holds.")
    valid_until: IsoDate | None = Field(None, description="Last day on which it holds.")
    review_by: IsoDate | None = Field(None, description="When it is to be looked at again.")
    examples: list[ExampleOut] = Field(description="Worked examples.")


class RuleList(BaseModel):
    """The rule book."""

    items: list[RuleOut] = Field(description="In the order of the book.")
