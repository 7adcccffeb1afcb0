"""Slots as a caller sees them, by JSON Pointer into a spec, over the slots that rules read.

A part's leather and side are one choice, whatever lot it is cut from; the components of a monogram, the places for
hardware and the sizes are choices of their own though rules read each group as one.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from rules.diagram.constraint import Bools
from rules.echo import mm
from rules.guide.domain import Domain, Matched, Slot
from rules.piece import GRAIN, MATCH, Piece


@dataclass(frozen=True, eq=False)
class View:
    """One slot of a spec: the options that it has, and what each value of a slot of the domain means for it.

    ``options`` are JSON values, None for nothing; ``codes`` gives the option of each value (-1: none of them), or
    where several may be chosen side by side ``holds`` the options that each value holds.
    """

    pointer: str
    slot: int
    options: tuple[Any, ...]
    codes: NDArray[np.intp]
    holds: tuple[Bools, ...] = ()

    def of(self, option: int) -> Bools:
        """Return the values that mean an option."""
        return self.holds[option] if self.holds else self.codes == option

    def answers(self, pointer: str) -> bool:
        """Whether a choice at a pointer is the one that the options are alternatives to."""
        return pointer == self.pointer or (pointer == "/monogram" and self.pointer == "/monogram/method")


@dataclass(frozen=True, eq=False)
class Chosen:
    """What a spec has chosen: the pointer, the JSON value, and the values of a slot of the domain that are left."""

    pointer: str
    slot: int
    value: Any
    values: Bools

    @property
    def heard(self) -> bool:
        """Whether there is any such value."""
        return bool(self.values.any())


def views_of(domain: Domain, chosen: Sequence[Chosen] = ()) -> tuple[View, ...]:
    """Return the slots of a spec in a fixed order: parts, then as :data:`rules.guide.domain.WHOLE` lists them.

    Where several may be chosen side by side, nothing means nothing beyond what is ``chosen``.
    """
    return tuple(view for number, slot in enumerate(domain.slots) for view in _views(domain, number, slot, chosen))


def _views(domain: Domain, number: int, slot: Slot, chosen: Sequence[Chosen]) -> Iterator[View]:
    if slot.read == "part":
        yield _view(
            f"/parts/{slot.part}", number, slot,
            lambda value: (value.leather, value.side), lambda key: {"leather": key[0], "side": key[1]},
        )  # fmt: skip
    elif slot.read == "hardware":
        for place in domain.pattern.fixings:
            yield _view(f"/hardware/{place}", number, slot, _named(place))
    elif slot.read == "sizes":
        for size in domain.pattern.sizes:
            yield _view(f"/sizes/{size}", number, slot, _named(size), mm)
    elif slot.read == "monogram":
        for name in COMPONENTS:
            yield _view(f"/monogram/{name}", number, slot, _component_of(name))
    elif slot.read == "modifications":
        codes = domain.pattern.modifications
        holds = [np.array([code in value for value in slot.values], dtype=bool) for code in codes]
        own = {each.value for each in chosen if each.slot == number and each.value is not None}
        nothing = np.array([own == set(value) for value in slot.values], dtype=bool)
        yield View("/modifications", number, (None, *codes), np.zeros(0, dtype=np.intp), (nothing, *holds))
    elif slot.read == "purpose":
        yield _view("/purpose/use", number, slot, lambda value: value.use)
    else:
        yield _view(f"/{slot.read}", number, slot, lambda value: None if isinstance(value, Matched) else value)


def _named(name: str) -> Callable[[Any], Any]:
    return lambda pairs: dict(pairs).get(name)


def _component_of(name: str) -> Callable[[Any], Any]:
    return lambda monogram: None if monogram is None else getattr(monogram, name)


def _holding(code: str) -> Callable[[Any], bool]:
    return lambda codes: code in codes


#: What a monogram is chosen by, beside its letters.
COMPONENTS: Final = ("method", "typeface", "zone", "foil")


def _view(
    pointer: str, number: int, slot: Slot, key_of: Callable[[Any], Hashable],
    shown: Callable[[Any], Any] = lambda key: key,
) -> View:  # fmt: skip
    matched = any(isinstance(value, Matched) for value in slot.values)
    places: dict[Hashable, int] = {}
    codes = np.full(len(slot.values), -1, dtype=np.intp)
    for at, value in enumerate(slot.values):
        key = key_of(value)
        if key is None and matched:
            continue  # a match is no option: it comes to one of the others
        codes[at] = places.setdefault(key, len(places))
    return View(pointer, number, tuple(None if key is None else shown(key) for key in places), codes)


def views_beside(domain: Domain, views: Sequence[View], chosen: Sequence[Chosen]) -> tuple[View, ...]:
    """Return views of a domain beside what is chosen: what nothing further means may be otherwise."""
    return tuple(
        next(_views(domain, view.slot, domain.slots[view.slot], chosen)) if view.holds else view for view in views
    )


def chosen_in(domain: Domain, piece: Piece, left_out: Iterable[str] = ()) -> tuple[Chosen, ...]:
    """Return what a piece's spec has chosen in the slots of a domain, in their order.

    ``left_out`` are pointers of what is to stay empty: the monogram, a place for hardware, further modifications.
    """
    found = [each for number, slot in enumerate(domain.slots) for each in _chosen(piece, number, slot)]
    for pointer in left_out:
        found += _left_out(domain, pointer, found)
    return tuple(found)


def foreign_in(piece: Piece) -> tuple[str, ...]:
    """Return pointers of what a spec has chosen for parts, places and sizes that its pattern lacks."""
    spec, pattern = piece.spec, piece.pattern
    if pattern is None:
        return ()
    return (
        *(f"/parts/{part}" for part in spec.parts if part not in pattern.parts),
        *(f"/hardware/{place}" for place in spec.hardware if place not in pattern.fixings),
        *(f"/sizes/{size}" for size in spec.sizes_um if size not in pattern.sizes),
        *(f"/lots/{part}" for part in spec.lots if part not in pattern.parts),
    )


def _left_out(domain: Domain, pointer: str, chosen: Sequence[Chosen]) -> list[Chosen]:
    """Return that a slot is to stay empty, as a choice; one that has no such option is not heard."""
    asked = f"{pointer}/method" if pointer == "/monogram" else pointer
    slots = [
        number for number, slot in enumerate(domain.slots) if asked.startswith((f"/{slot.read}", f"/parts/{slot.part}"))
    ]
    views = (view for number in slots for view in _views(domain, number, domain.slots[number], chosen))
    view = next((view for view in views if view.pointer == asked), None)
    if view is None:
        return []
    at = next((place for place, value in enumerate(view.options) if value is None), None)
    none = np.zeros(len(domain.slots[view.slot].values), dtype=bool)
    return [Chosen(pointer, view.slot, None, none if at is None else view.of(at))]


def _chosen(piece: Piece, number: int, slot: Slot) -> Iterator[Chosen]:
    return _CHOSEN[slot.read](piece, number, slot)


def _chosen_color(piece: Piece, number: int, slot: Slot) -> Iterator[Chosen]:
    """Return a thread or an edge, which may be to match the outside."""
    given = getattr(piece.spec, slot.read)
    if given is None:
        return
    if given.casefold() == MATCH:
        yield _is(slot, number, f"/{slot.read}", MATCH, lambda value: isinstance(value, Matched))
        return
    code = (piece.indexes.threads if slot.read == "thread" else piece.indexes.edges).code(given)
    yield _is(slot, number, f"/{slot.read}", code, lambda value: value == code)


def _chosen_stitch(piece: Piece, number: int, slot: Slot) -> Iterator[Chosen]:
    if piece.spec.stitch is not None:
        stitch = piece.spec.stitch.lower()
        yield _is(slot, number, "/stitch", stitch, lambda value: value == stitch)


def _chosen_hardware(piece: Piece, number: int, slot: Slot) -> Iterator[Chosen]:
    own = piece.pattern.fixings if piece.pattern is not None else {}
    for place, code in ((place, code) for place, code in piece.spec.hardware.items() if place in own):
        known = piece.indexes.hardware.code(code)
        yield _is(slot, number, f"/hardware/{place}", known, _has(place, known))


def _chosen_sizes(piece: Piece, number: int, slot: Slot) -> Iterator[Chosen]:
    own = piece.pattern.sizes if piece.pattern is not None else {}
    for size, um in ((size, um) for size, um in piece.spec.sizes_um.items() if size in own):
        yield _is(slot, number, f"/sizes/{size}", mm(um), _has(size, um))


def _chosen_modifications(piece: Piece, number: int, slot: Slot) -> Iterator[Chosen]:
    for code in piece.modifications:
        yield _is(slot, number, f"/modifications/{code}", code, _holding(code))


def _chosen_purpose(piece: Piece, number: int, slot: Slot) -> Iterator[Chosen]:
    if piece.spec.purpose.use is not None:
        use = piece.use
        yield _is(slot, number, "/purpose/use", use, lambda value: value.use == use)


def _chosen_part(piece: Piece, number: int, slot: Slot) -> Iterator[Chosen]:
    asked = piece.spec.parts.get(slot.part)
    if asked is None or (asked.leather is None and asked.side is None):
        return
    leather = None if asked.leather is None else piece.indexes.leathers.code(asked.leather)
    side = asked.side or GRAIN
    shown = {"leather": leather, "side": side}
    yield _is(
        slot, number, f"/parts/{slot.part}", shown,
        lambda value: value.side == side and (leather is None or value.leather == leather),
    )  # fmt: skip


def _chosen_monogram(piece: Piece, number: int, slot: Slot) -> Iterator[Chosen]:
    asked = piece.spec.monogram
    if asked is None:
        return
    yield _is(slot, number, "/monogram", {"text": asked.text}, lambda value: value is not None)
    indexes = piece.indexes
    given = {
        "method": None if asked.method is None else asked.method.lower(),
        "typeface": None if asked.typeface is None else indexes.typefaces.code(asked.typeface),
        "zone": None if asked.zone is None else (asked.zone if piece.zone is None else piece.zone.code),
        "foil": None if asked.foil is None else indexes.foils.code(asked.foil),
    }
    known = indexes.foils.find(asked.foil) is not None
    unused = known and given["method"] not in (None, "foil")  # one that does not exist is told of all the same
    for name, code in given.items():
        if code is not None and (name != "foil" or not unused):
            yield _is(slot, number, f"/monogram/{name}", code, _component(name, code, known=known))


_CHOSEN: Final[Mapping[str, Callable[[Piece, int, Slot], Iterator[Chosen]]]] = MappingProxyType(
    {
        "part": _chosen_part, "thread": _chosen_color, "edge": _chosen_color, "stitch": _chosen_stitch,
        "hardware": _chosen_hardware, "sizes": _chosen_sizes, "modifications": _chosen_modifications,
        "monogram": _chosen_monogram, "purpose": _chosen_purpose,
    }
)  # fmt: skip


def _component(name: str, code: str, *, known: bool) -> Callable[[Any], bool]:
    """Whether a value has a component; a foil that is ``known`` counts only where there is foil."""
    if name == "foil" and known:
        return lambda value: value is not None and (value.method != "foil" or value.foil == code)
    return lambda value: value is not None and getattr(value, name) == code


def _has(name: str, value: Hashable) -> Callable[[Any], bool]:
    own = _named(name)
    return lambda pairs: bool(own(pairs) == value)


def _is(slot: Slot, number: int, pointer: str, shown: Any, holds: Callable[[Any], bool]) -> Chosen:
    return Chosen(pointer, number, shown, np.array([bool(holds(value)) for value in slot.values], dtype=bool))


def left_by(domain: Domain, chosen: Sequence[Chosen]) -> list[Bools]:
    """Return the values that choices leave of each slot."""
    left = [np.ones(size, dtype=bool) for size in domain.sizes]
    for each in chosen:
        left[each.slot] &= each.values
    return left
