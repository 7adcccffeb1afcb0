"""Every slot of a spec and every code named in it, for the rules of integrity (CAT, EDG-02, MON-08)."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from catalog.model import Pattern, Size
from catalog.units import text_in
from rules.piece import Index, Piece

#: Never filled in and never offered as a remedy: only the customer knows them.
NEVER_FILLED = frozenset({"waist_to_hole_mm"})
Group = tuple[str, ...]
_SIZE_WORDS = {
    "lug_mm": "lug width",
    "taper_mm": "taper",
    "width_mm": "width",
    "length_mm": "length",
    "waist_to_hole_mm": "length from buckle fold to middle hole",
}


@dataclass(frozen=True, slots=True)
class Choice:
    """One slot, or one code, of a spec.

    ``what`` is the noun; ``filled`` whether anything is chosen; ``known`` whether the catalog
    has the code; ``belongs`` whether the pattern has the slot; ``offered`` whether the pattern
    offers the value; None where the question does not arise. ``default`` is what the pattern
    would take, ``allowed`` what it offers.
    """

    what: str
    at: str
    given: str = ""
    words: str = ""
    required: bool = False
    filled: bool = True
    known: bool | None = None
    belongs: bool | None = None
    offered: bool | None = None
    status: str | None = None
    nearest: str | None = None
    default: str | int | None = None
    allowed: tuple[str, ...] = ()


def choices_of(piece: Piece) -> tuple[Choice, ...]:
    """Return the choices of a spec in a fixed order."""
    pattern = piece.pattern
    if pattern is None:
        named = (_pattern, _loose_codes, _monogram, _named_uses, _carry, _lots)
        return tuple(choice for listed in named for choice in listed(piece, ()))
    found: list[Choice] = []
    for each in LISTS:
        for group in ((part,) for part in pattern.parts) if each.by_part else ((),):
            found += each.listed(piece, group)
    return tuple(found)


def _code(
    piece: Piece, what: str, at: str, given: str, index: Index[Any], words: str, hints: Index[Any] | None = None
) -> Choice:
    """Return a code's choice; ``hints`` are the codes to suggest from, where not all of the index may be."""
    found = index.find(given)
    return Choice(
        what, at, index.code(given), words, known=found is not None, status=getattr(found, "status", None),
        nearest=None if found is not None else (hints or index).nearest(given),
    )  # fmt: skip


def _pattern(piece: Piece, _: Group) -> Iterator[Choice]:
    yield _code(piece, "pattern", "/pattern", piece.spec.pattern, piece.indexes.patterns, "pattern")


def _loose_codes(piece: Piece, _: Group) -> Iterator[Choice]:
    """Where the pattern is unknown, the codes named can still be looked up."""
    spec, indexes = piece.spec, piece.indexes
    if spec.thread is not None and not piece.matches_thread:
        yield _code(piece, "thread", "/thread", spec.thread, indexes.threads, "thread")
    if spec.edge is not None and not piece.matches_edge:
        yield _code(piece, "edge", "/edge", spec.edge, indexes.edges, "edge")
    for slot, code in spec.hardware.items():
        yield _code(piece, "hardware", f"/hardware/{slot}", code, indexes.hardware, "hardware")
    for part, asked in piece.spec.parts.items():
        if asked.leather is not None:
            yield _code(piece, "leather", f"/parts/{part}", asked.leather, piece.indexes.leathers, "leather")


def _part(piece: Piece, group: Group) -> Iterator[Choice]:
    """List the leather of one of the pattern's parts."""
    (part,), pattern = group, _patterned(piece)
    asked = piece.spec.parts.get(part)
    given = None if asked is None else asked.leather
    yield Choice(
        "part", f"/parts/{part}", words=f"leather for the {part}", required=True, filled=given is not None,
        belongs=True, default=pattern.default_parts.get(part),
    )  # fmt: skip
    if given is not None:
        yield _code(piece, "leather", f"/parts/{part}", given, piece.indexes.leathers, "leather")


def _foreign_parts(piece: Piece, _: Group) -> Iterator[Choice]:
    """List the parts that the pattern lacks."""
    own = _patterned(piece).parts
    for part, asked in piece.spec.parts.items():
        if part not in own:
            yield Choice("part", f"/parts/{part}", part, part, belongs=False, allowed=own)
            if asked.leather is not None:
                yield _code(piece, "leather", f"/parts/{part}", asked.leather, piece.indexes.leathers, "leather")


def _patterned(piece: Piece) -> Pattern:
    """Return the pattern; the lists of slots are only asked of pieces that have one."""
    if piece.pattern is None:
        raise ValueError("no pattern is known")
    return piece.pattern


def _chosen(piece: Piece, given: str | None, found: object, *, matched: bool) -> bool:
    """Whether a thread or edge is chosen: a match that nothing in stock meets is still to be chosen.

    While the outside is unknown there is nothing to match, and its own finding says so.
    """
    nothing_meets = matched and found is None and piece.outside is not None and piece.outside.leather is not None
    return given is not None and not nothing_meets


def _thread(piece: Piece, _: Group) -> Iterator[Choice]:
    pattern = _patterned(piece)
    given = piece.spec.thread
    filled = _chosen(piece, given, piece.thread, matched=piece.matches_thread)
    default = pattern.default_thread
    yield Choice("thread", "/thread", words="thread", required=True, filled=filled, default=default)
    if given is not None and not piece.matches_thread:
        yield _code(piece, "thread", "/thread", given, piece.indexes.threads, "thread")


def _stitch(piece: Piece, _: Group) -> Iterator[Choice]:
    pattern = _patterned(piece)
    if piece.spec.stitch is not None:
        yield Choice(
            "stitch", "/stitch", piece.spec.stitch, "stitch",
            offered=piece.stitch in pattern.stitches, default=pattern.stitches[0], allowed=pattern.stitches,
        )  # fmt: skip


def _edge(piece: Piece, _: Group) -> Iterator[Choice]:
    pattern = _patterned(piece)
    given = piece.spec.edge
    yield Choice(
        "edge",
        "/edge",
        words="edge",
        required=True,
        filled=_chosen(piece, given, piece.edge, matched=piece.matches_edge),
        default=pattern.default_edge,
    )
    if given is not None and not piece.matches_edge:
        yield _code(piece, "edge", "/edge", given, piece.indexes.edges, "edge")
    if piece.edge is not None:
        yield Choice(
            "edge_finish", "/edge", piece.edge.finish, "edge finish",
            offered=piece.edge.finish in pattern.edge_finishes, default=pattern.default_edge,
            allowed=pattern.edge_finishes,
        )  # fmt: skip


def _hardware(piece: Piece, _: Group) -> Iterator[Choice]:
    pattern = _patterned(piece)
    for slot, fixing in pattern.fixings.items():
        yield Choice(
            "hardware_slot", f"/hardware/{slot}", words=slot, required=fixing.required,
            filled=slot in piece.spec.hardware, belongs=True, default=pattern.default_hardware.get(slot),
        )  # fmt: skip
    for slot, given in piece.spec.hardware.items():
        at = f"/hardware/{slot}"
        if slot not in pattern.fixings:
            yield Choice("hardware_slot", at, slot, slot, belongs=False, allowed=tuple(pattern.fixings))
        yield _code(piece, "hardware", at, given, piece.indexes.hardware, "hardware")
        found = piece.indexes.hardware.find(given)
        if found is not None and slot in pattern.fixings:
            types = pattern.fixings[slot].types
            yield Choice(
                "hardware_type", at, found.type, slot, offered=found.type in types,
                default=pattern.default_hardware.get(slot), allowed=types,
            )  # fmt: skip


def _sizes(piece: Piece, _: Group) -> Iterator[Choice]:
    pattern = _patterned(piece)
    for code, size in pattern.sizes.items():
        yield Choice(
            "size", f"/sizes/{code}", words=_SIZE_WORDS.get(code, code), required=True,
            filled=code in piece.spec.sizes_um, default=None if code in NEVER_FILLED else size.default_um,
            allowed=_waists(piece) if code in NEVER_FILLED else _made(size),
        )  # fmt: skip
    for code, given in piece.spec.sizes_um.items():
        own = pattern.sizes.get(code)
        yield Choice(
            "lug" if code == "lug_mm" and own is not None else "size", f"/sizes/{code}",
            f"{mm_text(given)} mm", _SIZE_WORDS.get(code, code), offered=own is not None and _offers(own, given),
            default=None if own is None else own.default_um,
            allowed=() if own is None else _made(own),
        )  # fmt: skip


def _offers(size: Size, given: int) -> bool:
    if size.offered_um:
        return given in size.offered_um
    low, high = size.min_um, size.max_um
    return (low is None or low <= given) and (high is None or given <= high)


def _waists(piece: Piece) -> tuple[str, ...]:
    """Return the lengths from buckle fold to middle hole that a belt can be cut for, in words."""
    low, high = waists_um(piece)
    return (f"{mm_text(low)} to {mm_text(high)} mm",)


def waists_um(piece: Piece) -> tuple[int, int]:
    """Return the shortest and longest figure from buckle fold to middle hole that a belt can be cut for, um."""
    turn, tail = piece.threshold("belt_buckle_turn_mm"), piece.threshold("belt_tail_mm")
    around = turn + tail + piece.threshold("cut_allowance_length_mm")
    low, high = (piece.threshold(f"belt_cut_{end}_mm") - around for end in ("min", "max"))
    return int(low), int(high)


def _made(size: Size) -> tuple[str, ...]:
    """Return the values that are made, or the range in words."""
    if size.min_um is not None and size.max_um is not None:
        return (f"{mm_text(size.min_um)} to {mm_text(size.max_um)} mm",)
    return tuple(mm_text(each) for each in size.offered_um)


def mm_text(um: int) -> str:
    """Return micrometers as a figure of millimeters."""
    return text_in(um, "mm")


def _modifications(piece: Piece, _: Group) -> Iterator[Choice]:
    pattern = _patterned(piece)
    for place, code in enumerate(piece.spec.modifications):
        known = piece.indexes.modifications.code(code)
        yield Choice(
            "modification", f"/modifications/{place}", known, "modification",
            offered=known in pattern.modifications, allowed=pattern.modifications,
        )  # fmt: skip


def _purpose(piece: Piece, _: Group) -> Iterator[Choice]:
    pattern = _patterned(piece)
    if pattern.load.load_class != "bearing":
        return
    purpose = piece.spec.purpose
    yield Choice(
        "use",
        "/purpose/use",
        words="use",
        required=True,
        filled=purpose.use is not None,
        allowed=pattern.uses,
    )
    if pattern.load.scales_with_dog:
        yield Choice(
            "dog_kg", "/purpose/dog_kg", words="weight of the dog", required=True,
            filled=purpose.dog_kg is not None, allowed=("the weight in kg",),
        )  # fmt: skip


def _monogram(piece: Piece, _: Group) -> Iterator[Choice]:
    monogram = piece.spec.monogram
    if monogram is None:
        return
    methods = dict.fromkeys(method for face in piece.catalog.typefaces.values() for method in face.methods)
    for what, given, allowed in (
        ("method", monogram.method, tuple(methods)),
        ("typeface", monogram.typeface, tuple(piece.catalog.typefaces)),
    ):
        yield Choice(
            f"monogram_{what}", f"/monogram/{what}", words=f"monogram {what}", required=True,
            filled=given is not None, allowed=allowed,
        )  # fmt: skip
    if monogram.typeface is not None:
        yield _code(piece, "typeface", "/monogram/typeface", monogram.typeface, piece.indexes.typefaces, "typeface")
    if monogram.method == "foil":
        yield Choice(
            "foil", "/monogram/foil", words="foil", required=True, filled=monogram.foil is not None,
            allowed=tuple(code for code, foil in piece.catalog.foils.items() if foil.left_um > 0),
        )  # fmt: skip
    if monogram.foil is not None:
        yield _code(piece, "foil", "/monogram/foil", monogram.foil, piece.indexes.foils, "foil")


def _named_uses(piece: Piece, _: Group) -> Iterator[Choice]:
    purpose, catalog = piece.spec.purpose, piece.catalog
    # What is refused is never suggested: "lifting" must not answer a slip of the pen.
    uses = Index({code: grade for code, grade in catalog.uses.items() if grade == "fine"})
    claims = Index({code: grade for code, grade in catalog.claims.items() if grade == "fine"})
    if purpose.use is not None:
        yield _code(piece, "use", "/purpose/use", purpose.use, piece.indexes.uses, "use", uses)
    for place, claim in enumerate(purpose.claims):
        yield _code(piece, "claim", f"/purpose/claims/{place}", claim, piece.indexes.claims, "claim", claims)


def _carry(piece: Piece, _: Group) -> Iterator[Choice]:
    carry = piece.spec.carry
    asked = [(f"/carry/notes/{place}/item", note.item, "note") for place, note in enumerate(carry.notes)]
    if carry.business_cards is not None:
        asked.append(("/carry/business_cards/item", carry.business_cards.item, "business_card"))
    if carry.notebook is not None and carry.notebook.item is not None:
        asked.append(("/carry/notebook/item", carry.notebook.item, "notebook"))
    asked += [(f"/carry/tools/{place}/item", tool, "tool") for place, tool in enumerate(carry.tools)]
    for at, given, group in asked:
        of_group = Index({c: item for c, item in piece.catalog.carry_items.items() if item.group == group})
        yield _code(piece, "carry_item", at, given, of_group, group.replace("_", " "))


def _lots(piece: Piece, _: Group) -> Iterator[Choice]:
    nothing: Index[Any] = Index({})
    for part, codes in piece.spec.lots.items():
        if piece.pattern is not None and part not in piece.pattern.parts:
            yield Choice("part", f"/lots/{part}", part, part, belongs=False, allowed=piece.pattern.parts)
            continue
        asked = piece.spec.parts.get(part)
        leather = None if asked is None else piece.indexes.leathers.find(asked.leather)
        if leather is None:
            continue  # which lots would do is not known, and the leather has its own finding
        own = Index({lot.code: lot for lot in piece.catalog.lots.values() if lot.leather == leather.code})
        for place, code in enumerate(codes):
            yield _code(piece, "lot", f"/lots/{part}/{place}", code, own, "lot", nothing)


Lists = Callable[[Piece, Group], Iterable[Choice]]


@dataclass(frozen=True, slots=True)
class List:
    """One list of choices and what it depends on beside the pattern.

    ``by_part``: one list for each of the pattern's parts. Whether a part's leather is known
    at all is settled before any list is asked for. ``only_with``: empty while that is.
    """

    listed: Lists
    reads: frozenset[str] = frozenset()
    by_part: bool = False
    only_with: str = ""


LISTS = (
    List(_pattern),
    List(_part, frozenset({"leather"}), by_part=True),
    List(_foreign_parts, frozenset({"foreign"}), only_with="foreign"),
    List(_thread, frozenset({"thread"})),
    List(_stitch, frozenset({"stitch"})),
    List(_edge, frozenset({"edge"})),
    List(_hardware, frozenset({"hardware"})),
    List(_sizes, frozenset({"sizes"})),
    List(_modifications, frozenset({"modifications"}), only_with="modifications"),
    List(_purpose, frozenset({"purpose"})),
    List(_monogram, frozenset({"monogram"}), only_with="monogram"),
    List(_named_uses, frozenset({"purpose"}), only_with="purpose"),
    List(_carry, frozenset({"carry"}), only_with="carry"),
    List(_lots, frozenset({"named", "leather"}), only_with="named"),
)
