"""Measures of the spec's choices: is a slot filled, a code known, a value offered."""

from __future__ import annotations

from rules.choice_use import ChoiceUse
from rules.piece import FLESH, GRAIN
from rules.subjects import Whole
from rules.vocabulary import truth, word

_WHAT = (
    "pattern", "part", "leather", "thread", "stitch", "edge", "edge_finish", "hardware_slot", "hardware",
    "hardware_type", "size", "lug", "modification", "use", "dog_kg", "monogram_method", "monogram_typeface",
    "typeface", "foil", "claim", "carry_item", "lot",
)  # fmt: skip


@word("choice.what", "the noun chosen", reads=[], levels=_WHAT)
def what(use: ChoiceUse) -> str:
    """Return the noun."""
    return use.choice.what


@truth("choice.required", "the slot is required", reads=["pattern"])
def required(use: ChoiceUse) -> bool:
    """Whether the pattern cannot do without."""
    return use.choice.required


@truth("choice.filled", "the slot is filled", reads=[])
def filled(use: ChoiceUse) -> bool:
    """Whether anything is chosen."""
    return use.choice.filled


@truth("choice.known", "the catalog has the code", reads=[])
def known(use: ChoiceUse) -> bool | None:
    """Whether the catalog has the code."""
    return use.choice.known


@truth("choice.belongs", "the pattern has the slot", reads=["pattern"])
def belongs(use: ChoiceUse) -> bool | None:
    """Whether the pattern has the slot."""
    return use.choice.belongs


@truth("choice.offered", "the pattern offers the value", reads=["pattern"])
def offered(use: ChoiceUse) -> bool | None:
    """Whether the pattern offers the value."""
    return use.choice.offered


@word(
    "choice.status",
    "the status of the entry",
    reads=[],
    levels=("active", "last_lot", "retired", "out"),
)
def status(use: ChoiceUse) -> str | None:
    """Return the catalog entry's status."""
    return use.choice.status


@truth(
    "piece.mark_with_grain_out",
    "a measure mark is asked for with the grain side out",
    reads=["side", "modifications"],
    of=("outside",),
)
def mark_with_grain_out(whole: Whole) -> bool:
    """Whether the hide's stamp is to show although the grain side is out."""
    outside = whole.piece.outside
    return "measure_mark" in whole.piece.modifications and outside is not None and outside.side == GRAIN


@truth(
    "piece.turned_with_flesh_out",
    "a turned edge is asked for with the flesh side out",
    reads=["side", "edge"],
    of=("outside",),
)
def turned_with_flesh_out(whole: Whole) -> bool:
    """Whether the edge is turned although the flesh side of the outside is out."""
    piece = whole.piece
    turned = piece.edge is not None and piece.edge.finish == "turned"
    return turned and piece.outside is not None and piece.outside.side == FLESH


@truth("piece.revision_named", "a catalog revision is named", reads=["revision"])
def revision_named(whole: Whole) -> bool:
    """Whether the spec names a catalog revision."""
    return whole.piece.spec.catalog_revision is not None


@truth("piece.revision_current", "the catalog revision named is today's", reads=["revision"])
def revision_current(whole: Whole) -> bool:
    """Whether the revision named is the catalog's own."""
    return whole.piece.spec.catalog_revision == whole.piece.catalog.workshop.catalog_revision


@truth("piece.noted", "there is a free-text note", reads=["note"])
def noted(whole: Whole) -> bool:
    """Whether the spec has a note. What it says only a person can read."""
    return whole.piece.spec.noted
