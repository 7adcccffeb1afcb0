"""What rules say at the stages after a check, as JSON carries it."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from api.schemas.answer import Bound, Measured, Severity
from api.schemas.bases import Out
from api.schemas.figures import IsoDate


class StageFinding(Out):
    """One rule's word on a quote, or one line of a checklist."""

    id: str = Field(
        description="Name of it among those of its item; stays while the rule says it.", examples=["CAT-10"]
    )
    rule: str = Field(description="Id of the rule.", examples=["CAT-10"])
    severity: Severity = Field(description="sign_off: the maker must agree first. Others inform.")
    item: int | None = Field(None, description="Number of the item, from 1; null: the whole.")
    at: list[str] = Field(description="Where in the item's spec: JSON Pointers.", examples=[["/note"]])
    subject: dict[str, Any] = Field(description="What it is about: a seam, a lot, a piece of hardware.")
    measured: Measured = Field(None, description="The figure found, in unit.")
    limit: Measured | list[Measured] = Field(None, description="The figure allowed, in unit.")
    bound: Bound | None = Field(None, description="How the limit bounds the figure; none where nothing is measured.")
    off_by: Measured = Field(None, description="How far past the limit, in unit.")
    unit: str | None = Field(None, description="Unit of measured, limit and off_by.", examples=["days"])
    says: str = Field(description="What the rule asks for.")
    message: str = Field(description="For the customer; on a checklist for whoever explains it.")
    bench_message: str | None = Field(None, description="For the bench: what to do.")
    params: dict[str, Any] = Field(description="The values from which the messages are made.")
    source: str | None = Field(None, description="Where the rule or its limit comes from.")


class Checklist(Out):
    """What the bench looks at before an order is cut, or before it leaves."""

    order: str = Field(description="Id of the order.", examples=["O13"])
    stage: Literal["cut", "pack"] = Field(description="Before the knife, or before the parcel.")
    state: Literal["open", "cut", "shipped", "cancelled"] = Field(description="Where the order stands.")
    as_of: IsoDate = Field(description="The day for which it holds.")
    lines: list[StageFinding] = Field(description="sign_off first, then advise, then notice.")
