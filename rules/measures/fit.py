"""Measures of what must fit: cards, notes, passport, blade, sizes (FIT).

A flat pocket is a sleeve: to hold a slab of width w and thickness s it must be
w + s + ease wide (an inextensible sleeve of flat width W has the perimeter 2W).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from catalog.model import CarryItem, Number, Pattern, Pocket
from rules.case import Case, belt_cut_um
from rules.closed import NOTE_USES
from rules.piece import Piece
from rules.spec import NoteAsked
from rules.subjects import Scope, Whole
from rules.vocabulary import Group, number, subject, truth, word

_FOLDS = {"note_flat": 1, "note_half": 2, "note_thirds": 3}


def card_ease_um(piece: Piece) -> Number:
    """Return the ease of a card pocket, um: larger where the outside is stiff."""
    outside = piece.outside
    stiff = outside is not None and outside.kind is not None and outside.kind.stiff
    return piece.threshold("card_ease_stiff_mm" if stiff else "card_ease_soft_mm")


def cards_held(piece: Piece, pocket: Pocket, long_um: int, short_um: int, each_um: int) -> int:
    """Return how many cards one pocket holds, lying where it is wide enough, else standing."""
    lying = pocket.width_um >= piece.threshold("card_turned_from_width_mm")
    room = min(pocket.depth_um, pocket.width_um - (long_um if lying else short_um) - card_ease_um(piece))
    return max(0, int(Fraction(room) // each_um))


def _pockets(piece: Piece, use: str) -> list[Pocket]:
    """Return the pattern's pockets of one use, one entry for each single pocket, in order."""
    if piece.pattern is None:
        return []
    return [pocket for pocket in piece.pattern.pockets.values() if pocket.use == use for _ in range(pocket.count)]


def _card(piece: Piece) -> CarryItem | None:
    items = (item for item in piece.catalog.carry_items.values() if item.group == "card")
    return next(items, None)


def _hidden(piece: Piece) -> int:
    return int(piece.threshold("hidden_slot_cards")) if "hidden_slot" in piece.modifications else 0


@number("piece.cards_asked", "count", "cards asked for", reads=["carry"])
def cards_asked(whole: Whole) -> int | None:
    """Return how many cards the customer carries, if said."""
    return whole.piece.spec.carry.cards


@number(
    "piece.cards_held",
    "count",
    "cards that the piece holds",
    reads=["leather", "modifications", "pattern"],
    of=("outside",),
)
def capacity(whole: Whole) -> int | None:
    """Return the cards that all card pockets hold, and the hidden slot where it is asked for."""
    return sum(_card_rooms(whole.piece)) + _hidden(whole.piece)


def _card_rooms(piece: Piece) -> list[int]:
    card = _card(piece)
    if card is None:
        return [0 for _ in _pockets(piece, "card")]
    return [
        cards_held(piece, pocket, card.width_um, card.height_um, card.thickness_um)
        for pocket in _pockets(piece, "card")
    ]


@dataclass(frozen=True)
class BusinessCards(Scope):
    """The business cards asked for."""

    item: CarryItem
    count: int

    @property
    def at(self) -> tuple[str, ...]:
        """The carry list."""
        return ("/carry/business_cards",)

    @property
    def params(self) -> dict[str, Any]:
        """The item."""
        return {"item": self.item.code}

    @property
    def words(self) -> dict[str, str]:
        """The item's name and size."""
        size = f"{self.item.width_um / 1000:g} x {self.item.height_um / 1000:g} mm"
        return {"item": self.item.name, "size": size}


@subject("businesscards", "the business cards asked for", ("item", "size"), reads=["carry"], only_with="carry")
def business_cards(case: Case) -> Iterator[BusinessCards]:
    """List the business cards asked for, if the item is known."""
    asked = case.piece.spec.carry.business_cards
    item = None if asked is None else case.piece.indexes.carry_items.find(asked.item)
    if asked is not None and item is not None and item.group == "business_card" and case.pattern is not None:
        yield BusinessCards(case, item, asked.count)


@number("businesscards.asked", "count", "business cards asked for", reads=["carry"])
def business_cards_asked(cards: BusinessCards) -> int:
    """Return how many are asked for."""
    return cards.count


@number(
    "businesscards.held",
    "count",
    "business cards that the piece holds",
    reads=["carry", "leather", "pattern", "modifications"],
    of=("outside",),
)
def business_cards_held(cards: BusinessCards) -> int:
    """Return what boxes hold, and the card pockets that the cards asked for leave."""
    piece, boxes = cards.piece, sum(_box_holds(cards.piece, box, cards.item) for box in _pockets(cards.piece, "box"))
    return boxes + sum(_pocket_holds(piece, pocket, cards.item) for pocket in _left_pockets(piece))


@truth("businesscards.taken", "some pocket takes the size", reads=["carry", "leather", "pattern"], of=("outside",))
def business_cards_taken(cards: BusinessCards) -> bool:
    """Whether any pocket of the pattern takes one card of this size."""
    piece = cards.piece
    return any(_box_holds(piece, box, cards.item) for box in _pockets(piece, "box")) or any(
        _pocket_holds(piece, pocket, cards.item) for pocket in _pockets(piece, "card")
    )


def _left_pockets(piece: Piece) -> list[Pocket]:
    """Cards asked for fill the hidden slot, then pocket after pocket; the rest are left."""
    cards = (piece.spec.carry.cards or 0) - _hidden(piece)
    left = []
    for pocket, room in zip(_pockets(piece, "card"), _card_rooms(piece), strict=True):
        if cards > 0:
            cards -= room
        else:
            left.append(pocket)
    return left


def _box_holds(piece: Piece, box: Pocket, item: CarryItem) -> int:
    wide = box.width_um >= item.width_um + card_ease_um(piece)
    high = box.height_um >= item.height_um + piece.threshold("box_height_ease_mm")
    return box.depth_um // item.thickness_um if wide and high else 0


def _pocket_holds(piece: Piece, pocket: Pocket, item: CarryItem) -> int:
    lying = pocket.width_um >= piece.threshold("card_turned_from_width_mm")
    upright = item.height_um if lying else item.width_um
    if upright > pocket.height_um + piece.threshold("business_card_proud_mm"):
        return 0
    return cards_held(piece, pocket, item.width_um, item.height_um, item.thickness_um)


@dataclass(frozen=True)
class NoteUse(Scope):
    """A kind of banknote asked for, and the pattern's first note pocket."""

    place: int
    asked: NoteAsked
    item: CarryItem
    pocket: Pocket | None

    @property
    def at(self) -> tuple[str, ...]:
        """Its place in the carry list."""
        return (f"/carry/notes/{self.place}",)

    @property
    def params(self) -> dict[str, Any]:
        """The item."""
        return {"item": self.item.code}

    @property
    def words(self) -> dict[str, str]:
        """The item's name."""
        return {"item": self.item.name}


@subject("note", "each kind of banknote asked for", ("item",), reads=["carry"], only_with="carry")
def notes(case: Case) -> Iterator[NoteUse]:
    """List the banknotes asked for whose item is known."""
    if case.pattern is None:
        return
    pocket = next((p for p in case.pattern.pockets.values() if p.use in NOTE_USES), None)
    for place, asked in enumerate(case.piece.spec.carry.notes):
        item = case.piece.indexes.carry_items.find(asked.item)
        if item is not None and item.group == "note":
            yield NoteUse(case, place, asked, item, pocket)


@word("note.pocket", "how the note pocket takes notes", reads=["pattern"], levels=("none", *NOTE_USES))
def note_pocket(note: NoteUse) -> str:
    """Return the use of the first note pocket, or none."""
    return "none" if note.pocket is None else note.pocket.use


@number("note.length", "mm", "length of the note as it is folded", reads=["carry", "pattern"])
def note_length(note: NoteUse) -> Number | None:
    """Return the note's long side, halved or in thirds as the pocket wants it, um."""
    if note.pocket is None:
        return None
    return Fraction(note.item.width_um, _FOLDS[note.pocket.use])


@number("note.height", "mm", "height of the note", reads=["carry"])
def note_height(note: NoteUse) -> int:
    """Return the note's short side, um."""
    return note.item.height_um


@number("note.room_length", "mm", "room for the note's length", reads=["pattern"])
def note_room_length(note: NoteUse) -> Number | None:
    """Return the pocket's room along the folded length, um: its height for thirds, else its width."""
    if note.pocket is None:
        return None
    side = note.pocket.height_um if note.pocket.use == "note_thirds" else note.pocket.width_um
    return side - note.piece.threshold("note_ease_mm")


@number("note.room_height", "mm", "room for the note's height", reads=["pattern"])
def note_room_height(note: NoteUse) -> Number | None:
    """Return the pocket's room across, um: its width for thirds, else its height."""
    if note.pocket is None:
        return None
    side = note.pocket.width_um if note.pocket.use == "note_thirds" else note.pocket.height_um
    return side - note.piece.threshold("note_ease_mm")


@dataclass(frozen=True)
class PassportUse(Scope):
    """The passport asked for, and the best pocket for it."""

    item: CarryItem
    pocket: Pocket | None

    @property
    def at(self) -> tuple[str, ...]:
        """The carry list."""
        return ("/carry/passport",)

    @property
    def words(self) -> dict[str, str]:
        """The pattern's name."""
        return {"pattern": "this piece" if self.piece.pattern is None else self.piece.pattern.name}


@subject("passport", "the passport asked for", ("pattern",), reads=["carry"], only_with="carry")
def passport(case: Case) -> Iterator[PassportUse]:
    """List the passport, if one is asked for."""
    item = next((item for item in case.piece.catalog.carry_items.values() if item.group == "passport"), None)
    if case.piece.spec.carry.passport and case.pattern is not None and item is not None:
        pockets = [pocket for pocket in case.pattern.pockets.values() if pocket.use == "passport"]
        yield PassportUse(case, item, max(pockets, key=lambda pocket: pocket.depth_um, default=None))


@truth("passport.pocket", "the pattern has a passport pocket", reads=["pattern"])
def passport_pocket(use: PassportUse) -> bool:
    """Whether there is a pocket for a passport."""
    return use.pocket is not None


@number("passport.width", "mm", "width of a passport", reads=["carry"])
def passport_width(use: PassportUse) -> int:
    """Return the passport's width, um."""
    return use.item.width_um


@number("passport.height", "mm", "height of a passport", reads=["carry"])
def passport_height(use: PassportUse) -> int:
    """Return the passport's height, um."""
    return use.item.height_um


@number("passport.room_width", "mm", "room for a passport's width", reads=["pattern"])
def passport_room_width(use: PassportUse) -> Number | None:
    """Return the pocket's width less the ease, um."""
    return None if use.pocket is None else use.pocket.width_um - use.piece.threshold("passport_ease_mm")


@number("passport.room_height", "mm", "room for a passport's height", reads=["pattern"])
def passport_room_height(use: PassportUse) -> Number | None:
    """Return the pocket's height less the ease, um."""
    return None if use.pocket is None else use.pocket.height_um - use.piece.threshold("passport_ease_mm")


@number("passport.thickness", "mm", "thickness of the passport", reads=["carry"])
def passport_thickness(use: PassportUse) -> int | None:
    """Return the booklet's thickness as asked for, um."""
    return use.piece.spec.carry.passport_um


@number("passport.depth", "mm", "depth of the passport pocket", reads=["pattern"])
def passport_depth(use: PassportUse) -> int | None:
    """Return the pocket's depth, um."""
    return None if use.pocket is None else use.pocket.depth_um


@dataclass(frozen=True)
class BladeUse(Scope):
    """The blade asked for, and the pattern's cavity."""

    cavity: Pocket | None

    @property
    def parts(self) -> tuple[str, ...]:
        """The welt, whose lot must be as thick as the blade."""
        return ("welt",) if "welt" in self.piece.parts else ()

    @property
    def at(self) -> tuple[str, ...]:
        """The carry list."""
        return ("/carry/blade",)

    @property
    def words(self) -> dict[str, str]:
        """The pattern's name."""
        return {"pattern": "this piece" if self.piece.pattern is None else self.piece.pattern.name}


def _of_welt(pattern: Pattern, _: Iterable[Group]) -> Iterable[Group]:
    return (("welt",) if "welt" in pattern.parts else (),)


@subject("blade", "the blade asked for", ("pattern",), reads=["carry"], groups=_of_welt, only_with="carry")
def blade(case: Case) -> Iterator[BladeUse]:
    """List the blade, if one is asked for."""
    if case.piece.spec.carry.blade is not None and case.pattern is not None:
        yield BladeUse(case, next((p for p in case.pattern.pockets.values() if p.use == "blade"), None))


@truth("blade.cavity", "the pattern has a cavity for a blade", reads=["pattern"])
def has_cavity(use: BladeUse) -> bool:
    """Whether the pattern takes a blade."""
    return use.cavity is not None


@number("blade.girth", "mm", "blade width, thickness and ease together", reads=["carry"])
def blade_girth(use: BladeUse) -> Number | None:
    """Return width + thickness + ease, um."""
    asked = use.piece.spec.carry.blade
    return None if asked is None else asked.width_um + asked.thickness_um + use.piece.threshold("blade_width_ease_mm")


@number("blade.cavity_width", "mm", "width of the cavity", reads=["pattern"])
def cavity_width(use: BladeUse) -> int | None:
    """Return the cavity's width, um."""
    return None if use.cavity is None else use.cavity.width_um


@number("blade.reach", "mm", "blade length and ease together", reads=["carry"])
def blade_reach(use: BladeUse) -> Number | None:
    """Return length + ease, um."""
    asked = use.piece.spec.carry.blade
    return None if asked is None else asked.length_um + use.piece.threshold("blade_length_ease_mm")


@number("blade.cavity_length", "mm", "length of the cavity", reads=["pattern"])
def cavity_length(use: BladeUse) -> int | None:
    """Return the cavity's length, um."""
    return None if use.cavity is None else use.cavity.height_um


@number("blade.thickness", "mm", "thickness of the blade", reads=["carry"])
def blade_thickness(use: BladeUse) -> int | None:
    """Return the blade's thickness, um."""
    asked = use.piece.spec.carry.blade
    return None if asked is None else asked.thickness_um


@number("blade.welt", "mm", "thinnest spot of the welt", reads=["lots", "side"])
def welt(use: BladeUse) -> int | None:
    """Return the lower thickness of the welt's lots, or what it is worked at if less, um."""
    pattern = use.case.pattern
    panel = None if pattern is None else next((p for p in pattern.panels.values() if p.part == "welt"), None)
    worked = None if panel is None else use.case.shape.thickness(panel.code)
    if worked is None:
        return None
    return min(worked.used_um, *(lot.thickness.min_um for lot in use.case.lots_for("welt")))


@number("piece.belt_cut", "mm", "cut length of the belt", reads=["sizes"])
def belt_cut(whole: Whole) -> Number | None:
    """Return waist to middle hole + buckle turn + tail + allowance, um."""
    return belt_cut_um(whole.piece)
