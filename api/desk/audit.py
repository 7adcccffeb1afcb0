"""The audit: every balance derived from its entries again, and every promise laid out again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from pydantic_core import from_json
from sqlalchemy import Connection, Row, select

from api.desk.stock import lot_balance, supply_balance
from api.store.stock import LEFT, live_holds, on_the_shelf
from api.store.tables import ENTRIES, LOTS, SUPPLIES
from catalog.model import Catalog
from rules.ledger import Entry, lot_after, supply_after
from rules.needs import Needs, less
from rules.stock import Warehouse

_History = Mapping[str, Sequence[Any]]
_TAKEN = {"thread": "thread_um", "edge": "edge_ul", "foil": "foil_um", "hardware": "hardware"}


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
    yield from _oversold_lots(stock, needs, gap_um)
    yield from _oversold_supplies(stock, needs)


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


def _oversold_lots(stock: Catalog, needs: Sequence[Needs], gap_um: int) -> Iterator[str]:
    """Yield the lots in which what is set aside does not lie, by area or by layout."""
    panels = [taken for need in needs for taken in need.panels]
    held = less(stock, [Needs(tuple(taken for taken in panels if taken.lot in stock.lots))], gap_um)
    warehouse = Warehouse(gap_um)
    for code in sorted({taken.lot for taken in panels}):
        lot = held.lots.get(code)
        if lot is None:
            yield f"lot {code}: panels are set aside in it, and it is not there"
        elif not warehouse.holds([], lot, stock.leathers[lot.leather].kind):
            yield f"lot {code}: what is set aside in it does not lie in what is there"


def _oversold_supplies(stock: Catalog, needs: Sequence[Needs]) -> Iterator[str]:
    """Yield the supplies of which more is set aside than is left."""
    for noun, field in _TAKEN.items():
        nouns, name = LEFT[noun]
        taken: Counter[str] = Counter()
        for need in needs:
            taken.update(getattr(need, field))
        for code, amount in sorted(taken.items()):
            supply = getattr(stock, nouns).get(code)
            left = 0 if supply is None else getattr(supply, name)
            if left is not None and left < amount:
                yield f"supply {code}: {amount} is set aside of {left} left"
