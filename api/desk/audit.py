"""The audit: every balance derived from its entries again, and every promise laid out again."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from pydantic_core import from_json
from sqlalchemy import Connection, Row, select

from api.desk.stock import lot_balance, supply_balance
from api.store.stock import live_holds, on_the_shelf
from api.store.tables import ENTRIES, LOTS, SUPPLIES
from catalog.model import Catalog
from rules.ledger import Entry, lot_after, supply_after
from rules.needs import short_lots, short_supplies
from rules.stock import Warehouse

_History = Mapping[str, Sequence[Any]]
_NOT_THERE = "panels are set aside in it, and it is not there"
_NOT_LYING = "what is set aside in it does not lie in what is there"


def differences(connection: Connection, catalog: Catalog, gap_um: int) -> Iterator[str]:
    """Yield each difference between what the store says and what its entries make, in words; none where all is well.

    Args:
        connection: one on which every statement sees the same state.
        catalog: the workshop, for leathers and kinds; its stock figures are not read.
        gap_um: least distance between two panels, in micrometers.
    """
    lots = connection.execute(select(LOTS).order_by(LOTS.c.place)).all()
    supplies = connection.execute(select(SUPPLIES).order_by(SUPPLIES.c.code)).all()
    yield from _balances("lot", lots, _history(connection, "lot"), lot_after, lot_balance)
    yield from _balances("supply", supplies, _history(connection, "supply"), supply_after, supply_balance)
    needs = [need for hold in live_holds(connection) for need in hold.needs]
    stock = on_the_shelf(connection, catalog)
    for code in short_lots(stock, needs, Warehouse(gap_um)):
        there = code in stock.lots
        yield f"lot {code}: {_NOT_LYING if there else _NOT_THERE}"
    for code, amount, left in short_supplies(stock, needs):
        yield f"supply {code}: {amount} is set aside of {left} left"


def _history(connection: Connection, noun: str) -> _History:
    found: dict[str, list[Any]] = {}
    asked = select(ENTRIES.c.record, ENTRIES.c.number, ENTRIES.c.kind, ENTRIES.c.body).where(ENTRIES.c.noun == noun)
    for row in connection.execute(asked.order_by(ENTRIES.c.number)):
        found.setdefault(row.record, []).append(row)
    return found


def _balances(
    noun: str,
    rows: Sequence[Row[Any]],
    history: _History,
    after: Callable[[Sequence[Entry]], Any],
    balance_of: Callable[[Row[Any]], Any],
) -> Iterator[str]:
    for row in rows:
        entries = history.get(row.code, ())
        if [each.number for each in entries] != list(range(1, len(entries) + 1)) or not entries:
            yield f"{noun} {row.code}: entries are missing"
        try:
            derived = after([(each.kind, from_json(each.body)) for each in entries])
        except (KeyError, TypeError, ValueError) as bad:
            yield f"{noun} {row.code}: an entry cannot be read: {bad!r}"
            continue
        if derived != balance_of(row):
            yield f"{noun} {row.code}: its entries make {derived}, the book says {balance_of(row)}"
    for code in sorted(set(history) - {row.code for row in rows}):
        yield f"{noun} {code}: there are entries, and no {noun}"
