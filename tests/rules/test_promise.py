"""The promise: weeks from the backlog, days for the edge to dry, then a day on which the workshop works."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from fractions import Fraction
from math import ceil
from typing import Any

import pytest

from catalog.load import load_catalog
from catalog.model import Catalog
from rules.check import check, judge
from rules.labor import order_minutes
from rules.promise import Promise, drying_days, promise_of, working_day_from
from rules.sample import sample_specs
from rules.shop import Shop, open_shop
from rules.spec import Spec
from rules.themes import known_good

#: A clip wallet with painted edges, four weeks at the bench.
PAINTED: dict[str, Any] = {
    "pattern": "clipfold",
    "parts": {"outside": {"leather": "CC-NAV"}, "inside": {"leather": "GO-BLK"}, "pockets": {"leather": "GO-BLK"}},
    "thread": "TH-P05-NAV", "edge": "ED-PNT-NAV", "hardware": {"clip": "HW-CLIP76"},
}  # fmt: skip


@pytest.fixture(scope="module")
def tiny(tiny_catalog: Catalog, book_files: dict[str, str]) -> Shop:
    return open_shop(tiny_catalog, book_files)


def promised(shop: Shop, spec: Spec, today: date) -> Promise:
    found = promise_of(judge(shop, spec, today).case)
    assert found is not None
    return found


def test_paint_dries_a_day_and_burnishing_none(shop: Shop, spec_of: Callable[[dict[str, Any]], Spec]) -> None:
    days = shop.catalog.labor.dry_days
    assert dict(days) == {"burnish": 0, "stain": 0, "paint": 1, "turned": 0, "raw": 0}
    assert drying_days(shop.piece(spec_of(PAINTED))) == 1


#: By day of the check: when a painted piece is ready and when a burnished one, both four weeks at the bench.
#: Worked by hand: 2026-03-02 is a Monday; 28 days on is 2026-03-30. Easter Sunday is 2026-04-05, so Good Friday,
#: 3 April, and Easter Monday, 6 April, are no working days.
WORKED = [
    (date(2026, 3, 2), date(2026, 3, 31), date(2026, 3, 30)),
    (date(2026, 2, 27), date(2026, 3, 30), date(2026, 3, 27)),  # Friday: it dries on Saturday, and Monday is the day
    (date(2026, 3, 5), date(2026, 4, 7), date(2026, 4, 2)),  # Maundy Thursday: it dries on Good Friday, then Easter
    (date(2026, 2, 28), date(2026, 3, 30), date(2026, 3, 30)),  # Saturday: Sunday is enough to dry
]


@pytest.mark.parametrize(("today", "painted", "burnished"), WORKED)
def test_an_edge_dries_over_a_weekend_and_is_handed_over_on_a_working_day(
    today: date, painted: date, burnished: date, shop: Shop, spec_of: Callable[[dict[str, Any]], Spec]
) -> None:
    spec = spec_of(PAINTED)
    assert promised(shop, spec, today) == Promise(painted, 4)
    # A burnished wallet of about as many minutes, four weeks too.
    assert promised(shop, known_good(shop.catalog.patterns["twofold"]), today) == Promise(burnished, 4)


def test_a_rush_waits_for_its_paint_too(shop: Shop, spec_of: Callable[[dict[str, Any]], Spec], today: date) -> None:
    assert promised(shop, spec_of({**PAINTED, "rush": True}), today) == Promise(date(2026, 3, 17), 2)


def test_an_edge_that_is_missing_unknown_or_not_offered_adds_no_days(
    shop: Shop, spec_of: Callable[[dict[str, Any]], Spec]
) -> None:
    for changed in ({"edge": None}, {"edge": "ED-NONE"}, {"pattern": "belt"}, {"pattern": "nothing"}):
        assert drying_days(shop.piece(replace(spec_of(PAINTED), **changed))) == 0, changed


def test_another_workshop_has_days_and_a_calendar_of_its_own(tiny: Shop) -> None:
    """Wax dries two days there, and it works on Tuesdays and Saturdays. 2026-03-02 is a Monday."""
    spec = known_good(tiny.catalog.patterns["coinpouch"])
    assert promised(tiny, spec, date(2026, 3, 2)) == Promise(date(2026, 3, 14), 1)  # Wednesday the 11th, so Saturday


def test_drying_that_was_meant_in_hours_is_refused(tiny_files: dict[str, str]) -> None:
    text = tiny_files["labor.yaml"].replace("burnish: 2", "burnish: 48")
    with pytest.raises(ValueError, match=r"labor\.yaml:16:21: burnish: 48 is too large; at most 30"):
        load_catalog({**tiny_files, "labor.yaml": text})


def test_weeks_and_days_are_those_of_the_formula_for_any_spec(shop: Shop, tiny: Shop, today: date) -> None:
    for house in (shop, tiny):
        workshop = house.catalog.workshop
        for spec in sample_specs(house.catalog, random.Random("promise"), today, 1_000):
            case = judge(house, spec, today).case
            minutes, promise = order_minutes(case), promise_of(case)
            if minutes is None or promise is None:
                assert (minutes, promise) == (None, None)
                continue
            exact = Fraction(workshop.backlog_minutes + minutes) / workshop.bench_minutes_per_week
            assert promise.weeks == (workshop.rush_weeks if spec.rush else ceil(exact))
            earliest = today + timedelta(days=7 * promise.weeks + drying_days(case.piece))
            assert promise.ready_on == working_day_from(earliest, workshop) >= earliest


def test_a_painted_piece_wanted_on_the_day_before_it_is_dry_needs_the_makers_word(
    shop: Shop, spec_of: Callable[[dict[str, Any]], Spec], today: date
) -> None:
    said = {
        wanted: check(shop, spec_of({**PAINTED, "ready_by": wanted}), today=today)["outcome"]
        for wanted in ("2026-03-30", "2026-03-31")
    }
    assert said == {"2026-03-30": "sign_off", "2026-03-31": "buildable"}
