"""Wish lists as JSON carries them: what may be supposed, what is answered."""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from typing import Annotated, Any, Final, Literal

from pydantic import AfterValidator, ConfigDict, Field, TypeAdapter
from pydantic_core import PydanticCustomError

from api.figures import um2
from api.schemas.answer import CheckAnswer
from api.schemas.bases import In, Out
from api.schemas.figures import THOUSANDTHS, Area, Code, Day, Figure, IsoDate, Money, exact, um
from api.schemas.records import Rectangles
from api.schemas.spec import keyed
from api.schemas.stock import Form, SpanIn
from catalog.goods import FreeRectangle
from catalog.quantities import Span
from rules.what_if import LEAST_PERCENT, MOST_PERCENT, LotIf, WhatIf

MOST_SUPPOSED: Final = 200
_FIRST_DAY, _LAST_DAY = date(2000, 1, 1), date(2100, 12, 31)


def _thinkable(day: date) -> date:
    if _FIRST_DAY <= day <= _LAST_DAY:
        return day
    raise PydanticCustomError("wrong_date", "a date from 2000 to 2100 is needed")


class LotIfIn(In):
    """A lot as it would be. One that is not in stock needs leather, left_dm2, thickness_mm and rectangles_mm."""

    leather: Code | None = Field(None, description="Code of its leather.", examples=["SH-GAR"])
    left_dm2: Area | None = Field(None, description="Area left, dm2; as it is if absent.")
    thickness_mm: SpanIn | None = Field(None, description="Least and largest thickness; as it is if absent.")
    rectangles_mm: Rectangles | None = Field(
        None, description="Free rectangles: [along, across] the backbone, mm; as they are if absent."
    )
    form: Form = Field("hide", description="What a lot received would be of.")
    grade: Literal["A", "B", "C"] = Field("A", description="Grade of a lot received.")


class LeatherIfIn(In):
    """A leather as it would be."""

    status: Literal["active", "last_lot", "retired"] = Field(description="Whether it could still be had.")


Percent = Annotated[
    float,
    Field(ge=LEAST_PERCENT, le=MOST_PERCENT, json_schema_extra={"multipleOf": 0.001}),
    *THOUSANDTHS,
]


class OverridesIn(In):
    """What if: changes under which a list is judged. Nothing of them is kept."""

    today: Annotated[Day, AfterValidator(_thinkable)] | None = Field(None, description="The day it would be.")
    lots: dict[Code, LotIfIn | None] | None = Field(
        None, max_length=MOST_SUPPOSED, json_schema_extra=keyed,
        description="Staff only: lots by code; null for one that would be gone.",
    )  # fmt: skip
    leathers: dict[Code, LeatherIfIn] | None = Field(
        None, max_length=MOST_SUPPOSED, json_schema_extra=keyed, description="Leathers by code."
    )
    price_percent: Percent | None = Field(
        None, description="By how many percent each amount of the price list would be higher; price points stay."
    )


OVERRIDES: Final = TypeAdapter(OverridesIn)
NOTHING_SUPPOSED: Final = OVERRIDES.validate_python({})


def to_what_if(body: OverridesIn) -> WhatIf:
    """Return overrides in exact units."""
    return WhatIf(
        today=body.today,
        lots={code: None if lot is None else _lot(lot) for code, lot in (body.lots or {}).items()},
        leathers={code: leather.status for code, leather in (body.leathers or {}).items()},
        price_percent=Fraction(0) if body.price_percent is None else Fraction(exact(body.price_percent)),
    )


def _lot(lot: LotIfIn) -> LotIf:
    span, rectangles = lot.thickness_mm, lot.rectangles_mm
    return LotIf(
        leather=lot.leather,
        left_um2=None if lot.left_dm2 is None else um2(lot.left_dm2),
        thickness=None if span is None else Span(um(span.min), um(span.max)),
        rectangles=None
        if rectangles is None
        else tuple(FreeRectangle(um(along), um(across)) for along, across in rectangles),
        form=lot.form,
        grade=lot.grade,
    )


class TookOut(Out):
    """What a row takes of one thing."""

    code: str = Field(description="Code of the leather, thread, edge, foil or piece of hardware.")
    amount: Figure = Field(description="How much, in unit; leather with its waste.")
    unit: Literal["dm2", "m", "ml", "pieces"] = Field(description="Unit of amount.")


class RowError(Out):
    """Why a row cannot be read."""

    pointer: str = Field(description="Where: JSON Pointer into the spec, or the name of a column; empty for all of it.")
    detail: str = Field(description="What is wrong, and what would do.")


class RowOut(Out):
    """What is said of one row."""

    row: int = Field(description="Its place in the list, from 1; the line of NDJSON.")
    check: CheckAnswer | None = Field(
        description="The verdict as POST /v1/checks gives it, without remedies; null where the row cannot be read."
    )
    error: RowError | None = Field(description="Why the row cannot be read; null where it can.")
    took: list[TookOut] | None = Field(None, description="In the modes together and best: what it takes.")
    ran_out: list[str] | None = Field(
        None, description="In the modes together and best: codes of what rows before it left too little of, or rush."
    )


class RuleCount(Out):
    """On how many rows a rule fired."""

    rule: str = Field(description="Id of the rule.")
    severity: str = Field(description="How it fired.")
    rows: int = Field(description="On so many rows.")


class RanOut(Out):
    """What ran out, and where."""

    code: str = Field(description="Code of the leather or supply, or rush.")
    row: int = Field(description="The first row that found too little of it.")


class Short(Out):
    """A leather of which all rows together would need more than is free."""

    leather: str = Field(description="Code of the leather.")
    asked_dm2: Figure = Field(description="What all rows ask, with waste, dm2.")
    free_dm2: Figure = Field(description="What is free, dm2.")
    short_dm2: Figure = Field(description="What is missing, dm2.")


class BestOut(Out):
    """How good the rows chosen are."""

    maximize: Literal["count", "total"] = Field(description="What was to be as large as can be.")
    value: int | Money = Field(description="Rows, or their total.")
    bound: int | Money = Field(description="No choice can be better than this.")
    gap: int | Money = Field(description="bound less value.")
    proven: bool = Field(description="Whether no choice is better.")


class SummaryOut(Out):
    """What came of the list in all."""

    rows: int = Field(description="Rows seen.")
    buildable: int = Field(description="Rows that can be made as asked.")
    sign_off: int = Field(description="Rows that need the maker's agreement.")
    refused: int = Field(description="Rows that cannot be made as asked.")
    unreadable: int = Field(description="Rows that cannot be read.")
    empty: int = Field(description="Empty rows.")
    total: Money = Field(description="Total of the rows that are not refused.")
    currency: str = Field(description="ISO 4217.")
    rules: list[RuleCount] = Field(description="On how many rows each rule fired, most first.")
    ran_out: list[RanOut] = Field(description="What ran out, in the order in which it did.")
    short: list[Short] | None = Field(
        None, description="Staff only: leathers that do not suffice for all, worst first."
    )
    best: BestOut | None = Field(None, description="In the mode best: how good the choice is.")


class AsOf(Out):
    """What a list was judged by: one state of the book, the prices and the stock for all rows."""

    as_of: IsoDate | None = Field(description="The day as of which it was judged; null until somebody has begun.")
    revisions: dict[str, Any] = Field(description="Revisions, as an answer to a check names them.")
    notes: list[str] = Field(description="What is to be said once of the whole list.")


class WishListAnswer(AsOf):
    """The answer to a list, row by row, in order."""

    rows: list[RowOut] = Field(description="One for each row.")
    summary: SummaryOut | None = Field(description="What came of these rows in all.")
    complete: bool = Field(description="Whether all rows of the list are there.")


class WishListOut(AsOf):
    """A long list that is judged beside other work."""

    id: str = Field(description="Its id.", examples=["W12"])
    created_at: str = Field(description="Moment at which it was sent, UTC.")
    expires_at: str = Field(description="Moment from which it is gone, UTC.")
    state: Literal["waiting", "running", "done", "failed"] = Field(
        description="waiting: others are before it. failed: it must be sent again; said says why."
    )
    said: str | None = Field(description="Why it failed; null if it did not.")
    kind: Literal["json", "ndjson", "csv", "xlsx"] = Field(description="The kind in which it came.")
    mode: Literal["independent", "together", "best"] = Field(description="How it is judged.")
    rows: int = Field(description="Rows in it.")
    done: int = Field(description="Rows judged so far.")
    summary: SummaryOut | None = Field(description="What came of the rows judged so far.")


class Specs(In):
    """A list of specs with what may be supposed."""

    model_config = ConfigDict(extra="forbid")

    specs: Annotated[list[Any], Field(max_length=1_000_000)] = Field(
        description="Specs. One that does not fit the schema of a spec gets an error of its own."
    )
    overrides: OverridesIn | None = Field(None, description="What if.")
