"""What is carried has its place: cards, notes, passport, blade, notebook (FIT), and how thick it lies (STK-07)."""

from __future__ import annotations

from fractions import Fraction

from support.independent.board import Board
from support.independent.data import Context, RefusedError
from support.independent.parts import Option

from catalog.model import Pocket

_NOTES = {"note_flat": 1, "note_half": 2, "note_thirds": 3}


def _pockets(told: Context, use: str) -> list[Pocket]:
    return [pocket for pocket in told.pattern.pockets.values() if pocket.use == use for _ in range(pocket.count)]


def _first_thickness(told: Context, group: str) -> int:
    return next((item.thickness_um for item in told.catalog.carry_items.values() if item.group == group), 0)


def contents_um(told: Context) -> int | Fraction:
    """Return how thick what is carried lies: as asked for, else as the pattern usually carries it."""
    uses = {pocket.use for pocket in told.pattern.pockets.values()}
    usual, total = told.pattern.closed, Fraction(0)
    if "card" in uses:
        usual_cards = 0 if told.business is not None else usual.cards
        total += (usual_cards if told.cards is None else told.cards) * _first_thickness(told, "card")
    if uses & {"box", "card"}:
        if told.business is None:
            total += usual.business_cards * _first_thickness(told, "business_card")
        else:
            total += told.business[1] * told.business[0].thickness_um
    note = next((pocket.use for pocket in told.pattern.pockets.values() if pocket.use in _NOTES), None)
    if note is not None:
        layers = told.threshold(f"note_layers_{note.removeprefix('note_')}")
        flat = sum(count * item.thickness_um for item, count in told.notes)
        total += layers * (flat if told.notes else usual.notes * _first_thickness(told, "note"))
    if "passport" in uses:
        total += usual.passport_um if told.passport_um is None else told.passport_um
    return total


def check_carried(told: Context) -> None:
    """FIT-04 to FIT-07, and of a blade and a notebook what no leather changes.

    Raises:
        RefusedError: something has no place.
    """
    _check_notes(told)
    if told.passport:
        passport = next(item for item in told.catalog.carry_items.values() if item.group == "passport")
        pockets = [pocket for pocket in told.pattern.pockets.values() if pocket.use == "passport"]
        if not pockets:
            raise RefusedError("FIT-04")
        deepest = max(pockets, key=lambda pocket: pocket.depth_um)
        _room(deepest, passport.width_um, passport.height_um, told.threshold("passport_ease_mm"), "FIT-04")
    if told.blade is not None:
        _check_blade(told, told.blade)
    if told.notebook is not None:
        books = [pocket for pocket in told.pattern.pockets.values() if pocket.use == "notebook"]
        if not books:
            raise RefusedError("FIT-11")
        width, height, _ = told.notebook
        deepest = max(books, key=lambda pocket: pocket.depth_um)
        _room(deepest, width or 0, height or 0, told.threshold("notebook_ease_mm"), "FIT-11")


def _room(pocket: Pocket, width: int, height: int, ease: int | Fraction, rule: str) -> None:
    if width > pocket.width_um - ease or height > pocket.height_um - ease:
        raise RefusedError(rule)


def _check_notes(told: Context) -> None:
    pocket = next((pocket for pocket in told.pattern.pockets.values() if pocket.use in _NOTES), None)
    ease = told.threshold("note_ease_mm")
    for item, _ in told.notes:
        if pocket is None:
            raise RefusedError("FIT-05")
        long, across = Fraction(item.width_um, _NOTES[pocket.use]), item.height_um
        wide, high = pocket.width_um - ease, pocket.height_um - ease
        if pocket.use == "note_thirds":
            wide, high = high, wide
        if long > wide or across > high:
            raise RefusedError({"note_flat": "FIT-05", "note_half": "FIT-06", "note_thirds": "FIT-07"}[pocket.use])


def _check_blade(told: Context, blade: tuple[int, int, int]) -> None:
    width, thickness, length = blade
    if length < told.threshold("inch_below_mm"):
        raise RefusedError("CAT-09 blade")
    cavity = next((pocket for pocket in told.pattern.pockets.values() if pocket.use == "blade"), None)
    if cavity is None:
        raise RefusedError("FIT-10")
    girth, reach = width + thickness + told.threshold("blade_width_ease_mm"), told.threshold("blade_length_ease_mm")
    if girth > cavity.width_um or length + reach > cavity.height_um:
        raise RefusedError("FIT-10")


def fits_part(told: Context, option: Option) -> bool:
    """Whether what is carried leaves an option open: FIT-10 for the welt, FIT-11 for the leather round a notebook."""
    if told.blade is not None and option.part == "welt":
        panel = next(iter(option.used_um))
        if told.blade[1] > min(option.used_um[panel], option.lower_um):
            return False
    if told.notebook is not None and told.notebook[2] is not None:
        pattern = told.pattern
        outer = [panel.code for panel in pattern.panels.values() if panel.part == "outside"]
        cover = outer[0] if pattern.spine is None else pattern.spine.panels[0]
        gap = max(pocket.depth_um for pocket in pattern.pockets.values() if pocket.use == "notebook")
        used = option.used_um.get(cover)
        if used is not None and told.notebook[2] + 2 * used > gap:
            return False
    return True


def add_cards(board: Board, told: Context) -> None:
    """FIT-12, FIT-02, FIT-03: stiff leather outside needs more ease, a hidden slot takes some cards more."""
    if told.cards is None and told.business is None:
        return
    hidden_var = board.slots.get("mod/hidden_slot", {}).get(True)
    for stiff in (False, True):
        outside = board.where("part/outside", lambda o, stiff=stiff: o.leather.kind.stiff == stiff)
        for hidden in (False, True) if hidden_var is not None else (False,):
            if not _cards_fit(told, stiff=stiff, hidden=hidden):
                with_slot = [] if hidden_var is None else [board.slots["mod/hidden_slot"][hidden]]
                board.never(outside, *([with_slot] if with_slot else []))


def _ease(told: Context, *, stiff: bool) -> int | Fraction:
    return told.threshold("card_ease_stiff_mm" if stiff else "card_ease_soft_mm")


def _holds(told: Context, pocket: Pocket, sides: tuple[int, int], thick: int, *, stiff: bool) -> int:
    """Return how many cards of some size a flat pocket holds: w is at least d + s + ease."""
    lying = pocket.width_um >= told.threshold("card_turned_from_width_mm")
    room = min(pocket.depth_um, pocket.width_um - sides[0 if lying else 1] - _ease(told, stiff=stiff))
    return max(0, room // thick)


def _cards_fit(told: Context, *, stiff: bool, hidden: bool) -> bool:
    card = next(item for item in told.catalog.carry_items.values() if item.group == "card")
    pockets = _pockets(told, "card")
    sides = (card.width_um, card.height_um)
    rooms = [_holds(told, pocket, sides, card.thickness_um, stiff=stiff) for pocket in pockets]
    slot = int(told.threshold("hidden_slot_cards")) if hidden else 0
    if told.cards is not None and told.cards > sum(rooms) + slot:
        return False  # FIT-12
    if told.business is None:
        return True
    item, count = told.business
    boxed = sum(_boxed(told, box, item.width_um, item.height_um, item.thickness_um, stiff=stiff)
                for box in _pockets(told, "box"))  # fmt: skip
    flat = []
    for pocket in pockets:
        upright = item.height_um if pocket.width_um >= told.threshold("card_turned_from_width_mm") else item.width_um
        proud = upright > pocket.height_um + told.threshold("business_card_proud_mm")
        held = _holds(told, pocket, (item.width_um, item.height_um), item.thickness_um, stiff=stiff)
        flat.append(0 if proud else held)
    if not boxed and not any(flat):
        return False  # FIT-03
    left = (told.cards or 0) - slot
    free = 0
    for room, held in zip(rooms, flat, strict=True):
        if left > 0:
            left -= room
        else:
            free += held
    return count <= boxed + free  # FIT-02


def _boxed(told: Context, box: Pocket, width: int, height: int, thick: int, *, stiff: bool) -> int:
    if box.width_um < width + _ease(told, stiff=stiff) or box.height_um < height + told.threshold("box_height_ease_mm"):
        return 0
    return box.depth_um // thick
