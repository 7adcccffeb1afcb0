"""Rules as JSON carries them."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from api.schemas.answer import Severity
from api.schemas.bases import Out
from api.schemas.figures import Figure, IsoDate
from api.schemas.worked import WorkedOrderOut
from rules.ir import Stage


class LimitFigure(Out):
    """A figure that a limit is made of."""

    of: Literal["workshop", "rule", "catalog", "table"] = Field(
        description="Whose figure: the workshop's own limit, a number of the rule, a figure of the catalog or a table."
    )
    says: str = Field(description="What it is, in words.")
    figure: Figure | None = Field(description="What it stands at; null where each entry of the catalog has its own.")
    unit: str = Field(description="Unit.")
    threshold: str | None = Field(description="Name of the workshop's limit.", examples=["small_part_mm"])
    source: str | None = Field(description="Source of the figure.")


class LimitOut(Out):
    """A limit of the rule."""

    measured: str = Field(description="What is measured.")
    bound: str = Field(description="How it bounds: max, min, between, equal; above and below where that is asked for.")
    limit: str = Field(description="The limit in words.")
    unit: str = Field(description="Unit.")
    severity: Severity | None = Field(description="What passing it means; null where it decides if the rule applies.")
    figures: list[LimitFigure] = Field(description="What the limit is made of, as it stands now.")
    stage: Stage = Field(description="When it is looked at.")


class RuleLawRow(Out):
    """A dated row of the law file: a pointer to look at, never legal advice."""

    code: str = Field(description="Code of the row.", examples=["LR-01"])
    severity: Severity = Field(description="How it is taken here.")
    species: str | None = Field(description="The species that it concerns; null: all.")
    tannage: list[str] = Field(description="The tannages that it concerns; none: all.")
    destination: str = Field(description="ISO 3166 place, abroad, or any.")
    jurisdiction: str | None = Field(description="Whose law it points to, in words; null: nobody said.")
    says: str = Field(description="What it says.")
    source: str = Field(description="Where it was read.")
    checked_on: IsoDate = Field(description="When it was last looked up.")
    review_by: IsoDate = Field(description="The day from which it needs another look.")


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
    stage: Stage = Field(description="When it is judged.")
    stages: list[Stage] = Field(description="When its clauses speak, the earliest first.")
    source: str = Field(description="Where it comes from.")
    valid_from: IsoDate | None = Field(None, description="First day on which it holds.")
    valid_until: IsoDate | None = Field(None, description="Last day on which it holds.")
    review_by: IsoDate | None = Field(None, description="When it is to be looked at again.")
    examples: list[ExampleOut] = Field(description="Worked examples.")
    law_rows: list[RuleLawRow] = Field(description="Dated rows of the law file under this id.")
    orders: list[WorkedOrderOut] | None = Field(
        None, description="Orders worked by hand for this rule. Staff see them, and where one rule is read."
    )


class RuleList(BaseModel):
    """The rule book."""

    items: list[RuleOut] = Field(description="In the order of the book.")
