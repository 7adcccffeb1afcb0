"""Leathers and supplies as JSON carries them, under the names that the workshop's files use."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, Field

from api.schemas.figures import Figure, IsoDate, Money

Grade = Literal["fine", "sign_off", "refuse"]


class Span(BaseModel):
    """A closed range in mm."""

    min: Figure = Field(description="Least, in mm.")
    max: Figure = Field(description="Most, in mm.")


class KindOut(BaseModel):
    """Tannage and behavior shared by leathers of one make."""

    code: str = Field(description="Code.", examples=["shell_smooth"])
    name: str = Field(description="Name.")
    species: str = Field(description="Animal.")
    tannage: str = Field(description="Tannage.")
    thickness_held_mm: Span = Field(description="Range usually held, in mm.")
    split: Grade = Field(description="Whether it may be split.")
    split_min_mm: Figure = Field(description="Thinnest that a split may leave, in mm.")
    skive_min_mm: Figure = Field(description="Thinnest that an edge may be pared to, in mm.")
    strain_limit: dict[str, Figure] = Field(description="Strain allowed at a fold, by side that shows; a ratio.")
    edge: dict[str, Grade] = Field(description="How it takes each edge finish.")
    mark: dict[str, Grade] = Field(description="How it takes each way of marking.")
    back_shown: Grade = Field(description="Whether its back may show.")
    marks_at_folds: bool = Field(description="Whether a fold lightens or marks it.")
    tensile_n_per_mm2: Figure = Field(description="Design strength in N/mm2.")
    stretch_percent: Figure = Field(description="Stretch in percent.")
    stiff: bool = Field(description="Whether pockets need the larger ease.")
    yield_: Figure = Field(alias="yield", description="Cut area by hide area; a ratio.")
    lot_drift_de00: Figure = Field(description="Usual color distance between lots, CIEDE2000.")
    rub_rating: int = Field(description="Color fastness to rubbing, 1 to 5, 5 best.")
    price_per_sqft: Money | None = Field(None, description="What it costs the workshop per square foot, in currency.")
    currency: str | None = Field(None, description="ISO 4217 code of price_per_sqft.")
    price_band: str = Field(description="Band of the price list.")
    lead_days: int | None = Field(None, description="Days until more arrives.")
    minimum_order_sqft: Figure | None = Field(None, description="Least that can be bought, in square feet.")
    lining_only: bool = Field(description="Whether it is for linings only.")
    coating: str | None = Field(None, description="patent, foil or print: a finish that lies on the grain as a film.")
    flex_report: str | None = Field(
        None, description="Whether a test of how the coating stands folding is on file: none or on_file."
    )
    reports: str | None = Field(None, description="Reports on harmful substances: on_file, missing; null: not asked.")


class LeatherOut(BaseModel):
    """One color of a kind."""

    code: str = Field(description="Code.", examples=["SH-GAR"])
    kind: str = Field(description="Code of its kind.")
    name: str = Field(description="Name.")
    srgb: str = Field(description="Its color on a screen, sRGB; a guide only.", examples=["#4a1420"])
    reserve_dm2: Figure | None = Field(None, description="Kept back for repairs and matching, in dm2.")
    status: Literal["active", "last_lot", "retired"] = Field(description="Whether more of it can be had.")
    aliases: list[str] = Field(description="What people call it; never mapped silently.")
    demand_dm2_per_week: Figure | None = Field(None, description="Used in a week, in dm2; null: nobody counts.")
    score: int | None = Field(None, description="Only with said: how near it comes, 100 for an exact name.")


class ThreadOut(BaseModel):
    """A thread."""

    code: str = Field(description="Code.", examples=["TH-P05-GAR"])
    material: str = Field(description="Fiber.")
    tex: Figure = Field(description="Fineness in tex (g/km).")
    diameter_mm: Figure = Field(description="Diameter in mm.")
    color: str = Field(description="Color in words.")
    srgb: str = Field(description="Its color on a screen, sRGB.")
    left_m: Figure | None = Field(None, description="Left on the spool, in m.")
    break_n: Figure = Field(description="Breaking load of one strand in N.")
    supply: str | None = Field(None, description="ongoing, last_spool or discontinued; null: not asked.")
    status: str = Field(description="active or out.")


class EdgeOut(BaseModel):
    """An edge: a finish in a color."""

    code: str = Field(description="Code.", examples=["ED-BURN"])
    finish: str = Field(description="Finish.")
    color: str = Field(description="Color in words.")
    srgb: str | None = Field(None, description="Its color on a screen, sRGB; null where it has none of its own.")
    left_ml: Figure | None = Field(None, description="Left in the bottle, in ml; null where nothing is used up.")
    opened_on: IsoDate | None = Field(None, description="Day on which the bottle was opened; null: not asked.")
    status: str = Field(description="active or out.")


class HardwareOut(BaseModel):
    """A fitting."""

    code: str = Field(description="Code.", examples=["HW-SNAP20-BR"])
    type: str = Field(description="Type.")
    size_mm: Figure = Field(description="Inner width of buckles and hooks, else the nominal size, in mm.")
    grip_mm: Span = Field(description="Leather thickness that it holds, in mm.")
    finish: str = Field(description="Finish.")
    nickel_report: bool = Field(description="Whether a nickel release test is on file.")
    magnetic: bool = Field(description="Whether it holds a magnet.")
    stock: int | None = Field(None, description="Pieces in stock.")
    break_n: Figure | None = Field(None, description="Breaking load in N; null where it bears no load.")
    tone: str | None = Field(None, description="What its metal looks like: gold, silver, copper or black.")
    flux_index: Figure | None = Field(None, description="Flux index of a magnet, in kG2mm2.")
    loose: bool | None = Field(None, description="Whether a magnet is loose or may come off; null: not asked.")
    faces_leather: bool | None = Field(None, description="Whether its metal lies bare on leather; null: not asked.")


class TypefaceOut(BaseModel):
    """Type in the case."""

    code: str = Field(description="Code.", examples=["FA-SER14"])
    methods: list[str] = Field(description="Ways of marking that it serves.")
    cap_mm: Figure = Field(description="Height of a capital, in mm.")
    advance_mm: Figure = Field(description="Mean width that a letter takes, in mm.")
    space_mm: Figure = Field(description="Width of a space, in mm.")
    extra_signs: str = Field(description="Signs beside A to Z.")
    sorts_per_letter: int | None = Field(None, description="Pieces of type of each letter, unless sorts names it.")
    sorts: dict[str, int] | None = Field(None, description="Pieces of type by letter.")
    worn: dict[str, int] | None = Field(None, description="Worn pieces by letter.")


class FoilOut(BaseModel):
    """A foil."""

    code: str = Field(description="Code.", examples=["FO-GLD"])
    color: str = Field(description="Color in words.")
    left_m: Figure | None = Field(None, description="Left on the roll, in m.")


class CarryItemOut(BaseModel):
    """A thing that must fit, from a table of published sizes."""

    code: str = Field(description="Code.", examples=["USD"])
    group: str = Field(description="card, passport, business_card, note, notebook or tool.")
    name: str = Field(description="Name.")
    width_mm: Figure = Field(description="Width in mm.")
    height_mm: Figure = Field(description="Height in mm.")
    thickness_mm: Figure = Field(description="Thickness in mm.")
    source: str = Field(description="Where the size comes from.")


class KindList(BaseModel):
    """Every kind."""

    items: list[KindOut] = Field(description="In the order of the catalog.")


class LeatherList(BaseModel):
    """Leathers: all in the order of the catalog, or the nearest to what was said, best first."""

    items: list[LeatherOut] = Field(description="The leathers.")


class ThreadList(BaseModel):
    """Every thread."""

    items: list[ThreadOut] = Field(description="In the order of the catalog.")


class EdgeList(BaseModel):
    """Every edge."""

    items: list[EdgeOut] = Field(description="In the order of the catalog.")


class HardwareList(BaseModel):
    """Every fitting."""

    items: list[HardwareOut] = Field(description="In the order of the catalog.")


class TypefaceList(BaseModel):
    """Every typeface."""

    items: list[TypefaceOut] = Field(description="In the order of the catalog.")


class FoilList(BaseModel):
    """Every foil."""

    items: list[FoilOut] = Field(description="In the order of the catalog.")


class CarryItemList(BaseModel):
    """Every carry item."""

    items: list[CarryItemOut] = Field(description="In the order of the catalog.")
