"""The only place that reads the clock."""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from zoneinfo import ZoneInfo


@dataclass(frozen=True, slots=True)
class Clock:
    """The real clock, moved by ``offset``; dates are those of ``zone``.

    The offset is fixed at the start, so a process that began on a given day moves on at midnight.
    """

    zone: tzinfo
    offset: timedelta = timedelta(0)

    def now(self) -> datetime:
        """Return the moment, in UTC."""
        return self._local().astimezone(UTC)

    def not_before(self, moment: datetime) -> Clock:
        """Return this clock, moved on so that it does not run behind a moment that was already recorded."""
        return Clock(self.zone, self.offset + max(timedelta(0), moment - self.now()))

    def today(self) -> date:
        """Return the calendar date at the workshop."""
        return self._local().date()

    def _local(self) -> datetime:
        # Shifted by the wall clock, not in UTC: across a change to summer time the hour stays the same.
        return datetime.now(self.zone) + self.offset


def seconds() -> float:
    """Return seconds since some moment: they never run back, whatever happens to the clock on the wall."""
    return time.monotonic()


def clock_from(zone: str, today: date | None) -> Clock:
    """Return a clock of an IANA time zone that shows ``today`` now, or the real date if None."""
    real = Clock(ZoneInfo(zone))
    if today is None:
        return real
    return Clock(real.zone, timedelta(days=(today - real.today()).days))
