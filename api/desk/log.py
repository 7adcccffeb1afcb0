"""The log of checks: what was asked and what came of it, without the customer's own text.

Answers are put on a list in memory and written in batches by a thread of their own: a check waits for
no disk. A crash may lose the last batch, and nothing else depends on it.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from pydantic_core import from_json
from sqlalchemy import Connection, insert, select

from api.desk.scrub import scrubbed
from api.figures import minor_units, money
from api.store.engine import Store
from api.store.stock import dumped
from api.store.tables import CHECK_LOG

#: Checks that wait in memory at most; beyond that the oldest are given up.
MOST_WAITING: Final = 20_000
BATCH: Final = 500


@dataclass(frozen=True, slots=True)
class Logged:
    """One check: the moment, the key, the verdict as the owner sees it."""

    at: str
    key: str
    answer: Mapping[str, Any]


class CheckLog:
    """Checks on their way to the store."""

    def __init__(self, store: Store) -> None:
        """Begin with none."""
        self._store = store
        self._waiting: deque[Logged] = deque(maxlen=MOST_WAITING)
        self._flushing = threading.Lock()

    def add(self, at: str, key: str, answer: Mapping[str, Any]) -> None:
        """Note a check; cheap, and safe from any thread."""
        self._waiting.append(Logged(at, key, answer))

    def flush(self) -> int:
        """Write what waits; return how many checks that were."""
        count = 0
        with self._flushing:
            while self._waiting:
                batch = [self._waiting.popleft() for _ in range(min(BATCH, len(self._waiting)))]
                try:
                    with self._store.write() as write:
                        write.connection.execute(insert(CHECK_LOG), [_row(each) for each in batch])
                except BaseException:  # what was not written waits for the next time
                    self._waiting.extendleft(reversed(batch))
                    raise
                count += len(batch)
        return count


def _row(logged: Logged) -> dict[str, Any]:
    answer = logged.answer
    price = answer["price"] or {}
    total = price.get("total")
    return {
        "at": logged.at,
        "key": logged.key,
        "pattern": answer["spec"]["pattern"],
        "outcome": answer["outcome"],
        "rules": dumped([[finding["rule"], finding["severity"]] for finding in answer["findings"]]),
        "currency": price.get("currency") or "",
        "total_minor": None if total is None else minor_units(total),
        "spec": dumped(scrubbed(answer["spec"])),
    }


def refusals(connection: Connection, digits: int, since: str | None, until: str | None) -> list[dict[str, Any]]:
    """Return the refused checks by rule, pattern and month, with the value of the specs that were lost.

    The same spec asked again in a month counts once among the specs and their value. A spec refused by
    two rules counts with both. Months are those of UTC.

    Args:
        connection: where to read.
        digits: minor digits of the currency.
        since: the first day, ISO 8601.
        until: the last day.
    """
    asked = select(CHECK_LOG).where(CHECK_LOG.c.outcome == "refused").order_by(CHECK_LOG.c.id)
    if since is not None:
        asked = asked.where(CHECK_LOG.c.at >= since)
    if until is not None:
        asked = asked.where(CHECK_LOG.c.at < until + "T99")
    checks: dict[tuple[str, str, str, str], int] = {}
    values: dict[tuple[str, str, str, str], dict[str, int]] = {}
    for row in connection.execute(asked):
        for rule in dict.fromkeys(rule for rule, severity in from_json(row.rules) if severity == "refuse"):
            key = rule, row.pattern, row.at[:7], row.currency
            checks[key] = checks.get(key, 0) + 1
            values.setdefault(key, {})[row.spec] = row.total_minor or 0
    return [
        {
            "rule": key[0],
            "pattern": key[1],
            "month": key[2],
            "checks": checks[key],
            "specs": len(values[key]),
            "value": money(sum(values[key].values()), digits),
            "currency": key[3] or None,
        }
        for key in sorted(checks, key=lambda key: (key[2], -checks[key], key))
    ]
