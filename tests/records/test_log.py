"""The log of checks: what cannot be written now is written later."""

from __future__ import annotations

import pytest
from sqlalchemy import select
from support.desk import WALLET, Desk

from api.desk.log import CheckLog
from api.store.engine import BusyError, Store
from api.store.tables import CHECK_LOG


def test_checks_that_find_the_store_busy_are_written_the_next_time(desk: Desk) -> None:
    answer = desk.post("/v1/checks", WALLET).json()
    with desk.house.store.write():
        hasty = Store(str(desk.house.store.engine.url), patience=0.05)
        log = CheckLog(hasty)
        for moment in ("2026-03-02T10:00:00Z", "2026-03-02T11:00:00Z"):
            log.add(moment, "K1", answer)
        with pytest.raises(BusyError):
            log.flush()
    assert log.flush() == 2
    with hasty.read() as connection:
        written = connection.execute(select(CHECK_LOG.c.at).order_by(CHECK_LOG.c.id)).scalars().all()
    assert written[-2:] == ["2026-03-02T10:00:00Z", "2026-03-02T11:00:00Z"]
    hasty.close()
