"""The nearest specs that can be made, proven: fewest choices changed, then nearest in color, then cheapest.

A leather and its side are two choices. What is absent and need not be there counts as chosen to be absent; what has to
be there and is open is filled as the pattern usually has it, as far as that can stand, and never with what only the
customer knows.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import numpy as np

from catalog.color import de00_milli
from catalog.model import Catalog, Swatch
from rules.defaults import fill_gaps
from rules.diagram.clash import Choice
from rules.diagram.constraint import Allowed, Bools, Whole
from rules.diagram.repair import Repair, nearest
from rules.guide.answer import Guidance
from rules.guide.domain import Domain, Slot
from rules.guide.patches import Change, change_to
from rules.guide.situation import LEVELS, Situation, situation_of
from rules.guide.views import Chosen, chosen_in, foreign_in
from rules.piece import GRAIN, Index, Piece
from rules.shop import Shop
from rules.spec import Spec

#: Ways out, lots told apart, that are looked at for specs that differ.
MOST_WAYS: Final = 400
OUTCOME: Final[Mapping[str, str]] = {"open": "buildable", "sign_off": "sign_off"}


@dataclass(frozen=True, slots=True)
class Near:
    """A spec that can be made, ``changes`` choices away; ``distance_milli`` in CIEDE2000, thousandths, summed."""

    change: Change
    outcome: str
    changes: int
    distance_milli: int
    total_minor: int

    @property
    def nearness(self) -> tuple[int, int, bool, int, str]:
        """Fewest changes first, then color; of equals the better outcome, then the lower price."""
        return self.changes, self.distance_milli, self.outcome != "buildable", self.total_minor, self.change.says


def nearest_specs(shop: Shop, spec: Spec, today: date, at_most: int, *, below: str = "refused") -> list[Near]:
    """Return the nearest specs of a better outcome than ``below`` (refused, sign_off), the nearest first.

    Those of fewest changes, nearest and cheapest, proven: none that is nearer is left out. None where the facts of the
    order alone stand in the way, where something lacks that only the customer knows, or where the pattern is unknown.

    Raises:
        TooEntangledError: the pattern is too entangled to be compiled.
    """
    piece = shop.piece(spec)
    if piece.pattern is None or at_most < 1 or _asks_the_customer(piece):
        return []
    asked = _whole(situation_of(shop, spec, today), piece)
    return _first(asked, [name for name in LEVELS if below == "refused" or name == "open"], at_most)


def ways_out(guidance: Guidance, at_most: int) -> list[Near]:
    """Return the nearest ways out of a clash: what to change of the choices made, all that is open left open.

    Their totals are those of the cheapest spec that each leads to. Nothing where the choices stand together, or where
    none can: the facts of the order alone stand in the way.

    Raises:
        TooEntangledError: the pattern is too entangled to be compiled.
    """
    situation = guidance.situation
    domain = situation.domain
    choices = [choice for each in guidance.chosen for choice in _choices(domain, each)]
    distances = _all_distances(domain, guidance.piece, guidance.chosen)
    asked = _Asked(situation, guidance.piece, choices, situation.fits, distances, {}, partial=True)
    return [] if guidance.possible else _first(asked, list(LEVELS), at_most)


def _first(asked: _Asked, levels: Sequence[str], at_most: int) -> list[Near]:
    """Return the nearest of some levels, no change twice."""
    found = [near for name in levels for near in asked.at(name, at_most)]
    first: dict[str, Near] = {}
    for near in sorted(found, key=lambda near: near.nearness):
        first.setdefault(repr(near.change.patch), near)
    return list(first.values())[:at_most]


def _asks_the_customer(piece: Piece) -> bool:
    """Whether something lacks that is never filled in."""
    pattern, spec = piece.pattern, piece.spec
    if pattern is None:
        return True
    purpose = piece.bearing and (
        spec.purpose.use is None or (pattern.load.scales_with_dog and spec.purpose.dog_kg is None)
    )
    return purpose or any(
        size.default_um is None and not size.offered_um and code not in spec.sizes_um
        for code, size in pattern.sizes.items()
    )


def _whole(situation: Situation, piece: Piece) -> _Asked:
    """Return all that a spec asks, what it leaves open filled as usual."""
    domain = situation.domain
    chosen = chosen_in(domain, piece)
    # What does not exist is given up whatever is taken: a choice of no value at all.
    choices = [*(choice for each in chosen for choice in _choices(domain, each)), *_absent(domain, piece, chosen)]
    allow = [one & other for one, other in zip(situation.fits, _fillable(domain, piece), strict=True)]
    distances = _all_distances(domain, piece, chosen)
    filled, _ = fill_gaps(piece.spec, piece.indexes)
    usual = {each.slot: each.values for each in chosen_in(domain, domain.shop.piece(filled)) if each.heard}
    decided = {choice.slot for choice in choices}
    usual = {slot: values for slot, values in usual.items() if slot not in decided}
    return _Asked(situation, piece, choices, allow, distances, usual, partial=False)


@dataclass(frozen=True, eq=False)
class _Asked:
    """What is asked of a situation, as choices that may be given up; ``partial``: what is open stays open."""

    situation: Situation
    piece: Piece
    choices: Sequence[Choice]
    allow: Allowed
    distances: Sequence[Whole]
    usual: Mapping[int, Bools]
    partial: bool

    def at(self, name: str, at_most: int) -> Iterator[Near]:
        """Give the nearest specs of one level."""
        situation, level = self.situation, LEVELS[name]
        if situation.never(level):
            return
        allow = [one & other for one, other in zip(self.allow, situation.alive(level), strict=True)]
        diagram = situation.diagram(level)
        prices = self._prices(allow)
        asked = at_most
        while True:
            found = nearest(diagram, allow, self.choices, self.distances, prices, asked)
            near = [self._near(name, repair) for repair in found]
            # The same spec may be cut from several lots: more are asked for until enough differ.
            if len(found) < asked or asked > MOST_WAYS or len({repr(each.change.patch) for each in near}) >= at_most:
                yield from near
                return
            asked *= 4

    def _prices(self, allow: Allowed) -> list[Whole]:
        """Return the prices, and beside them so much that what is usual is taken wherever it may stand."""
        prices = [each.copy() for each in self.situation.prices.alone]
        most = 1 + sum(int(own[open_].max(initial=0)) for own, open_ in zip(prices, allow, strict=True))
        most += sum(int(each.amounts.max()) for each in self.situation.amounts)
        for slot, values in self.usual.items():
            prices[slot][~values] += most
        return prices

    def _near(self, name: str, repair: Repair) -> Near:
        situation = self.situation
        only = repair.changes.keys() if self.partial else None
        change = change_to(situation.domain, self.piece, repair.witness, only)
        total = situation.total_minor(repair.witness)
        # A spec may need the maker's agreement cut from these lots and none cut from others.
        name = "open" if name == "open" or situation.stands(LEVELS["open"], repair.witness) else name
        return Near(change, OUTCOME[name], len(repair.given_up) + len(foreign_in(self.piece)), repair.distance, total)


def _choices(domain: Domain, chosen: Chosen) -> Iterator[Choice]:
    """Give what is chosen as choices; a leather and its side are two."""
    slot = domain.slots[chosen.slot]
    if slot.read == "monogram" and chosen.pointer != "/monogram":
        # To leave the letters out is one change, however much was said of them.
        none = np.array([value is None for value in slot.values], dtype=bool)
        yield Choice(chosen.pointer, chosen.slot, chosen.values | (none if chosen.heard else False))
    elif slot.read != "part":
        yield Choice(chosen.pointer, chosen.slot, chosen.values)
    else:
        yield from _choices_of_part(slot, chosen)


def _choices_of_part(slot: Slot, chosen: Chosen) -> Iterator[Choice]:
    leather, side = chosen.value["leather"], chosen.value["side"]
    if not chosen.heard:
        yield Choice(chosen.pointer, chosen.slot, chosen.values)
        return
    if leather is not None:
        own = [value.leather == leather for value in slot.values]
        yield Choice(f"{chosen.pointer}/leather", chosen.slot, np.array(own, dtype=bool))
    own = [value.side == side for value in slot.values]
    yield Choice(f"{chosen.pointer}/side", chosen.slot, np.array(own, dtype=bool))


def _absent(domain: Domain, piece: Piece, chosen: Sequence[Chosen]) -> Iterator[Choice]:
    """Give what is absent and need not be there, as a choice."""
    there = {each.pointer for each in chosen}
    for number, slot in enumerate(domain.slots):
        if slot.read == "modifications":
            for code in domain.pattern.modifications:
                if f"/modifications/{code}" not in there:
                    own = [code not in value for value in slot.values]
                    yield Choice(f"/modifications/{code}", number, np.array(own, dtype=bool))
        elif slot.read == "hardware":
            for place, fixing in domain.pattern.fixings.items():
                if not fixing.required and place not in piece.spec.hardware:
                    own = [place not in dict(value) for value in slot.values]
                    yield Choice(f"/hardware/{place}", number, np.array(own, dtype=bool))
        elif slot.read == "part" and f"/parts/{slot.part}" not in there:
            own = [value.side == GRAIN for value in slot.values]
            yield Choice(f"/parts/{slot.part}/side", number, np.array(own, dtype=bool))


def _fillable(domain: Domain, piece: Piece) -> Allowed:
    """Return the values that may be taken without asking the customer: no letters that nobody ordered."""
    found = [np.ones(len(slot.values), dtype=bool) for slot in domain.slots]
    asked = piece.spec.monogram
    for number, slot in enumerate(domain.slots):
        if slot.read == "monogram":
            lacks = asked is None or None in (asked.method, asked.typeface, asked.zone)
            found[number] = np.array(
                [
                    value is None or not (lacks or (value.method == "foil" and (asked is None or asked.foil is None)))
                    for value in slot.values
                ],
                dtype=bool,
            )
    return found


def _all_distances(domain: Domain, piece: Piece, chosen: Sequence[Chosen]) -> list[Whole]:
    """Return how far each value of each slot lies from what was chosen, or was probably meant."""
    found = [_distances(domain, piece, slot) for slot in domain.slots]
    for each in chosen:
        if not each.heard:
            found[each.slot] += _unlike(domain, piece, each)
    return found


def _distances(domain: Domain, piece: Piece, slot: Slot) -> Whole:
    """Return how far in color each value lies from what was chosen, thousandths of CIEDE2000; 0 without colors."""
    own = _swatch_chosen(piece, slot)
    catalog = domain.shop.catalog
    found: dict[Any, int] = {}
    for value in slot.values:
        key = value.leather if slot.read == "part" else value
        if key not in found:
            other = _swatch_of(catalog, slot, key)
            found[key] = 0 if own is None or other is None else de00_milli(own, other)
    keys = [value.leather if slot.read == "part" else value for value in slot.values]
    return np.array([found[key] for key in keys], dtype=np.int64)


def _unlike(domain: Domain, piece: Piece, chosen: Chosen) -> Whole:
    """Return the least distance for every value but the one that was probably meant: spelled alike, else usual."""
    slot, indexes = domain.slots[chosen.slot], piece.indexes
    index: Mapping[str, Index[Any]] = {"thread": indexes.threads, "edge": indexes.edges}
    if slot.read == "part":
        meant = indexes.leathers.nearest(str(chosen.value["leather"])) or domain.pattern.default_parts.get(slot.part)
        return np.array([value.leather != meant for value in slot.values], dtype=np.int64)
    if slot.read in index:
        usual = domain.pattern.default_thread if slot.read == "thread" else domain.pattern.default_edge
        meant = index[slot.read].nearest(str(chosen.value)) or usual
        return np.array([value != meant for value in slot.values], dtype=np.int64)
    return np.zeros(len(slot.values), dtype=np.int64)


def _swatch_chosen(piece: Piece, slot: Slot) -> Swatch | None:
    match slot.read:
        case "part":
            leather = piece.parts[slot.part].leather
            return None if leather is None else leather.swatch
        case "thread":
            return None if piece.thread is None else piece.thread.swatch
        case "edge":
            return None if piece.edge is None else piece.edge.swatch
        case _:
            return None


def _swatch_of(catalog: Catalog, slot: Slot, code: Any) -> Swatch | None:
    match slot.read:
        case "part":
            return catalog.leathers[code].swatch
        case "thread":
            return catalog.threads[code].swatch if code in catalog.threads else None
        case "edge":
            return catalog.edges[code].swatch if code in catalog.edges else None
        case _:
            return None
