"""The closed thickness: every layer, and what the piece carries."""

from __future__ import annotations

from catalog.model import Number, Pattern
from rules.case import Case
from rules.piece import Piece

NOTE_USES = ("note_flat", "note_half", "note_thirds")


def closed_um(case: Case) -> Number | None:
    """Return the thickness of the closed, full piece in um, or None while a layer is missing.

    Cards, business cards, notes and passport count as asked, else as the pattern usually
    carries them; what it has no pocket for is not counted.
    """
    return case.keep("closed", lambda: _closed_um(case))


def _closed_um(case: Case) -> Number | None:
    pattern = case.pattern
    if pattern is None:
        return None
    layers = case.shape.closed
    return layers.total_um + contents_um(case.piece, pattern) if layers.complete else None


def contents_um(piece: Piece, pattern: Pattern) -> Number:
    """Return the thickness of what is carried, um."""
    uses = {pocket.use for pocket in pattern.pockets.values()}
    return (
        _cards(piece, pattern, uses) + _business_cards(piece, pattern, uses)
        + _notes(piece, pattern) + _passport(piece, pattern, uses)
    )  # fmt: skip


def item_um(piece: Piece, group: str) -> int:
    """Return the thickness of the first thing of a group, um."""
    items = (item for item in piece.catalog.carry_items.values() if item.group == group)
    return next((item.thickness_um for item in items), 0)


def _cards(piece: Piece, pattern: Pattern, uses: set[str]) -> int:
    if "card" not in uses:
        return 0
    carry = piece.spec.carry
    count = carry.cards
    if count is None:
        count = 0 if carry.business_cards is not None else pattern.closed.cards
    return count * item_um(piece, "card")


def _business_cards(piece: Piece, pattern: Pattern, uses: set[str]) -> int:
    if not uses & {"box", "card"}:
        return 0
    asked = piece.spec.carry.business_cards
    if asked is None:
        return pattern.closed.business_cards * item_um(piece, "business_card")
    item = piece.indexes.carry_items.find(asked.item)
    return asked.count * (item_um(piece, "business_card") if item is None else item.thickness_um)


def _notes(piece: Piece, pattern: Pattern) -> Number:
    use = next((pocket.use for pocket in pattern.pockets.values() if pocket.use in NOTE_USES), None)
    if use is None:
        return 0
    asked = piece.spec.carry.notes
    layers = piece.threshold(f"note_layers_{use.removeprefix('note_')}")
    if not asked:
        return pattern.closed.notes * item_um(piece, "note") * layers
    total: Number = 0
    for note in asked:
        item = piece.indexes.carry_items.find(note.item)
        total += note.count * layers * (item_um(piece, "note") if item is None else item.thickness_um)
    return total


def _passport(piece: Piece, pattern: Pattern, uses: set[str]) -> int:
    if "passport" not in uses:
        return 0
    asked = piece.spec.carry.passport_um
    return pattern.closed.passport_um if asked is None else asked
