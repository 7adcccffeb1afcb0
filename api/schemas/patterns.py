"""Patterns as JSON carries them, under the names that the workshop's files use."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, Field

from api.schemas.figures import Figure
from api.schemas.nouns import Span


class LayerOut(BaseModel):
    """Layers of a panel in a stack."""

    panel: str = Field(description="Panel.")
    count: int = Field(description="How many layers.")
    skived_to_mm: Figure | None = Field(None, description="Thickness to which the edge is pared first, in mm.")


class PanelOut(BaseModel):
    """A cut piece. Cut size = finished size + trim."""

    part: str = Field(description="The part that it belongs to.")
    count: int = Field(description="How many per piece.")
    width_mm: Figure = Field(description="Finished width in mm.")
    height_mm: Figure = Field(description="Finished height in mm; lies along the backbone.")
    cut_width_mm: Figure = Field(description="Cut width in mm.")
    cut_height_mm: Figure = Field(description="Cut height in mm.")
    thickness_mm: Span = Field(description="Thickness that it takes, in mm.")
    direction: Literal["any", "long"] = Field(description="long: never turned on the hide.")
    reverse_seen: bool = Field(description="Whether its back shows whatever side is out.")
    pair: bool = Field(description="Whether it is made left and right.")


class SeamOut(BaseModel):
    """A stitched line."""

    length_mm: Figure = Field(description="Length in mm.")
    limit_mm: Figure = Field(description="Thickest stack that it takes, in mm.")
    layers: list[LayerOut] = Field(description="What it goes through.")
    from_edge_mm: Figure | None = Field(None, description="Distance of the stitches from the edge, in mm.")


class FoldOut(BaseModel):
    """Panels folded together, the outer one first."""

    panels: list[str] = Field(description="Panels.")
    inner_radius_mm: Figure = Field(description="Inner radius in mm.")
    skived_to_mm: Figure | None = Field(None, description="Thickness to which it is pared, in mm.")
    daily: bool = Field(description="Whether it is opened and shut each day.")
    across_spine: bool | None = Field(None, description="Whether it runs across the line of the spine.")


class SpineOut(BaseModel):
    """The stack at the spine."""

    panels: list[str] = Field(description="Panels.")
    limit_mm: Figure = Field(description="Most that it may be, in mm.")
    skived_to_mm: Figure | None = Field(None, description="Thickness to which it is pared, in mm.")


class PocketOut(BaseModel):
    """A place to put things."""

    use: str = Field(description="What it is for.")
    width_mm: Figure = Field(description="Width in mm.")
    height_mm: Figure = Field(description="Height in mm.")
    depth_mm: Figure = Field(description="Depth in mm.")
    count: int = Field(description="How many.")


class ZoneOut(BaseModel):
    """Where letters may stand."""

    panel: str = Field(description="Panel.")
    width_mm: Figure = Field(description="Width in mm.")
    height_mm: Figure = Field(description="Height in mm.")
    on: str = Field(description="shown or back.")
    mirrored: bool | None = Field(None, description="Whether the same letters stand on both of a pair.")


class CarriedOut(BaseModel):
    """What is usually carried; for the closed thickness only."""

    cards: int = Field(description="Cards.")
    notes: int = Field(description="Banknotes.")
    business_cards: int = Field(description="Business cards.")
    passport_mm: Figure = Field(description="Passport thickness in mm; 0 for none.")


class OutlineOut(BaseModel):
    """How large the closed piece is, as ``outline_mm`` says: in mm."""

    width: Figure = Field(description="Width.")
    height: Figure = Field(description="Height.")


class ClosedOut(BaseModel):
    """The closed piece."""

    limit_mm: Figure = Field(description="Thickness at which it becomes too much, in mm.")
    layers: list[LayerOut] = Field(description="Layers of the closed piece.")
    carried: CarriedOut = Field(description="Usual contents.")
    outline_mm: OutlineOut | None = Field(None, description="Its outline in mm, where it is worn in a pocket.")


class FixingOut(BaseModel):
    """A slot for hardware."""

    types: list[str] = Field(description="Types that fit.")
    required: bool = Field(description="Whether the piece needs it.")
    layers: list[LayerOut] = Field(description="Layers that it grips.")
    skived_to_mm: Figure | None = Field(None, description="Thickness to which they are pared, in mm.")


class SizeOut(BaseModel):
    """A size to choose, in mm: one of those offered, or any within the range."""

    offered: list[Figure] | None = Field(None, description="The values made, in mm.")
    min: Figure | None = Field(None, description="Least, in mm.")
    max: Figure | None = Field(None, description="Most, in mm.")
    default: Figure | None = Field(None, description="What fills a gap, in mm; null: never filled in.")


class LoadOut(BaseModel):
    """What it bears."""

    class_: str = Field(alias="class", description="none, light or bearing.")
    required_break_n: Figure | None = Field(None, description="Load that it must bear before it breaks, in N.")
    end_factor: Figure | None = Field(None, description="Strength left at the ends; a ratio.")
    scales_with_dog: bool = Field(description="Whether the load grows with the dog.")
    end_seam: str | None = Field(None, description="The seam that bears the load.")


class DefaultsOut(BaseModel):
    """What ?defaults=true fills gaps with."""

    parts: dict[str, str] = Field(description="Leather by part.")
    thread: str | None = Field(None, description="Thread.")
    edge: str | None = Field(None, description="Edge.")
    hardware: dict[str, str] = Field(description="Fitting by slot.")


class PatternOut(BaseModel):
    """What is made."""

    code: str = Field(description="Code.", examples=["twofold"])
    name: str = Field(description="Name.")
    status: str = Field(description="active or retired.")
    parts: list[str] = Field(description="Parts for which a leather is chosen.")
    panels: dict[str, PanelOut] = Field(description="Panels by name.")
    seams: dict[str, SeamOut] = Field(description="Seams by name.")
    folds: dict[str, FoldOut] = Field(description="Folds by name.")
    spine: SpineOut | None = Field(None, description="The spine, if it has one.")
    pockets: dict[str, PocketOut] = Field(description="Pockets by name.")
    zones: dict[str, ZoneOut] = Field(description="Marking zones by code.")
    closed: ClosedOut = Field(description="The piece when closed, and what it usually holds.")
    pitch_mm: Figure = Field(description="Distance between stitches in mm.")
    stitches: list[str] = Field(description="Stitches offered; the first fills a gap.")
    edge_finishes: list[str] = Field(description="Edge finishes offered.")
    edge_length_mm: Figure = Field(description="Finished edge at the nominal size, in mm.")
    hardware: dict[str, FixingOut] = Field(description="Slots for hardware.")
    sizes: dict[str, SizeOut] = Field(description="Sizes to choose.")
    load: LoadOut = Field(description="The load that it is made for.")
    skin_contact: bool = Field(description="Whether it is worn on the skin.")
    uses: list[str] = Field(description="Uses that it is made for.")
    modifications: list[str] = Field(description="Modifications offered.")
    faces: list[str] = Field(description="Parts that are seen side by side; none: not asked.")
    stamp_lands: str | None = Field(None, description="Where the hide's stamp lies: clear, fold, seam, hole.")
    defaults: DefaultsOut = Field(description="What fills gaps.")


class PatternList(BaseModel):
    """Every pattern."""

    items: list[PatternOut] = Field(description="In the order of the catalog.")
