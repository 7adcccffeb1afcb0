"""Lots, supplies and their entries as JSON carries them."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, Field, StringConstraints

from api.schemas.bases import In, Out
from api.schemas.figures import Amount, Area, Code, Count, Figure, Millimeters, Prose, WholeNumber
from api.schemas.records import Entry, Rectangles

NewCode = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]*$", max_length=40)]
Sign = Annotated[str, StringConstraints(min_length=1, max_length=4)]
Pair = Annotated[list[Count], Field(min_length=2, max_length=2)]
SortChange = Annotated[int, Field(ge=-1000, le=1000), WholeNumber]
Form = Literal["hide", "side", "back", "butt", "shoulder", "skin", "shell", "strap", "remnant"]
StampUnit = Literal["sqft_quarters", "sqft_tenths", "sqft_decimal", "dm2"]


class SpanIn(In):
    """A range in mm."""

    min: Millimeters = Field(description="The least, mm.")
    max: Millimeters = Field(description="The largest, mm.")


class LotIn(In):
    """A hide, shell, skin or remnant that came in. What is measured counts, never the stamp."""

    code: NewCode | None = Field(None, description="Its name; the next free one if absent.", examples=["L900"])
    leather: Code = Field(description="Code of a leather.", examples=["SH-GAR"])
    form: Form = Field(description="What it is of: a hide, a shell, a remnant.")
    area_dm2: Area = Field(description="Measured area, dm2.")
    mill_stamp: Code | None = Field(None, description="The area as stamped, for the record and for a claim.")
    stamp_unit: StampUnit | None = Field(None, description="How the stamp counts; asked of the mill, never guessed.")
    thickness_mm: SpanIn = Field(description="Least and largest thickness measured.")
    rectangles_mm: Rectangles = Field(description="Free rectangles, disjoint: [along, across] the backbone, mm.")
    color_de00: Annotated[Amount, Field(le=100)] = Field(0, description="CIEDE2000 distance to the leather's standard.")
    stamp_legible: bool = Field(default=False, description="Whether the stamp can be shown on a piece.")
    grade: Literal["A", "B", "C"] = Field("A", description="Grade.")


class MeasureIn(In):
    """What was measured."""

    kind: Literal["measure"] = Field(description="What happened.")
    area_dm2: Area | None = Field(None, description="Measured area, dm2.")
    thickness_mm: SpanIn | None = Field(None, description="Least and largest thickness, mm.")
    rectangles_mm: Rectangles | None = Field(None, description="Free rectangles: [along, across] the backbone, mm.")


class LotCountIn(In):
    """What is there."""

    kind: Literal["count"] = Field(description="What happened.")
    area_dm2: Area = Field(description="Measured area, dm2.")
    rectangles_mm: Rectangles | None = Field(None, description="Free rectangles: [along, across] the backbone, mm.")


class LotCutIn(In):
    """Something cut that no order asked for, or cut again."""

    kind: Literal["cut", "recut"] = Field(description="What happened.")
    area_left_dm2: Area = Field(description="Area left, dm2.")
    rectangles_left_mm: Rectangles = Field(description="What is left: [along, across] the backbone, mm.")
    reason: Prose = Field(description="Why, in words.")


class ScrapIn(In):
    """Thrown away."""

    kind: Literal["scrap"] = Field(description="What happened.")
    reason: Prose = Field(description="Why, in words.")


class RemnantIn(In):
    """A piece kept apart as a lot of its own."""

    kind: Literal["remnant"] = Field(description="What happened.")
    area_dm2: Area = Field(description="Measured area of the remnant, dm2.")
    rectangles_mm: Rectangles = Field(description="Free rectangles of the remnant.")
    thickness_mm: SpanIn | None = Field(None, description="Its thickness; the lot's own if absent.")
    rectangles_left_mm: Rectangles = Field(description="What is left of the lot that it was cut from.")
    code: NewCode | None = Field(None, description="Its name; the next free one if absent.")


LotEntryIn = Annotated[MeasureIn | LotCountIn | LotCutIn | ScrapIn | RemnantIn, Field(discriminator="kind")]


class SupplyReceiveIn(In):
    """More of it came in: in m, ml or pieces; for a type case, sorts by sign."""

    kind: Literal["receive"] = Field(description="What happened.")
    amount: Amount | None = Field(None, description="In m, ml or pieces.")
    sorts: Annotated[dict[Sign, Count], Field(max_length=200)] | None = Field(None, description="Type by sign.")


class SupplyCountIn(In):
    """What is there; for a type case, [all, of them worn] by sign."""

    kind: Literal["count"] = Field(description="What happened.")
    amount: Amount | None = Field(None, description="In m, ml or pieces.")
    sorts: Annotated[dict[Sign, Pair], Field(max_length=200)] | None = Field(None, description="Type by sign.")


class UseIn(In):
    """Used for something that no order asked for."""

    kind: Literal["use"] = Field(description="What happened.")
    amount: Amount = Field(description="In m, ml or pieces.")
    reason: Prose | None = Field(None, description="Why, in words.")


class WearIn(In):
    """Sorts found worn, by sign; below zero where they were put right."""

    kind: Literal["wear"] = Field(description="What happened.")
    sorts: Annotated[dict[Sign, SortChange], Field(min_length=1, max_length=200)] = Field(description="Type by sign.")


SupplyEntryIn = Annotated[SupplyReceiveIn | SupplyCountIn | UseIn | WearIn, Field(discriminator="kind")]


class LotOut(Out):
    """A lot as its entries leave it."""

    id: str = Field(examples=["L104"], description="Its id.")
    state: Literal["open", "held", "last", "scrap"] = Field(
        description="held: something of it is set aside. last: the last of a leather that will not come again."
    )
    leather: str = Field(description="Code of the leather.")
    form: str = Field(description="What it is of: a hide, a shell, a remnant.")
    left_dm2: Figure = Field(description="Area left, dm2.")
    reserved_dm2: Figure = Field(description="Promised before the book began, dm2.")
    held_dm2: Figure = Field(description="Set aside for quotes and orders, yield counted.")
    free_dm2: Figure = Field(description="What may still be promised.")
    thickness_mm: dict[str, Figure] = Field(description="Least and largest thickness, mm.")
    rectangles_mm: list[list[Figure]] = Field(description="Free rectangles: [along, across] the backbone, mm.")
    color_de00: Figure = Field(description="CIEDE2000 distance to the leather's standard.")
    grade: str = Field(description="Grade.")
    parent: str | None = Field(None, description="The lot that it was cut from.")


class LotRecord(LotOut):
    """A lot with its history."""

    created_at: str = Field(description="Moment at which it was made, UTC.")
    entries: list[Entry] = Field(description="Oldest first.")


class LotList(BaseModel):
    """Lots in the order in which they came in."""

    items: list[LotOut] = Field(description="The entries of the list.")
    next: str | None = Field(description="The id to send as after for the rest; null at the end.")


class SupplyOut(Out):
    """A supply as its entries leave it."""

    id: str = Field(examples=["TH-P05-GAR"], description="Its id.")
    noun: Literal["thread", "edge", "foil", "hardware", "sorts"] = Field(description="What it is.")
    state: Literal["active", "out"] = Field(description="Where it stands.")
    left: Figure | None = Field(None, description="In m, ml or pieces; null where nothing is used up.")
    unit: str | None = Field(None, description="Unit of left.")
    sorts: dict[str, Any] | None = Field(None, description="Type: [all, of them worn] by sign.")


class SupplyRecord(SupplyOut):
    """A supply with its history."""

    created_at: str = Field(description="Moment at which it was made, UTC.")
    entries: list[Entry] = Field(description="Oldest first.")


class SupplyList(BaseModel):
    """Every supply."""

    items: list[SupplyOut] = Field(description="The entries of the list.")
