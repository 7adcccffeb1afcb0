"""Working days of thirteen calendars around Christmas, Easter, the year's end and substitute days.

Sources: the dates of ``data/public_holidays.csv`` (authorities' lists and laws, the source beside
each). The cases of ``data/working_days.csv`` were stepped by hand over those lists; each says why.
"""

from __future__ import annotations

import csv
from collections import defaultdict
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from catalog.model import Catalog, Workshop
from rules.promise import working_day_from

DATA = Path(__file__).parent / "data"
ONE_DAY = timedelta(days=1)
MONDAY_TO_FRIDAY = (0, 1, 2, 3, 4)
FIRST, LAST = date(2025, 1, 1), date(2027, 12, 20)


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


CASES = rows("working_days.csv")
PUBLISHED: dict[str, set[date]] = defaultdict(set)
for _row in rows("public_holidays.csv"):
    PUBLISHED[_row["country_or_region"]].add(date.fromisoformat(_row["date"]))

# 5 May is on the list of the Dutch Act every year, in the program every fifth: see test_public_holidays.
FIFTH_OF_MAY = pytest.mark.xfail(strict=True, reason="the program works on 5 May, a holiday of the Dutch Act")
GAPS = {("NL", "2026-05-04"): FIFTH_OF_MAY, ("NL", "2027-05-04"): FIFTH_OF_MAY}


@pytest.fixture(scope="module")
def weekday_shop(oddlestone: Catalog) -> Workshop:
    """Return a workshop that works from Monday to Friday."""
    return replace(oddlestone.workshop, working_weekdays=MONDAY_TO_FRIDAY)


def stepped(start: date, steps: int, shop: Workshop) -> date:
    """Return the working day so many working days after the first one on or after a day."""
    day = working_day_from(start, shop)
    for _ in range(steps):
        day = working_day_from(day + ONE_DAY, shop)
    return day


@pytest.mark.parametrize(
    "row",
    [
        pytest.param(
            row,
            id=f"{row['calendar']}, {row['start']} and {row['steps']}",
            marks=GAPS.get((row["calendar"], row["start"]), ()),
        )
        for row in CASES
    ],
)
def test_working_days_are_those_stepped_by_hand(weekday_shop: Workshop, row: dict[str, str]) -> None:
    shop = replace(weekday_shop, holiday_calendar=row["calendar"])
    expected = date.fromisoformat(row["result"])
    assert stepped(date.fromisoformat(row["start"]), int(row["steps"]), shop) == expected, row["why"]


@pytest.mark.parametrize("calendar", sorted(PUBLISHED.keys() - {"NL"}))
def test_every_day_of_three_years_leads_to_the_first_day_that_is_no_weekend_and_not_on_the_list(
    weekday_shop: Workshop, calendar: str
) -> None:
    shop, listed = replace(weekday_shop, holiday_calendar=calendar), PUBLISHED[calendar]
    day = FIRST
    while day <= LAST:
        expected = day
        while expected.weekday() not in MONDAY_TO_FRIDAY or expected in listed:
            expected += ONE_DAY
        assert working_day_from(day, shop) == expected
        day += ONE_DAY


@pytest.mark.parametrize(
    ("start", "expected"),
    [
        # 5 May 2026 is Children's Day, a Tuesday; Saturday is the next of the two days worked.
        (date(2026, 5, 3), date(2026, 5, 9)),
        # Tuesday 22 September 2026 lies between two holidays and is one; Saturday the 26th is not.
        (date(2026, 9, 20), date(2026, 9, 26)),
        # Saturday 3 May 2025 and Tuesday 6 May 2025 (for Sunday the 4th) are both holidays.
        (date(2025, 5, 1), date(2025, 5, 10)),
        # 31 December 2026 is a Thursday; Saturday 2 January 2027 is no holiday.
        (date(2026, 12, 30), date(2027, 1, 2)),
    ],
)
def test_a_workshop_of_tuesdays_and_saturdays_steps_over_holidays_on_either(
    tiny_catalog: Catalog, start: date, expected: date
) -> None:
    """The Cabinet Office's list of Japan, as in the data file."""
    shop = tiny_catalog.workshop
    assert (shop.holiday_calendar, shop.working_weekdays) == ("JP", (1, 5))
    assert working_day_from(start, shop) == expected


def test_the_demo_keeps_the_calendar_of_germany(oddlestone: Catalog) -> None:
    """From Maundy Thursday 2027 over Good Friday and Easter Monday; law of the Länder."""
    shop = oddlestone.workshop
    assert [stepped(date(2027, 3, 25), steps, shop) for steps in range(3)] == [
        date(2027, 3, 25), date(2027, 3, 30), date(2027, 3, 31)
    ]  # fmt: skip


def test_every_calendar_of_the_data_has_cases_by_hand() -> None:
    assert {row["calendar"] for row in CASES} == PUBLISHED.keys() | {"GB-WLS"}
    assert len(CASES) >= 90
