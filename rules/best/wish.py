"""What a row of a wish list could be made from: its options, and what it counts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final, Literal

from rules.case import Case
from rules.check import Verdict
from rules.evaluate import OUTCOMES
from rules.lots import standing
from rules.needs import Needs, needs_of
from rules.piece import Piece
from rules.pricing import priced
from rules.shop import Shop
from rules.spec import Spec
from rules.stock import TooLongError

Measure = Literal["count", "total"]
#: Steps of the search for one row's options; the demo's rows take some hundreds at most.
MOST_STEPS: Final = 20_000


@dataclass(frozen=True, slots=True)
class Option:
    """One way to cut a row: lot codes by part, what it then takes, and how bad its outcome is.

    ``outcome`` is a place in :data:`rules.evaluate.OUTCOMES`; no option is refused.
    """

    lots: Mapping[str, tuple[str, ...]]
    needs: Needs
    outcome: int


@dataclass(frozen=True, slots=True)
class Wish:
    """What one row could be: what counts (1, or its total in minor units) and its options, preferred first.

    ``whole`` is False where the search for options was cut short: there may be others.
    """

    value: int
    options: tuple[Option, ...]
    whole: bool = True


#: A row that cannot be made.
NO_WISH: Final = Wish(0, ())


def wishes_of(
    shop: Shop, specs: Sequence[Spec | None], today: date, maximize: Measure, placed: Sequence[Verdict | None] = ()
) -> list[Wish]:
    """Return what each row could be, judged alone on the whole stock; rows that are alike are judged once.

    ``placed`` are verdicts of rows that were made one after another: what each was cut from then is an
    option of it too. Mostly it is among the others already. Not always: how a part was shared out over
    several lots depends on what was held there, and above the exact range of :mod:`rules.layout` fewer
    panels may not be found to lie where more are.
    """
    known: dict[str, Wish] = {}
    wishes = []
    for row, spec in enumerate(specs):
        verdict = placed[row] if row < len(placed) else None
        if spec is None:
            wishes.append(NO_WISH)
            continue
        key = repr(replace(spec, reference=None, note=None))
        if key not in known:
            known[key] = _wish(shop, spec, today, maximize)
        wishes.append(known[key] if verdict is None else _with(known[key], verdict, maximize))
    return wishes


def _wish(shop: Shop, spec: Spec, today: date, maximize: Measure) -> Wish:
    piece = shop.piece(spec)
    options, whole = [], True
    try:
        for lots, outcome in standing(piece, shop.judges(today), shop.warehouse, today, MOST_STEPS):
            options.append(_option(Case(piece, lots, shop.warehouse, today), OUTCOMES.index(outcome)))
    except TooLongError:
        whole = False
    return Wish(_value(piece, maximize), tuple(options), whole)


def made(verdict: Verdict) -> bool:
    """Whether a verdict is not a refusal."""
    return verdict.outcome != OUTCOMES[-1]


def taken_by(verdict: Verdict) -> Option:
    """Return the option that a judged row took."""
    return _option(verdict.case, verdict.rank.outcome)


def _with(wish: Wish, verdict: Verdict, maximize: Measure) -> Wish:
    if not made(verdict):
        return wish
    taken = taken_by(verdict)
    if taken in wish.options:
        return wish
    return Wish(_value(verdict.case.piece, maximize), (*wish.options, taken), wish.whole)


def _option(case: Case, outcome: int) -> Option:
    lots = {part: tuple(lot.code for lot in given) for part, given in case.lots.items()}
    return Option(lots, needs_of(case), outcome)


def _value(piece: Piece, maximize: Measure) -> int:
    if maximize == "count":
        return 1
    price = priced(piece)
    return 0 if price is None else price.total_minor
