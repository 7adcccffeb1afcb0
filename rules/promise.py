"""When it is ready: weeks from the backlog, then a day of the working calendar.

``weeks`` = ceil((backlog + minutes of the order) / bench minutes a week), or the weeks of a
rush. The edge then dries, over a weekend too, for the days of its finish. ``ready_on`` is the first
working day on or after today + 7 x weeks + those days: a weekday on which the workshop works and no
public holiday of its calendar.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache

import holidays

from catalog.model import Workshop
from rules.case import Case
from rules.labor import order_parts
from rules.piece import Piece


@dataclass(frozen=True, slots=True)
class Promise:
    """The day it is ready and the weeks it takes."""

    ready_on: date
    weeks: int


def promise_of(case: Case) -> Promise | None:
    """Return the promise, or None where the pattern is unknown."""
    time = order_parts(case)
    if time is None:
        return None
    piece = case.piece
    shop, per_minute = piece.catalog.workshop, piece.indexes.times.per_minute
    if piece.spec.rush:
        weeks = shop.rush_weeks
    else:
        weeks = -(-(shop.backlog_minutes * per_minute + time) // (shop.bench_minutes_per_week * per_minute))
    return Promise(day_after(piece, case.today, weeks), weeks)


def day_after(piece: Piece, today: date, weeks: int) -> date:
    """Return the day on which a piece is ready that takes so many weeks at the bench, its edge dry."""
    return working_day_from(today + timedelta(days=7 * weeks + drying_days(piece)), piece.catalog.workshop)


def drying_days(piece: Piece) -> int:
    """Return how many days the edge dries; none while it is not chosen or not offered, as it takes no time."""
    edge, pattern = piece.edge, piece.pattern
    if edge is None or pattern is None or edge.finish not in pattern.edge_finishes:
        return 0
    return piece.catalog.labor.dry_days[edge.finish]


def working_day_from(day: date, shop: Workshop) -> date:
    """Return the day itself, or the next one on which the workshop works.

    A workshop that never works within a year of the day gets the day itself back.
    """
    return _working_day_from(day, shop.holiday_calendar, frozenset(shop.working_weekdays))


@lru_cache(maxsize=4096)
def _working_day_from(day: date, calendar: str, weekdays: frozenset[int]) -> date:
    for ahead in range(366):
        candidate = day + timedelta(days=ahead)
        if candidate.weekday() in weekdays and candidate not in _public_holidays(calendar, candidate.year):
            return candidate
    return day


@lru_cache(maxsize=64)
def _public_holidays(calendar: str, year: int) -> frozenset[date]:
    """Return the public holidays of a country (ISO 3166-1) or region (ISO 3166-2) in a year."""
    country, _, region = calendar.partition("-")
    return frozenset(holidays.country_holidays(country, subdiv=region or None, years=year))
