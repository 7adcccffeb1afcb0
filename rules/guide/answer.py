"""What can still be chosen: every option of every slot, exact, with its cheapest total."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np

from rules.diagram.constraint import Allowed, Bools, TooEntangledError
from rules.diagram.passes import NONE
from rules.guide.counts import Counts
from rules.guide.situation import LEVELS, Situation, situation_of
from rules.guide.views import Chosen, View, chosen_in, foreign_in, left_by, views_beside
from rules.piece import Piece
from rules.shop import Shop
from rules.spec import Spec

OPEN, SIGN_OFF, CLOSED = "open", "sign_off", "closed"


@dataclass(frozen=True, slots=True)
class Option:
    """One value that a slot may take.

    ``state``: open (some buildable spec uses it), sign_off (only with the maker's agreement), closed (none does).
    Totals are those of an order in minor units, None where it is closed or not worked out; ``completions`` counts the
    specs, lots not told apart.
    """

    value: Any
    state: str
    cheapest_minor: int | None = None
    dearest_minor: int | None = None
    completions: int | None = None


@dataclass(frozen=True, slots=True)
class Guided:
    """A slot with its options; ``chosen`` is what the spec says of it, None where it is open."""

    pointer: str
    chosen: Any
    options: tuple[Option, ...]


@dataclass(frozen=True)
class Guidance:
    """What can still be chosen, all other choices kept.

    ``possible``: the choices that exist may stand together, if the maker agrees. ``unheard`` are choices that do not
    exist; the other slots are answered as if they had not been made. Where it is not ``exact``, states are all the
    same, but totals are not worked out: the pattern is too entangled to be compiled. With totals and not exact, a
    leather has so many lots that a part cut from very many of them was not looked at.
    """

    state: str
    slots: tuple[Guided, ...]
    chosen: tuple[Chosen, ...]
    unheard: tuple[str, ...]
    situation: Situation = field(repr=False)
    piece: Piece = field(repr=False)
    possible: bool
    exact: bool = True


def guide(
    shop: Shop, spec: Spec, today: date, *, figures: bool = False, left_out: Iterable[str] = ()
) -> Guidance:  # fmt: skip
    """Return what can still be chosen where a spec has chosen something.

    Args:
        shop: as it stands; its stock counts.
        spec: partial or complete; its pattern must be known.
        today: the day.
        figures: also the dearest totals and the number of specs.
        left_out: pointers of slots that are to stay empty though a spec cannot say so: ``/monogram``,
            ``/modifications`` (nothing further), ``/hardware/<place>``.

    Raises:
        ValueError: no pattern is known.
    """
    situation = situation_of(shop, spec, today)
    domain = situation.domain
    piece = shop.piece(spec)
    chosen = chosen_in(domain, piece, left_out)
    heard = tuple(each for each in chosen if each.heard)
    left = left_by(domain, heard)
    asked = {level: _Asked(situation, name, level, left, figures=figures) for name, level in LEVELS.items()}
    state = next((each.name for each in asked.values() if each.feasible), CLOSED)
    told = {each.pointer: each.value for each in chosen}
    slots = tuple(
        Guided(view.pointer, _told(view, told), tuple(_options(view, heard, list(asked.values()))))
        for view in views_beside(domain, situation.views, heard)
    )
    unheard = (*(each.pointer for each in chosen if not each.heard), *foreign_in(piece))
    exact = all(each.exact for each in asked.values()) and not domain.limited
    return Guidance(CLOSED if unheard else state, slots, chosen, unheard, situation, piece, state != CLOSED, exact)


def _told(view: View, told: dict[str, Any]) -> Any:
    if view.holds:
        return [value for pointer, value in told.items() if pointer.startswith(f"{view.pointer}/")]
    return told.get(view.pointer)


class _Asked:
    """The answers of one level: which values are possible, and what they come to.

    Where the pattern is too entangled to be compiled they come from clauses: exact, but without totals.
    """

    def __init__(self, situation: Situation, name: str, level: int, left: Allowed, *, figures: bool) -> None:
        self.name = name
        self.exact = True
        self._situation = situation
        self.alive = situation.alive(level)
        self._counts: Counts | None = None
        none = [np.zeros(size, dtype=bool) for size in situation.domain.sizes]
        self._cheapest = self._dearest = [np.full(size, NONE, dtype=np.int64) for size in situation.domain.sizes]
        allow = [one & other for one, other in zip(left, self.alive, strict=True)]
        if situation.never(level):
            self.feasible, self._possible = False, none
            return
        try:
            diagram = situation.diagram(level)
        except TooEntangledError:
            self.exact = False
            self.feasible, self._possible = situation.possible(level, allow)
            return
        prices = situation.prices.alone
        best, self._cheapest = diagram.cheapest(allow, prices)
        self.feasible, self._possible = best is not None, [own != NONE for own in self._cheapest]
        if figures:
            self._dearest = diagram.dearest(allow, prices)[1]
            self._counts = situation.specs(level).count(left)

    def option(self, value: Any, slot: int, values: Bools) -> Option | None:
        """Return an option that some values stand for, None where it has no completion here."""
        own = values & self.alive[slot] & self._possible[slot]
        if not own.any():
            return None
        if not self.exact:
            return Option(value, self.name)
        prices = self._situation.prices
        cheapest = prices.total_minor(int(self._cheapest[slot][own].min()))
        if self._counts is None:
            return Option(value, self.name, cheapest)
        dearest = prices.total_minor(int(self._dearest[slot][own].max()))
        return Option(value, self.name, cheapest, dearest, self._counts.of(slot, values))


def _options(view: View, chosen: Sequence[Chosen], asked: Sequence[_Asked]) -> list[Option]:
    """Return the options of a view, all other choices kept."""
    others = np.ones(len(asked[0].alive[view.slot]), dtype=bool)
    for each in chosen:
        if each.slot == view.slot and not view.answers(each.pointer):
            others &= each.values
    found = []
    for place, value in enumerate(view.options):
        values = view.of(place) & others
        options = (each.option(value, view.slot, values) for each in asked)
        found.append(next((each for each in options if each is not None), Option(value, CLOSED)))
    return found
