"""Pinning: is a figure held in its place? It is, if some example comes out otherwise once it is moved by a step.

Every figure of the thresholds is moved, and the figures of patterns, kinds, lots and supplies that worked orders
say they hold (``holds``), one step up and one step down. What no example of the rules and no worked order notices
could have been mistyped by that much, and nobody would know.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final, Literal

from catalog.figures import Figure, figure_at, with_figures
from catalog.model import Catalog, Threshold
from catalog.units import UNITS
from catalog.vocabulary import GRADES
from rules.examples import outcome_of_example, severity_of_example
from rules.ir import Graded, Limit, Name, Rule, Scaled, names_in
from rules.shop import Shop
from rules.vocabulary import TERMS
from rules.worked import Outcome, WorkedOrder, outcome_of, reckoned

#: One step by unit: what a hand slips by, or a scale shows (common practice, no source). Of any other unit it is one.
STEPS: Final[Mapping[str, Decimal]] = {
    "mm": Decimal("0.05"),
    "ratio": Decimal("0.01"),
    "m": Decimal("0.1"),
    "dm2": Decimal("0.1"),
    "de00": Decimal("0.5"),
    "lightness": Decimal("0.5"),
}
Direction = Literal["up", "down"]
DIRECTIONS: Final[tuple[Direction, ...]] = ("up", "down")
# What a limit may read to be a figure of the catalog rather than of the spec.
_OF_THE_CATALOG: Final = frozenset(
    {"pattern", "leather", "lots", "stock", "hardware", "monogram", "edge", "thread", "backlog"}
)


@dataclass(frozen=True, slots=True)
class Move:
    """A figure, moved one step. ``step`` is in the unit of the figure ("" for a grade), ``to`` as a file writes it."""

    path: str
    unit: str
    direction: Direction
    step: Decimal
    to: Decimal | str


@dataclass(frozen=True, slots=True)
class Pinning:
    """What became of all moves: those that something noticed, by what, and those that nothing did."""

    caught: Mapping[Move, str]
    unpinned: tuple[Move, ...]

    @property
    def total(self) -> int:
        """How many moves were tried."""
        return len(self.caught) + len(self.unpinned)


def step_in(unit: str) -> Decimal:
    """Return one step of a unit, in that unit."""
    return STEPS.get(unit, Decimal(1))


def moves_of(catalog: Catalog, orders: Sequence[WorkedOrder]) -> list[Move]:
    """Return every move to try: of every threshold, and of every other figure that an order holds, in that order."""
    held = dict.fromkeys(path for order in orders for path in order.holds)
    paths = dict.fromkeys([*(f"thresholds.{name}" for name in catalog.thresholds), *held])
    return [move for path in paths for move in _moves(figure_at(catalog, path))]


def _moves(figure: Figure) -> Iterator[Move]:
    """Give the moves of a figure: a grade has no step past its ends, a number none below 0."""
    if isinstance(figure.value, str):
        place = GRADES.index(figure.value)
        for direction, at in (("up", place + 1), ("down", place - 1)):
            if 0 <= at < len(GRADES):
                yield Move(figure.path, "", direction, Decimal(1), GRADES[at])  # type: ignore[arg-type]
        return
    step, per = step_in(figure.unit), UNITS[figure.unit].per
    now = Decimal(figure.value.numerator) / Decimal(figure.value.denominator * per)
    for way, to in (("up", now + step), ("down", now - step)):
        if to >= 0:
            yield Move(figure.path, figure.unit, way, step, to)  # type: ignore[arg-type]


def unheld_rules(shop: Shop, orders: Sequence[WorkedOrder]) -> list[str]:
    """Return the rules whose limit is a figure of the catalog, not a threshold alone, of which no order holds one."""
    holding = {order.rule for order in orders if order.holds}
    return [rule.id for rule in shop.book.rules.values() if limits_by_catalog(rule) and rule.id not in holding]


def limits_by_catalog(rule: Rule) -> bool:
    """Whether a limit or a grade that a spec is held against is a figure of patterns, kinds, lots or supplies."""
    for verb in (clause.verb for clause in rule.clauses if clause.stage == "check"):
        if isinstance(verb, Graded) and TERMS[verb.name].reads & _OF_THE_CATALOG:
            return True
        if isinstance(verb, Limit):
            names = [_named(term) for term in (*(step.limit for step in verb.steps), verb.upper)]
            if any(name in TERMS and TERMS[name].reads & _OF_THE_CATALOG for name in names):
                return True
    return False


def _named(term: Any) -> str:
    """Return the name of a limit, or "" where it is a number."""
    inner = term.term if isinstance(term, Scaled) else term
    return inner.name if isinstance(inner, Name) else ""


class Pins:
    """The examples of a book and the worked orders of a shop as they come out, ready to notice a move."""

    def __init__(self, shop: Shop, orders: Sequence[WorkedOrder], today: date) -> None:
        """Keep them; ``shop`` has the catalog's own figures, ``today`` is the day of orders that name none."""
        self._shop = shop
        self._orders = orders
        self._today = today
        self._known: dict[int, Outcome] = {}

    def _before(self, place: int) -> Outcome:
        """Return what an order comes out as while nothing is moved."""
        if place not in self._known:
            self._known[place] = outcome_of(self._shop, self._orders[place], self._today)
        return self._known[place]

    def noticed_by(self, move: Move) -> str | None:
        """Return what comes out otherwise once a figure is moved: an example or an order, or None for nothing."""
        catalog = with_figures(self._shop.catalog, {move.path: move.to})
        if move.path.startswith("thresholds."):
            found = self._example(move.path.removeprefix("thresholds."), catalog.thresholds)
            if found is not None:
                return found
        return self._order(move, reckoned(catalog, self._shop.book))

    def _example(self, name: str, after: Mapping[str, Threshold]) -> str | None:
        """Try the examples of the rules that read a threshold; no other rule's examples know of it."""
        before = self._shop.catalog.thresholds
        for rule in self._shop.book.rules.values():
            if f"threshold.{name}" not in names_in(rule):
                continue
            for place in range(len(rule.examples)):
                if _said(rule, place, before) != _said(rule, place, after):
                    return f"example {place + 1} of {rule.id}"
        return None

    def _order(self, move: Move, moved: Shop) -> str | None:
        """Try the orders that hold the figure, then those of the threshold's rule, then all the others."""
        threshold = self._shop.catalog.thresholds.get(move.path.removeprefix("thresholds."))
        rule = None if threshold is None else threshold.rule
        places = sorted(
            range(len(self._orders)),
            key=lambda place: (move.path not in self._orders[place].holds, self._orders[place].rule != rule),
        )
        for place in places:
            order = self._orders[place]
            if outcome_of(moved, order, self._today) != self._before(place):
                return f"an order of {order.rule}: {order.says}"
        return None


def _said(rule: Rule, place: int, thresholds: Mapping[str, Threshold]) -> tuple[str, str | None]:
    return outcome_of_example(rule, place, thresholds), severity_of_example(rule, place, thresholds)


def pinning(shop: Shop, orders: Sequence[WorkedOrder], today: date, moves: Sequence[Move] | None = None) -> Pinning:
    """Move every figure (or only some) by a step each way and return what noticed it."""
    pins = Pins(shop, orders, today)
    caught: dict[Move, str] = {}
    missed: list[Move] = []
    for move in moves_of(shop.catalog, orders) if moves is None else moves:
        noticed = pins.noticed_by(move)
        if noticed is None:
            missed.append(move)
        else:
            caught[move] = noticed
    return Pinning(caught, tuple(missed))


def unpinned(shop: Shop, orders: Sequence[WorkedOrder], today: date) -> tuple[Move, ...]:
    """Return the moves that no example and no worked order notices."""
    return pinning(shop, orders, today).unpinned
