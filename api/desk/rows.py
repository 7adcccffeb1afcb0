"""Rows of records and of stock: looked up, and changed so that their version moves on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pydantic_core import from_json
from sqlalchemy import Connection, Row, Table, func, insert, select, update

from api.errors import ProblemError, not_found
from api.store.engine import Write
from api.store.stock import dumped
from api.store.tables import HOLDS, ITEMS, LOTS, ORDERS, QUOTES, SUPPLIES


def quote_row(connection: Connection, quote: str, client: str | None) -> Row[Any]:
    """Return a quote's row; ``client`` None: whosever it is.

    Raises:
        ProblemError: there is none, or it is another's.
    """
    return _present(own_row(connection, QUOTES, quote, client), "quote")


def order_row(connection: Connection, order: str, client: str | None) -> Row[Any]:
    """Return an order's row; ``client`` None: whosever it is.

    Raises:
        ProblemError: there is none, or it is another's.
    """
    return _present(own_row(connection, ORDERS, order, client), "order")


def own_row(connection: Connection, table: Table, record: str, client: str | None) -> Row[Any] | None:
    """Return a record's row if it is the client's; ``client`` None: whosever it is."""
    asked = select(table).where(table.c.id == record.upper())
    return connection.execute(asked if client is None else asked.where(table.c.client == client)).one_or_none()


def lot_row(connection: Connection, code: str) -> Row[Any]:
    """Return a lot's row. Raises ProblemError where there is none."""
    return _present(stock_row(connection, LOTS, code), "lot")


def supply_row(connection: Connection, code: str) -> Row[Any]:
    """Return a supply's row. Raises ProblemError where there is none."""
    return _present(stock_row(connection, SUPPLIES, code), "supply")


def stock_row(connection: Connection, table: Table, code: str) -> Row[Any] | None:
    """Return the row of a lot or a supply, its code compared without regard to case."""
    return connection.execute(select(table).where(func.upper(table.c.code) == code.upper())).one_or_none()


def _present(row: Row[Any] | None, noun: str) -> Row[Any]:
    if row is None:
        raise not_found(noun)
    return row


def check_takes(noun: str, row: Row[Any], takes: Sequence[str], kind: str) -> None:
    """Raise where a record in its state takes no such entry; ``noun`` with its article."""
    if kind not in takes:
        raise ProblemError(
            "wrong-state",
            f"{noun} that is {row.state} takes {', '.join(takes) or 'nothing more'}",
            members={"state": row.state, "takes": list(takes)},
        )


def set_row(write: Write, table: Table, row: Row[Any], **values: Any) -> None:
    """Change the row of a quote, an order or a sign-off."""
    write.connection.execute(update(table).where(table.c.id == row.id).values(version=row.version + 1, **values))


def hold_of(connection: Connection, quote: str) -> Row[Any]:
    """Return what is set aside for a quote or its order."""
    return connection.execute(select(HOLDS).where(HOLDS.c.quote == quote)).one()


def set_hold(write: Write, quote: str, **values: Any) -> None:
    """Change what is set aside for a quote or its order."""
    write.connection.execute(update(HOLDS).where(HOLDS.c.quote == quote).values(**values))


def items_of(connection: Connection, record: str) -> list[dict[str, Any]]:
    """Return a record's items: number, spec as sent, verdict."""
    rows = connection.execute(select(ITEMS).where(ITEMS.c.record == record).order_by(ITEMS.c.item))
    return [{"item": row.item, "spec": from_json(row.spec), "check": from_json(row.answer)} for row in rows]


def add_items(
    write: Write, record: str, specs: Sequence[Mapping[str, Any]], answers: Sequence[Mapping[str, Any]]
) -> None:
    """Write the items of a new record: each spec as sent, its verdict."""
    rows = [
        {"record": record, "item": place, "spec": dumped(spec), "answer": dumped(answer)}
        for place, (spec, answer) in enumerate(zip(specs, answers, strict=True), 1)
    ]
    write.connection.execute(insert(ITEMS), rows)


def set_item(write: Write, record: str, item: int, **values: Mapping[str, Any]) -> None:
    """Change an item's ``spec`` or ``answer``."""
    kept = {name: dumped(value) for name, value in values.items()}
    write.connection.execute(update(ITEMS).where(ITEMS.c.record == record, ITEMS.c.item == item).values(**kept))


def is_cut(order: Row[Any]) -> bool:
    """Whether anything of an order is cut."""
    return any(item["cuts"] for item in from_json(order.as_built))
