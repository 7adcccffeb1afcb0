"""The clock can start on another day, and still moves."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from api.clock import Clock, clock_from
from api.house import shop_from_files
from api.settings import Settings
from rules.check import check
from rules.themes import known_good


def test_without_a_date_the_clock_is_the_real_one() -> None:
    before = datetime.now(UTC)
    shown = clock_from("Europe/Berlin", None).now()
    assert before <= shown <= datetime.now(UTC)


def test_a_clock_set_to_a_date_shows_that_date() -> None:
    assert clock_from("Europe/Berlin", date(2026, 3, 2)).today() == date(2026, 3, 2)


@pytest.mark.parametrize("day", [date(2026, 3, 2), date(2026, 7, 2), date(2024, 2, 29)])
def test_a_clock_set_to_a_date_keeps_the_time_of_day_and_moves_on(day: date) -> None:
    clock = clock_from("Europe/Berlin", day)
    first, second = clock.now(), clock.now()
    assert first < second
    assert first.astimezone(clock.zone).date() == clock.today() == day
    assert clock.offset % timedelta(days=1) == timedelta(0)


def test_midnight_at_the_workshop_brings_the_next_date() -> None:
    zone = ZoneInfo("Europe/Berlin")
    now = datetime.now(zone)
    to_midnight = datetime.combine(now.date() + timedelta(days=1), datetime.min.time(), zone) - now
    evening = Clock(zone, to_midnight - timedelta(seconds=30))
    night = Clock(zone, to_midnight + timedelta(seconds=30))
    assert night.today() - evening.today() == timedelta(days=1)


def test_the_date_is_that_of_the_workshops_own_zone() -> None:
    offset = timedelta(0)
    east, west = Clock(ZoneInfo("Pacific/Kiritimati"), offset), Clock(ZoneInfo("Pacific/Niue"), offset)
    assert east.today() > west.today()


def test_a_promise_counts_from_the_date_at_the_workshop() -> None:
    """Half an hour after midnight in Berlin it is still the day before in UTC."""
    shop = shop_from_files(Settings())
    zone = ZoneInfo(shop.catalog.workshop.time_zone)
    said = {}
    for moment in (datetime(2026, 3, 3, 23, 30, tzinfo=zone), datetime(2026, 3, 4, 0, 30, tzinfo=zone)):
        clock = Clock(zone, moment - datetime.now(zone) + timedelta(seconds=1))
        answer = check(shop, known_good(shop.catalog.patterns["fob"]), today=clock.today())
        said[answer["as_of"]] = clock.now().date(), answer["promise"]["ready_on"]
    assert said == {
        "2026-03-03": (date(2026, 3, 3), "2026-03-31"),
        "2026-03-04": (date(2026, 3, 3), "2026-04-01"),
    }
