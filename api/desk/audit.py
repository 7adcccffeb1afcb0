"""The audit: every balance derived from its entries again, and every promise laid out again."""

from __future__ import annotations

from collections.abc import Iterator

from pydantic_core import from_json
from sqlalchemy import Connection, select

from api.desk.stock import lot_balance, supply_balance
from api.store.stock import live_holds, on_the_shelf
from api.store.tables import ENTRIES, LOTS, SUPPLIES
from catalog.model import Catalog
from rules.ledger import Entry, lot_after, supply_after
from rules.needs import lie_together
from rules.stock import Warehouse


def differences(connection: Connection, catalog: Catalog, gap_um: int) -> Iterator[str]:
    """Yield each difference between what the store says and what its entries make, in words; none where all is well."""
    for row in connection.execute(select(LOTS).order_by(LOTS.c.place)):
        derived = lot_after(_entries(connection, "lot", row.code))
        if derived != lot_balance(row):
            yield f"lot {row.code}: its entries make {derived}, the book says {lot_balance(row)}"
    for row in connection.execute(select(SUPPLIES).order_by(SUPPLIES.c.code)):
        balance, stated = supply_after(_entries(connection, "supply", row.code)), supply_balance(row)
        if balance != stated:
            yield f"supply {row.code}: its entries make {balance}, the book says {stated}"
    stock = on_the_shelf(connection, catalog)
    needs = [need for hold in live_holds(connection) for need in hold.needs]
    if not lie_together(stock, needs, Warehouse(gap_um)):
        yield f"{len(needs)} items are set aside and do not lie together in what is there"


def _entries(connection: Connection, noun: str, record: str) -> list[Entry]:
    rows = connection.execute(
        select(ENTRIES.c.kind, ENTRIES.c.body)
        .where(ENTRIES.c.noun == noun, ENTRIES.c.record == record)
        .order_by(ENTRIES.c.number)
    )
    return [(row.kind, from_json(row.body)) for row in rows]
