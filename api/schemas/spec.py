"""A spec as JSON carries it, and the one way from there to :class:`rules.spec.Spec`.

``null`` means absent everywhere. Codes are free text here: one that the catalog lacks is a
finding of the check, never a fault of the body.
"""

from __future__ import annotations

import unicodedata
from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field

from api.schemas.bases import In
from api.schemas.figures import (
    Code,
    Count,
    Day,
    Kilograms,
    Letters,
    Line,
    Millimeters,
    Place,
    Prose,
    Quantity,
    Slot,
    Truth,
    exact,
    um,
)
from rules import spec as trade

_MAX_KEYS = 20


def keyed(schema: dict[str, Any]) -> None:
    """Say what keys may be, in words that every JSON Schema reader knows (``propertyNames``)."""
    shapes = [schema, *schema.get("anyOf", [])]
    for shape in shapes:
        if "patternProperties" in shape:
            (pattern, values), *_ = shape.pop("patternProperties").items()
            shape["additionalProperties"] = values
            shape["propertyNames"] = {"pattern": pattern, "minLength": 1, "maxLength": 40}


class PartIn(In):
    """A leather for one part."""

    leather: Code | None = Field(None, description="Code of a leather.", examples=["SH-GAR"])
    side: Literal["grain", "flesh"] | None = Field(None, description="Which side shows; grain if absent.")


class MonogramIn(In):
    """Letters to be set."""

    text: Letters = Field(
        description="The letters, exactly as they are to stand. Kept in Unicode form NFC.", examples=["A.B."]
    )
    method: Literal["blind", "foil", "ink", "laser"] | None = Field(None, description="How they are marked.")
    typeface: Code | None = Field(None, description="Code of a typeface.", examples=["FA-SER14"])
    zone: Code | None = Field(None, description="Code of a marking zone of the pattern.", examples=["Z-IN-LOW"])
    foil: Code | None = Field(None, description="Code of a foil, for the method foil.", examples=["FO-GLD"])
    artwork: Truth | None = Field(None, description="Whether a drawing, crest or mark is asked for instead of type.")


class SizesIn(In):
    """Sizes to choose, in millimeters with at most 3 decimals. A pattern takes some of them."""

    lug_mm: Millimeters | None = Field(None, description="Watch strap: width between the lugs.")
    taper_mm: Millimeters | None = Field(None, description="Watch strap: by how much the buckle end is narrower.")
    width_mm: Millimeters | None = Field(None, description="Width of a strap.")
    length_mm: Millimeters | None = Field(None, description="Length of a lead.")
    waist_to_hole_mm: Millimeters | None = Field(
        None, description="Belt: from the fold at the buckle to the middle hole. Never a strap length."
    )


class NotesIn(In):
    """Banknotes to carry."""

    item: Code = Field(description="Code of a carry item of the group note.", examples=["USD"])
    count: Count | None = Field(None, description="How many; 1 if absent.")


class BusinessCardsIn(In):
    """Business cards to carry."""

    item: Code = Field(description="Code of a carry item of the group business_card.", examples=["BC-JP"])
    count: Count | None = Field(None, description="How many; 1 if absent.")


class PassportIn(In):
    """A passport to carry."""

    thickness_mm: Millimeters | None = Field(None, description="Thickness of the booklet in mm, if known.")


class BladeIn(In):
    """A blade to be sheathed, in mm."""

    width_mm: Millimeters = Field(description="Width of the blade at its widest, in mm.")
    thickness_mm: Millimeters = Field(description="Thickness of the spine of the blade, in mm.")
    length_mm: Millimeters = Field(description="Length of the blade, in mm.")


class NotebookIn(In):
    """A notebook to carry, closed and standing: a published size by its code, or its own sizes, which count first."""

    item: Code | None = Field(None, description="Code of a carry item of the group notebook.", examples=["NB-A6"])
    width_mm: Millimeters | None = Field(None, description="Width of the cover in mm.", examples=[105])
    height_mm: Millimeters | None = Field(None, description="Height of the cover in mm.", examples=[148])
    block_mm: Millimeters | None = Field(
        None,
        description="Thickness of its pages together in mm, pressed flat; null where nobody measured.",
        examples=[9],
    )


class ToolIn(In):
    """A pen, a comb or spectacles to carry."""

    item: Code = Field(description="Code of a carry item of the group tool.", examples=["TO-PEN"])


class CarryIn(In):
    """What the piece must hold, and the pocket of clothes that it goes into itself."""

    cards: Count | None = Field(None, description="Payment cards; 0 means none.")
    notes: Annotated[list[NotesIn], Field(max_length=_MAX_KEYS)] | None = Field(None, description="Banknotes.")
    business_cards: BusinessCardsIn | None = Field(None, description="Business cards.")
    passport: PassportIn | None = Field(None, description="A passport.")
    blade: BladeIn | None = Field(None, description="A blade.")
    notebook: NotebookIn | None = Field(None, description="A notebook; no rule asks for one.")
    tools: Annotated[list[ToolIn], Field(max_length=_MAX_KEYS)] | None = Field(
        None, description="Pens, combs and spectacles."
    )
    worn_in: Literal["back_pocket", "front_pocket", "inside_pocket"] | None = Field(
        None,
        description="The pocket of clothes that the closed piece goes into; null: not asked, and nothing is said.",
    )


class PurposeIn(In):
    """What the piece is for."""

    use: Code | None = Field(None, description="The use; must be said where a load is borne.", examples=["dog_lead"])
    claims: Annotated[list[Code], Field(max_length=_MAX_KEYS)] | None = Field(
        None, description="Properties that the customer asks to have promised.", examples=[["waterproof"]]
    )
    dog_kg: Kilograms | None = Field(None, description="Weight of the dog in kg, for leads and collars.")
    child_under_3: Truth | None = Field(None, description="Whether it is for a child under 3 years.")


class SpecIn(In):
    """What is asked for: one order line. Only ``pattern`` is always needed; ``null`` means absent."""

    model_config = ConfigDict(extra="forbid", title="Spec")

    reference: Line | None = Field(None, description="The caller's own name for this spec.", examples=["web-20391"])
    note: Prose | None = Field(
        None,
        description="Free text for the maker, who reads it before agreeing to a quote. No rule reads what it says.",
    )
    pattern: Code = Field(description="Code of a pattern.", examples=["twofold"])
    parts: dict[Slot, PartIn | None] | None = Field(
        None,
        max_length=_MAX_KEYS,
        description="A leather for each part of the pattern, by part.",
        json_schema_extra=keyed,
    )
    thread: Code | None = Field(None, description="Code of a thread, or match for the nearest color.")
    stitch: Code | None = Field(None, description="Stitch; the pattern's first if absent.", examples=["hand"])
    edge: Code | None = Field(None, description="Code of an edge, or match for the nearest color.")
    hardware: dict[Slot, Code | None] | None = Field(
        None, max_length=_MAX_KEYS, description="Code of a fitting by slot.", json_schema_extra=keyed
    )
    sizes: SizesIn | None = Field(None, description="Sizes in mm.")
    monogram: MonogramIn | None = Field(None, description="Letters to be set.")
    modifications: Annotated[list[Code], Field(max_length=_MAX_KEYS)] | None = Field(
        None, description="Codes of modifications.", examples=[["hidden_slot"]]
    )
    carry: CarryIn | None = Field(None, description="What the piece must hold.")
    purpose: PurposeIn | None = Field(None, description="What the piece is for.")
    quantity: Quantity | None = Field(None, description="Pieces; 1 if absent.")
    ship_to: Place | None = Field(
        None, description="Destination by ISO 3166: a country, or its region; home if absent.", examples=["US-CA"]
    )
    rush: Truth | None = Field(None, description="Whether it is to be made out of turn.")
    ready_by: Day | None = Field(None, description="The date on which it is wanted.", examples=["2026-05-29"])
    lots: dict[Slot, Annotated[list[Code], Field(max_length=_MAX_KEYS)] | None] | None = Field(
        None,
        max_length=_MAX_KEYS,
        description="Staff only: lots to cut a part from, by part. One, or several when all are to be used.",
        json_schema_extra=keyed,
    )
    repeat_of: Code | None = Field(None, description="Id of an earlier order that this one repeats.")
    catalog_revision: Code | None = Field(None, description="Catalog revision that the spec was made with.")
    marks_ok: Truth | None = Field(
        None,
        description="Whether the customer takes small healed marks in the leather. true: yes, wherever they are. "
        "false: rather none, so hides of the best grade go first and a part that still comes from another is named. "
        "null: not asked, and nothing is said.",
    )
    mixed_metals_ok: Truth | None = Field(
        None,
        description="Whether fittings of two tones of metal may meet in one piece. true: yes. false: the maker agrees "
        "first where they do. null: not asked, and nothing is said.",
    )


def to_spec(body: SpecIn) -> trade.Spec:
    """Return the spec in exact units: micrometers, whole numbers and fractions."""
    return trade.Spec(
        pattern=body.pattern,
        parts={
            part: trade.PartChoice(chosen.leather, chosen.side)
            for part, chosen in (body.parts or {}).items()
            if chosen is not None
        },
        thread=body.thread,
        stitch=body.stitch,
        edge=body.edge,
        hardware=_present(body.hardware),
        sizes_um=_sizes(body.sizes),
        monogram=_monogram(body.monogram),
        modifications=tuple(body.modifications or ()),
        carry=_carry(body.carry),
        purpose=_purpose(body.purpose),
        quantity=1 if body.quantity is None else body.quantity,
        ship_to=body.ship_to,
        rush=bool(body.rush),
        ready_by=body.ready_by,
        lots={part: tuple(lots) for part, lots in (body.lots or {}).items() if lots},
        repeat_of=body.repeat_of,
        catalog_revision=body.catalog_revision,
        marks_ok=body.marks_ok,
        mixed_metals_ok=body.mixed_metals_ok,
        reference=body.reference,
        note=body.note,
    )


def _present(codes: dict[str, str | None] | None) -> dict[str, str]:
    return {slot: code for slot, code in (codes or {}).items() if code is not None}


def _sizes(sizes: SizesIn | None) -> dict[str, int]:
    if sizes is None:
        return {}
    return {name: um(length) for name, length in sizes if length is not None}


def _monogram(monogram: MonogramIn | None) -> trade.Monogram | None:
    if monogram is None:
        return None
    return trade.Monogram(
        text=unicodedata.normalize("NFC", monogram.text),
        method=monogram.method,
        typeface=monogram.typeface,
        zone=monogram.zone,
        foil=monogram.foil,
        artwork=bool(monogram.artwork),
    )


def _carry(carry: CarryIn | None) -> trade.Carry:
    if carry is None:
        return trade.NO_CARRY
    passport, cards = carry.passport, carry.business_cards
    return trade.Carry(
        cards=carry.cards,
        notes=tuple(trade.NoteAsked(note.item, _count(note.count)) for note in carry.notes or ()),
        business_cards=None if cards is None else trade.BusinessCardsAsked(cards.item, _count(cards.count)),
        passport_um=None if passport is None or passport.thickness_mm is None else um(passport.thickness_mm),
        passport=passport is not None,
        blade=_blade(carry.blade),
        notebook=_notebook(carry.notebook),
        tools=tuple(tool.item for tool in carry.tools or ()),
        worn_in=carry.worn_in,
    )


def _count(count: int | None) -> int:
    return 1 if count is None else count


def _blade(blade: BladeIn | None) -> trade.Blade | None:
    if blade is None:
        return None
    return trade.Blade(um(blade.width_mm), um(blade.thickness_mm), um(blade.length_mm))


def _notebook(notebook: NotebookIn | None) -> trade.Notebook | None:
    if notebook is None:
        return None
    width, height, block = (
        None if length is None else um(length) for length in (notebook.width_mm, notebook.height_mm, notebook.block_mm)
    )
    return trade.Notebook(notebook.item, width, height, block)


def _purpose(purpose: PurposeIn | None) -> trade.Purpose:
    if purpose is None:
        return trade.NO_PURPOSE
    return trade.Purpose(
        use=purpose.use,
        claims=tuple(purpose.claims or ()),
        dog_kg=None if purpose.dog_kg is None else exact(purpose.dog_kg),
        child_under_3=bool(purpose.child_under_3),
    )
