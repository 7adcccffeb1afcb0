"""Measures of letters: type in the case, room in the zone, method against leather (MON)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from catalog.model import Number, Pattern, Typeface
from rules.case import Case
from rules.piece import PartUse
from rules.spec import Monogram
from rules.subjects import Scope, leather_name, parts_of
from rules.vocabulary import Group, number, subject, truth, word

_CAPITALS = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZ")


def letters_of(text: str) -> str:
    """Return every sign but the space."""
    return text.replace(" ", "")


@dataclass(frozen=True)
class MonogramUse(Scope):
    """The monogram asked for."""

    monogram: Monogram

    @property
    def parts(self) -> tuple[str, ...]:
        """The part that the zone lies on."""
        return () if self.part is None else (self.part.code,)

    @property
    def part(self) -> PartUse | None:
        """The part that the zone lies on."""
        zone, pattern = self.piece.zone, self.case.pattern
        return None if zone is None or pattern is None else self.piece.parts[pattern.panels[zone.panel].part]

    @property
    def at(self) -> tuple[str, ...]:
        """The monogram."""
        return ("/monogram",)

    @property
    def params(self) -> dict[str, Any]:
        """Method, typeface and zone."""
        asked = self.monogram
        return {"method": asked.method, "typeface": asked.typeface, "zone": asked.zone}

    @property
    def words(self) -> dict[str, str]:
        """Text, method, typeface, zone, leather."""
        zones = () if self.case.pattern is None else tuple(self.case.pattern.zones)
        return {
            "text": self.monogram.text, "method": self.monogram.method or "no method",
            "typeface": self.monogram.typeface or "no typeface", "zone": self.monogram.zone or "no zone",
            "leather": leather_name(self.part), "zones": ", ".join(zones),
        }  # fmt: skip


def _of_zones(pattern: Pattern, _: Iterable[Group]) -> Iterable[Group]:
    return ((), *(parts_of(pattern, [zone.panel]) for zone in pattern.zones.values()))


@subject(
    "monogram",
    "the monogram",
    ("text", "method", "typeface", "zone", "leather", "zones"),
    reads=["monogram"],
    groups=_of_zones,
    only_with="monogram",
    word_reads={"leather": ["leather"], "text": ["letters"]},
)
def the_monogram(case: Case) -> Iterator[MonogramUse]:
    """List the monogram, if one is asked for."""
    if case.piece.spec.monogram is not None and case.pattern is not None:
        yield MonogramUse(case, case.piece.spec.monogram)


@dataclass(frozen=True)
class LetterUse(MonogramUse):
    """One sign of the monogram and how often it stands there."""

    sign: str
    count: int
    typeface: Typeface

    @property
    def parts(self) -> tuple[str, ...]:
        """A letter depends on no lot."""
        return ()

    @property
    def at(self) -> tuple[str, ...]:
        """The text."""
        return ("/monogram/text",)

    @property
    def subject(self) -> dict[str, Any]:
        """The sign."""
        return {"sign": self.sign}

    @property
    def words(self) -> dict[str, str]:
        """The sign and the typeface's signs."""
        extra = " ".join(self.typeface.extra_signs)
        return super().words | {"sign": self.sign, "signs": f"A-Z {extra}".strip()}


@subject(
    "letter",
    "each different sign of the monogram",
    ("sign", "signs", "text", "typeface"),
    reads=["monogram", "letters"],
    shows=["leather", "letters"],
    only_with="monogram",
)
def each_letter(case: Case) -> Iterator[LetterUse]:
    """List the different signs of the monogram in a known typeface."""
    monogram, typeface = case.piece.spec.monogram, case.piece.typeface
    if monogram is None or typeface is None or case.pattern is None:
        return
    for sign, count in Counter(letters_of(monogram.text)).items():
        yield LetterUse(case, monogram, sign, count, typeface)


@truth("letter.in_type", "the typeface has the sign", reads=["monogram", "letters"])
def in_type(letter: LetterUse) -> bool:
    """Whether the sign is a capital or one of the extra signs; never folded."""
    return letter.sign in _CAPITALS or letter.sign in letter.typeface.extra_signs


@number("letter.asked", "count", "pieces of type wanted", reads=["monogram", "letters"])
def asked(letter: LetterUse) -> int:
    """Return how often the sign stands in the text."""
    return letter.count


@number("letter.good_sorts", "count", "good pieces of type in the case", reads=["monogram", "letters", "stock"])
def good_sorts(letter: LetterUse) -> int:
    """Return the sorts less the worn ones."""
    face = letter.typeface
    return face.sorts.get(letter.sign, face.sorts_per_letter) - face.worn.get(letter.sign, 0)


@number("letter.worn_sorts", "count", "worn pieces of type", reads=["monogram", "letters", "stock"])
def worn_sorts(letter: LetterUse) -> int:
    """Return the worn sorts."""
    return letter.typeface.worn.get(letter.sign, 0)


@number("monogram.width", "mm", "width of the letters", reads=["monogram", "letters"])
def width(use: MonogramUse) -> int | None:
    """Return letters x advance + spaces x space, um."""
    face, text = use.piece.typeface, use.monogram.text
    return None if face is None else len(letters_of(text)) * face.advance_um + text.count(" ") * face.space_um


@number("monogram.room", "mm", "room in the zone", reads=["monogram", "pattern"])
def room(use: MonogramUse) -> Number | None:
    """Return the zone's width less the margin, um."""
    zone = use.piece.zone
    return None if zone is None else zone.width_um - use.piece.threshold("zone_margin_width_mm")


@number("monogram.cap_height", "mm", "height of the letters", reads=["monogram"])
def cap_height(use: MonogramUse) -> int | None:
    """Return the height of a capital, um."""
    return None if use.piece.typeface is None else use.piece.typeface.cap_um


@number("monogram.room_height", "mm", "height in the zone", reads=["monogram", "pattern"])
def room_height(use: MonogramUse) -> Number | None:
    """Return the zone's height less the margin, um."""
    zone = use.piece.zone
    return None if zone is None else zone.height_um - use.piece.threshold("zone_margin_height_mm")


@truth("monogram.zone_known", "the pattern has the zone", reads=["monogram", "pattern"])
def zone_known(use: MonogramUse) -> bool:
    """Whether the zone is one of the pattern's."""
    return use.piece.zone is not None


@word("monogram.method", "method of the monogram", reads=["monogram"], levels=("blind", "foil", "ink", "laser"))
def method(use: MonogramUse) -> str | None:
    """Return the method."""
    return use.monogram.method


@word(
    "monogram.mark_grade",
    "how the leather takes the method",
    reads=["monogram", "leather"],
    levels=("fine", "sign_off", "refuse"),
)
def mark_grade(use: MonogramUse) -> str | None:
    """Return the kind's grade for the method on the panel of the zone."""
    part, asked_for = use.part, use.monogram.method
    return None if part is None or part.kind is None or asked_for is None else part.kind.mark[asked_for]


@truth("monogram.method_in_type", "the typeface is used with the method", reads=["monogram"])
def method_in_type(use: MonogramUse) -> bool | None:
    """Whether the typeface lists the method."""
    face = use.piece.typeface
    return None if face is None or use.monogram.method is None else use.monogram.method in face.methods


@number("monogram.letters", "count", "letters of the monogram", reads=["monogram", "letters"])
def letters(use: MonogramUse) -> int:
    """Return the number of signs without spaces."""
    return len(letters_of(use.monogram.text))


@truth("monogram.artwork", "artwork, a crest or another's mark is asked for", reads=["monogram"])
def artwork(use: MonogramUse) -> bool:
    """Whether more than letters is asked for."""
    return use.monogram.artwork


@number("monogram.panel", "mm", "thickness of the panel under the letters", reads=["lots", "side", "monogram"])
def panel_thickness(use: MonogramUse) -> int | None:
    """Return the thickness the zone's panel is worked at, um."""
    zone = use.piece.zone
    worked = None if zone is None else use.case.shape.thickness(zone.panel)
    return None if worked is None else worked.used_um


@truth("monogram.on_flesh", "the letters stand on the flesh side", reads=["monogram", "side"])
def on_flesh(use: MonogramUse) -> bool | None:
    """Whether the zone lies on the flesh: shown with the flesh out, or on the back with the grain out."""
    zone, part = use.piece.zone, use.part
    if zone is None or part is None:
        return None
    return (zone.on == "shown") == (part.side == "flesh")


@number("monogram.foil_needed", "m", "foil needed", reads=["monogram", "quantity"])
def foil_needed(use: MonogramUse) -> Number | None:
    """Return the foil of the whole order, um."""
    if use.piece.foil is None:
        return None
    return use.piece.threshold("foil_m_per_monogram") * use.piece.quantity


@number("monogram.foil_left", "m", "foil left on the roll", reads=["monogram", "stock"])
def foil_left(use: MonogramUse) -> int | None:
    """Return what the roll holds, um."""
    return None if use.piece.foil is None else use.piece.foil.left_um


#: Capitals and signs that look the same in a mirror.
MIRROR_SAFE = frozenset("AHIMOTUVWXY.-| ")


@truth("monogram.mirrored", "the same letters stand on both of a pair", reads=["monogram"])
def mirrored(use: MonogramUse) -> bool | None:
    """Whether the zone is on both panels of a pair; None where the template does not say."""
    return None if use.piece.zone is None else use.piece.zone.mirrored


@truth("monogram.mirror_safe", "the letters look the same in a mirror", reads=["letters"])
def mirror_safe(use: MonogramUse) -> bool:
    """Whether every sign and their order are the same in a mirror."""
    text = use.monogram.text
    return set(text) <= MIRROR_SAFE and text == text[::-1]


@word("monogram.kind", "kind of the leather under the letters", reads=["monogram", "leather"], noun="kind")
def monogram_kind(use: MonogramUse) -> str | None:
    """Return the kind of the part that the zone lies on."""
    return None if use.part is None or use.part.kind is None else use.part.kind.code


@word("monogram.foil", "foil of the monogram", reads=["monogram"], noun="foil")
def monogram_foil(use: MonogramUse) -> str | None:
    """Return the foil's code, where the method is foil."""
    return None if use.piece.foil is None else use.piece.foil.code


@word("monogram.typeface", "typeface of the monogram", reads=["monogram"], noun="typeface")
def monogram_typeface(use: MonogramUse) -> str | None:
    """Return the typeface's code."""
    return None if use.piece.typeface is None else use.piece.typeface.code
