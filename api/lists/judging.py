"""The verdicts on a list: each row alone, one after another, or as many together as can be."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

from api.lists.asking import Asked
from rules.best import Measure, Selection, best_together
from rules.brief import Brief, brief_of
from rules.check import Verdict, judge, judge_with
from rules.needs import Needs
from rules.shop import Shop
from rules.spec import Spec
from rules.taking import REFUSED, Restock, Taking

Mode = Literal["independent", "together", "best"]
MODES: Final = ("independent", "together", "best")
MEASURES: Final = ("count", "total")


@dataclass(frozen=True, slots=True)
class Terms:
    """How a list is judged. ``known`` adds to a spec what is on file of the order that it repeats.

    ``seconds`` is how long the best rows are searched for at most.
    """

    shop: Shop
    today: date
    restock: Restock
    known: Callable[[Spec], Spec]
    mode: Mode = "independent"
    maximize: Measure = "count"
    seconds: float = 30.0


@dataclass(frozen=True, slots=True)
class Answered:
    """What is said of a row; nothing but why where it cannot be read, nothing at all where it is empty.

    ``shop`` is the one it was judged in, with what the rows before left. ``needs``: what it takes, in the modes
    in which rows take. ``ran_out``: what rows before it had taken.
    """

    asked: Asked
    brief: Brief | None = None
    verdict: Verdict | None = None
    shop: Shop | None = None
    needs: Needs | None = None
    ran_out: tuple[str, ...] = ()


class Judging:
    """The judging of one list. ``selection`` is there after the mode ``best`` has chosen."""

    def __init__(self, terms: Terms) -> None:
        """Keep the terms; nothing is judged yet."""
        self.terms = terms
        self.selection: Selection | None = None

    def answered(self, asked: Iterable[Asked]) -> Iterator[Answered]:
        """Give what is said of each row, in order."""
        ways = {"independent": self._alone, "together": self._together, "best": self._best}
        return ways[self.terms.mode](asked)

    def _alone(self, asked: Iterable[Asked]) -> Iterator[Answered]:
        return (self.alone(each) for each in asked)

    def alone(self, asked: Asked) -> Answered:
        """Return what is said of a row judged alone."""
        if asked.spec is None:
            return Answered(asked)
        terms = self.terms
        verdict = judge(terms.shop, terms.known(asked.spec), terms.today)
        return Answered(asked, brief_of(verdict), verdict, terms.shop)

    def _together(self, asked: Iterable[Asked]) -> Iterator[Answered]:
        taking = Taking(self.terms.shop, self.terms.restock)
        for each in asked:
            yield self._in_turn(each, taking)

    def _in_turn(self, asked: Asked, taking: Taking) -> Answered:
        """Judge a row against what is left, and take what it needs."""
        if asked.spec is None:
            return Answered(asked)
        spec, shop, today = self.terms.known(asked.spec), taking.shop, self.terms.today
        verdict = judge(shop, spec, today)
        if verdict.outcome == REFUSED:
            return Answered(asked, brief_of(verdict), verdict, shop, ran_out=taking.ran_out(spec, today))
        return Answered(asked, brief_of(verdict), verdict, shop, taking.take(verdict))

    def _best(self, asked: Iterable[Asked]) -> Iterator[Answered]:
        terms, rows = self.terms, list(asked)
        placed = list(self._together(rows))
        specs = [None if each.spec is None else terms.known(each.spec) for each in rows]
        self.selection = best_together(
            terms.shop,
            specs,
            terms.today,
            maximize=terms.maximize,
            seconds=terms.seconds,
            enough=_after(terms.seconds),
            placed=[None if each.needs is None else each.verdict for each in placed],
            rest=terms.restock,
        )
        yield from self._chosen(rows, specs, self.selection)

    def _chosen(self, rows: Sequence[Asked], specs: Sequence[Spec | None], chosen: Selection) -> list[Answered]:
        """Place the rows that were chosen with the lots given, then judge the others against what is left."""
        taking, today = Taking(self.terms.shop, self.terms.restock), self.terms.today
        found: dict[int, Answered] = {}
        for place, lots in sorted(chosen.given.items()):
            spec, shop = specs[place], taking.shop
            assert spec is not None, "only what can be read is chosen"
            verdict = judge_with(shop, spec, lots, today)
            assert verdict.outcome != REFUSED, "what was chosen can be made together"
            found[place] = Answered(rows[place], brief_of(verdict), verdict, shop, taking.take(verdict))
        for place, asked in enumerate(rows):
            if place not in found:
                found[place] = self._in_turn(asked, taking)
        return [found[place] for place in range(len(rows))]


def _after(seconds: float) -> Callable[[], bool]:
    """Return a function that says whether so many seconds have gone by since now."""
    ends = time.monotonic() + seconds
    return lambda: time.monotonic() >= ends
