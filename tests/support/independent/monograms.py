"""Letters: type in the case, room in the zone, method against leather, foil on the roll (MON, LAW-11)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from string import ascii_uppercase

from support.independent.board import Board
from support.independent.data import Context
from support.independent.law import has_row

from catalog.model import Foil, Typeface, Zone

METHODS = ("blind", "foil", "ink", "laser")


@dataclass(frozen=True)
class Letters:
    """A way to set letters: method, typeface, zone, foil (for the method foil alone), text."""

    method: str
    typeface: str
    zone: Zone
    foil: str | None
    text: str

    @property
    def count(self) -> int:
        """Signs without the spaces."""
        return len(self.text.replace(" ", ""))


def letter_options(told: Context) -> list[Letters | None]:
    """Return the ways that no leather is needed to refuse; the first is None, no letters."""
    return [None, *_ways(told)]


def _ways(told: Context) -> Iterator[Letters]:
    for face in told.catalog.typefaces.values():
        text = _first_letter(face) if told.text is None else told.text
        if text is None or not _set_in(told, face, text):
            continue
        for method in METHODS:
            if method not in face.methods or (method == "laser" and has_row(told, "LAW-11")):
                continue  # MON-06, LAW-11
            for zone in told.pattern.zones.values():
                if _has_room(told, face, zone, text):
                    foils = told.catalog.foils.values() if method == "foil" else (None,)
                    yield from (Letters(method, face.code, zone, None if foil is None else foil.code, text)
                                for foil in foils if foil is None or _enough(told, foil))  # fmt: skip


def _good_sorts(face: Typeface, sign: str) -> int:
    return face.sorts.get(sign, face.sorts_per_letter) - face.worn.get(sign, 0)


def _first_letter(face: Typeface) -> str | None:
    return next((sign for sign in ascii_uppercase if _good_sorts(face, sign) >= 1), None)


def _set_in(told: Context, face: Typeface, text: str) -> bool:
    """MON-01, MON-02, MON-09."""
    letters = text.replace(" ", "")
    if len(letters) > told.threshold("letters_refuse_over"):
        return False
    known = set(ascii_uppercase) | set(face.extra_signs)
    return all(sign in known and count <= _good_sorts(face, sign) for sign, count in Counter(letters).items())


def _has_room(told: Context, face: Typeface, zone: Zone, text: str) -> bool:
    """MON-03, MON-04."""
    spaces = text.count(" ")
    width = (len(text) - spaces) * face.advance_um + spaces * face.space_um
    wide = width <= zone.width_um - told.threshold("zone_margin_width_mm")
    return wide and face.cap_um <= zone.height_um - told.threshold("zone_margin_height_mm")


def _enough(told: Context, foil: Foil) -> bool:
    """MON-07."""
    return told.threshold("foil_m_per_monogram") * told.quantity <= foil.left_um


def add_letters(board: Board, told: Context) -> None:
    """MON-05: the leather under the letters takes the method."""
    for zone in told.pattern.zones.values():
        part = f"part/{told.pattern.panels[zone.panel].part}"
        for method in METHODS:
            ways = board.where("monogram", lambda w, z=zone, m=method: w is not None and w.zone is z and w.method == m)
            board.never(ways, board.where(part, lambda o, m=method: o.leather.kind.mark[m] == "refuse"))
