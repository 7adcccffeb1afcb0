"""From specs to a selection: what rows could be, what is scarce, the search, and what it found."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from catalog.model import Catalog
from rules.best.loads import problem_of
from rules.best.place import placed_by
from rules.best.room import Room
from rules.best.search import Plan, Search
from rules.best.wish import Measure, Wish, made, taken_by, wishes_of
from rules.check import Verdict
from rules.shop import Shop
from rules.spec import Spec


@dataclass(frozen=True)
class Selection:
    """Rows that can be made together.

    Attributes:
        given: Lot codes by part for each row that is made, by its place in the list; other rows are left out.
        value: Rows, or their total in minor units.
        bound: What no selection exceeds, in the same measure.
    """

    given: Mapping[int, Mapping[str, tuple[str, ...]]]
    value: int
    bound: int

    @property
    def proven(self) -> bool:
        """Return whether nothing is better."""
        return self.value == self.bound

    @property
    def gap(self) -> int:
        """Return how far the bound is above the value."""
        return self.bound - self.value


def best_together(
    shop: Shop,
    specs: Sequence[Spec | None],
    today: date,
    *,
    maximize: Measure,
    seconds: float,
    rest: Callable[[Shop, Catalog], Shop],
    placed: Sequence[Verdict | None] = (),
    enough: Callable[[], bool] = lambda: False,
) -> Selection:
    """Return rows that can be made together from today's stock, the best that was found, with a bound.

    Args:
        shop: The shop with its stock, holds set aside.
        specs: The rows; None for one that could not be read.
        today: The day of the check.
        maximize: ``count`` for most rows, ``total`` for the highest sum of their totals.
        seconds: Work at most, counted so that the answer is the same on every machine; a second of it takes
            about a second on the machine that it was measured on.
        rest: Makes a shop over another stock of the same catalog, its lots named anew.
        placed: Verdicts of the rows taken in order, each on what the ones before it left; None, or a refused
            one, for rows that were not made. The answer is never worse.
        enough: Asked between steps; once it is true the search ends with what it has. An answer so cut short
            may differ from run to run.

    Returns:
        The selection, its rows made one after another without a refusal.
    """
    wishes = wishes_of(shop, specs, today, maximize, placed)
    problem = problem_of(shop.catalog, wishes, _rooms(shop, wishes))
    search = Search(problem, placed_by(shop, specs, today, rest), seconds, enough)
    start: Plan = {
        row: taken_by(verdict) for row, verdict in enumerate(placed) if verdict is not None and made(verdict)
    }
    search.start(start, sum(wishes[row].value for row in start))
    search.run()
    given = {row: dict(option.lots) for row, option in sorted(search.plan.items())}
    return Selection(given, search.value, search.bound)


def _rooms(shop: Shop, wishes: Sequence[Wish]) -> dict[str, Room]:
    used = {taken.lot for wish in wishes for option in wish.options for taken in option.needs.panels}
    lots = [shop.catalog.lots[code] for code in sorted(used)]
    return {
        lot.code: Room(lot, shop.catalog.leathers[lot.leather].kind.yield_ratio, shop.warehouse.gap_um) for lot in lots
    }
