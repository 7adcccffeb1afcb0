"""Public holidays as the authorities publish them, and as the law defines them.

Every date of ``data/public_holidays.csv`` has its source beside it (all read on 2026-11-25; the
addresses stand in data/SOURCES.md). ``status`` says how it got there:

- ``read``: the date stands on the list that was read;
- ``law``: the definition was read, the date is computed from it here, and compared with the file;
- ``from memory``: neither; there is no such row.

None of it comes from the library that the program asks.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest

from rules.promise import _public_holidays

DATA = Path(__file__).parent / "data"
with (DATA / "public_holidays.csv").open(encoding="utf-8", newline="") as _file:
    ROWS = list(csv.DictReader(_file))
with (DATA / "easter_western.csv").open(encoding="utf-8", newline="") as _file:
    EASTER = {int(row["year"]): date.fromisoformat(row["easter_sunday"]) for row in csv.DictReader(_file)}

MONDAY, THURSDAY, FRIDAY, SATURDAY, SUNDAY = 0, 3, 4, 5, 6
YEARS = (2025, 2026, 2027)
CALENDARS = sorted({row["country_or_region"] for row in ROWS})
LISTED_AS = {"GB-WLS": "GB-ENG"}  # gov.uk keeps one list for England and Wales

# gov.uk lists the substitute day alone. The program has the day itself too: a Saturday or a Sunday.
REPLACED = {
    "GB-ENG": {date(2026, 12, 26), date(2027, 12, 25), date(2027, 12, 26)},
    "GB-SCT": {date(2025, 11, 30), date(2026, 12, 26), date(2027, 1, 2), date(2027, 12, 25), date(2027, 12, 26)},
    "GB-NIR": {date(2025, 7, 12), date(2026, 7, 12), date(2026, 12, 26), date(2027, 12, 25), date(2027, 12, 26)},
}
# The Act names the second days alone, since its first article treats every Sunday alike.
SUNDAYS = {
    "NL": {
        date(2025, 4, 20), date(2025, 6, 8), date(2026, 4, 5), date(2026, 5, 24), date(2027, 3, 28), date(2027, 5, 16)
    },
}  # fmt: skip

FIFTH_OF_MAY = pytest.mark.xfail(
    strict=True,
    reason="the Dutch Act lists 5 May without exception; the library has it every fifth year (2025, 2030) only",
)
MISSING = {("NL", 2026): FIFTH_OF_MAY, ("NL", 2027): FIFTH_OF_MAY}


def published(calendar: str, year: int, *statuses: str) -> set[date]:
    """Return the dates of the file, of some statuses or of all."""
    code = LISTED_AS.get(calendar, calendar)
    return {
        day
        for row in ROWS
        if row["country_or_region"] == code and (row["status"] in statuses or not statuses)
        for day in [date.fromisoformat(row["date"])]
        if day.year == year
    }


def easter_sunday(year: int) -> date:
    """Return Easter by the computation of Meeus, Jones and Butcher (Gregorian calendar)."""
    golden = year % 19
    century, of_century = divmod(year, 100)
    leaps, rest = divmod(century, 4)
    moon = (century - (century + 8) // 25 + 1) // 3
    epact = (19 * golden + century - leaps - moon + 15) % 30
    quarter, left = divmod(of_century, 4)
    to_sunday = (32 + 2 * rest + 2 * quarter - epact - left) % 7
    month, day = divmod(epact + to_sunday - 7 * ((golden + 11 * epact + 22 * to_sunday) // 451) + 114, 31)
    return date(year, month, day + 1)


def nth(year: int, month: int, count: int, weekday: int = MONDAY) -> date:
    first = date(year, month, 1)
    return first + timedelta(days=(weekday - first.weekday()) % 7, weeks=count - 1)


def last_monday(year: int, month: int) -> date:
    """Return the last Monday of a month that is not December."""
    end = date(year, month + 1, 1) - timedelta(days=1)
    return end - timedelta(days=end.weekday())


def of_germany(year: int) -> Iterator[date]:
    """Yield the nine days that stand on the Bavarian list and on Berlin's; 3 October by the Unification Treaty."""
    easter = easter_sunday(year)
    yield from (easter + timedelta(days=days) for days in (-2, 1, 39, 50))
    yield from (date(year, month, day) for month, day in ((1, 1), (5, 1), (10, 3), (12, 25), (12, 26)))


def of_bavaria(year: int) -> Iterator[date]:
    """Yield the days of article 1(1)1 of the Bavarian Holidays Act, those of the whole Land."""
    yield from of_germany(year)
    yield from (date(year, 1, 6), easter_sunday(year) + timedelta(days=60), date(year, 11, 1))


def of_berlin(year: int) -> Iterator[date]:
    """Yield the days of section 1 of Berlin's Holidays Act, without the single days of 2020 and 2025."""
    yield from of_germany(year)
    yield date(year, 3, 8)


def of_france(year: int) -> Iterator[date]:
    """Yield the eleven legal holidays of article L3133-1 of the Code du travail."""
    yield from (easter_sunday(year) + timedelta(days=days) for days in (1, 39, 50))
    for month, day in ((1, 1), (5, 1), (5, 8), (7, 14), (8, 15), (11, 1), (11, 11), (12, 25)):
        yield date(year, month, day)


def of_ireland(year: int) -> Iterator[date]:
    """Yield the days of the second schedule of the Act of 1997 and of the Regulations of 2022.

    None of them moves: who would not work that day gets another day or pay.
    """
    yield from (date(year, month, day) for month, day in ((1, 1), (3, 17), (12, 25), (12, 26)))
    yield easter_sunday(year) + timedelta(days=1)
    yield from (nth(year, month, 1) for month in (5, 6, 8))
    yield last_monday(year, 10)
    first = date(year, 2, 1)
    yield first if first.weekday() == FRIDAY else nth(year, 2, 1)


def of_the_netherlands(year: int) -> Iterator[date]:
    """Yield the days of article 3(1) and 3(2) of the Algemene termijnenwet.

    The King's birthday, 27 April, is celebrated a day earlier where that is a Sunday.
    """
    yield from (easter_sunday(year) + timedelta(days=days) for days in (-2, 1, 39, 50))
    yield from (date(year, month, day) for month, day in ((1, 1), (5, 5), (12, 25), (12, 26)))
    yield date(year, 4, 26 if date(year, 4, 27).weekday() == SUNDAY else 27)


def of_the_united_states(year: int) -> Iterator[date]:
    """Yield the days of 5 U.S.C. 6103(a), and the Friday or Monday in lieu of one on a weekend.

    New Year's Day on a Saturday has its Friday in the year before.
    """
    yield from (nth(year, month, count) for month, count in ((1, 3), (2, 3), (9, 1), (10, 2)))
    yield last_monday(year, 5)
    yield nth(year, 11, 4, THURSDAY)
    fixed = [date(year, month, day) for month, day in ((1, 1), (6, 19), (7, 4), (11, 11), (12, 25))]
    for day in [*fixed, date(year + 1, 1, 1)]:
        in_lieu = day + timedelta(days={SATURDAY: -1, SUNDAY: 1}.get(day.weekday(), 0))
        yield from (each for each in {day, in_lieu} if each.year == year)


def of_new_south_wales(year: int) -> Iterator[date]:
    """Yield the days of section 4 of the Public Holidays Act 2010, and the two that an Order adds."""
    yield from (easter_sunday(year) + timedelta(days=days) for days in (-2, -1, 0, 1))
    yield from (date(year, 4, 25), nth(year, 6, 2), nth(year, 10, 1))
    yield from (day for day in (date(2026, 4, 27), date(2027, 4, 26)) if day.year == year)
    australia = date(year, 1, 26)
    yield australia + timedelta(days={SATURDAY: 2, SUNDAY: 1}.get(australia.weekday(), 0))
    for day, on_saturday, on_sunday in (
        (date(year, 1, 1), 2, 1), (date(year, 12, 25), 2, 2), (date(year, 12, 26), 2, 2)
    ):  # fmt: skip
        yield day
        if day.weekday() >= SATURDAY:
            yield day + timedelta(days=on_saturday if day.weekday() == SATURDAY else on_sunday)


LAWS: dict[str, Callable[[int], Iterator[date]]] = {
    "DE": of_germany,
    "DE-BY": of_bavaria,
    "DE-BE": of_berlin,
    "FR": of_france,
    "IE": of_ireland,
    "US": of_the_united_states,
    "AU-NSW": of_new_south_wales,
    "NL": of_the_netherlands,
}
# A holiday of one year, by an act for that year.
ONCE = {"DE-BE": {date(2025, 5, 8)}}
# Years ahead are asked of laws that name no single days: not of Berlin's, nor of the Dutch (see above).
STEADY = sorted(LAWS.keys() - {"DE-BE", "NL"})


@pytest.mark.parametrize(
    ("calendar", "year"),
    [
        pytest.param(calendar, year, marks=MISSING.get((calendar, year), ()))
        for calendar in (*CALENDARS, *LISTED_AS)
        for year in YEARS
    ],
)
def test_the_calendar_has_the_published_days_and_no_others(calendar: str, year: int) -> None:
    code = LISTED_AS.get(calendar, calendar)
    on_weekends = {day for day in REPLACED.get(code, set()) | SUNDAYS.get(code, set()) if day.year == year}
    assert _public_holidays(calendar, year) == published(calendar, year) | on_weekends


def test_a_day_that_only_the_program_has_is_a_saturday_or_a_sunday_with_a_substitute() -> None:
    for calendar, days in REPLACED.items():
        substitutes = {
            date.fromisoformat(row["date"])
            for row in ROWS
            if row["country_or_region"] == calendar and row["name"].endswith("(substitute day)")
        }
        assert {day.weekday() for day in days} <= {SATURDAY, SUNDAY}
        assert len(days) == len(substitutes)
        for day in days:
            assert substitutes & {day + timedelta(days=1), day + timedelta(days=2)}
    assert {day.weekday() for days in SUNDAYS.values() for day in days} == {SUNDAY}


@pytest.mark.parametrize("calendar", list(LAWS))
def test_the_file_says_what_the_law_defines(calendar: str) -> None:
    for year in YEARS:
        once = {day for day in ONCE.get(calendar, set()) if day.year == year}
        assert published(calendar, year) == {*LAWS[calendar](year)} | once


@pytest.mark.parametrize("calendar", STEADY)
@pytest.mark.parametrize("year", range(2023, 2036))
def test_the_calendar_is_what_the_law_defines_for_years_ahead(calendar: str, year: int) -> None:
    assert _public_holidays(calendar, year) == {*LAWS[calendar](year)}


@pytest.mark.parametrize("year", list(EASTER))
def test_easter_is_the_same_by_the_computation_and_by_the_table(year: int) -> None:
    """The table is another library's; the computation is the one printed in almanacs."""
    assert easter_sunday(year) == EASTER[year]
    assert EASTER[year] + timedelta(days=1) in _public_holidays("DE", year)


def test_the_read_lists_agree_on_easter() -> None:
    """Lists of three countries, read apart from each other, against the computation."""
    for calendar in ("GB-ENG", "GB-NIR", "FR", "FR-57", "AU-NSW"):
        for year in YEARS:
            assert easter_sunday(year) + timedelta(days=1) in published(calendar, year)


def test_every_row_has_a_source_and_none_is_from_memory() -> None:
    assert all(row["source"] and row["name"] for row in ROWS)
    assert {row["status"] for row in ROWS} == {"read", "law"}
    days = [(row["country_or_region"], row["date"]) for row in ROWS]
    assert len(set(days)) == len(days)
    assert len({calendar[:2] for calendar in CALENDARS}) >= 7
