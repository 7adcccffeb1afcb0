"""Rows for every table of a database, made from nothing but its columns, keys and checks."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Connection,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    insert,
    inspect,
    select,
)

#: Rows a table gets. Wherever a column may be null, the last one is.
ROWS = 3
#: Alembic's own table says which migration was run last.
NOT_OURS = {"alembic_version"}
_BEYOND_32_BITS = 2**40

Rows = dict[str, list[dict[str, Any]]]


def tables_in(connection: Connection) -> list[Table]:
    """Return the tables as the database has them, whoever is pointed at first."""
    found = MetaData()
    found.reflect(connection)
    return [table for table in found.sorted_tables if table.name not in NOT_OURS]


def fill(connection: Connection) -> None:
    """Give every table rows, but for those that a migration has filled."""
    for table in tables_in(connection):
        if connection.execute(select(table)).first() is None:
            for number in range(1, ROWS + 1):
                connection.execute(insert(table), _row(connection, table, number))


def rows_in(connection: Connection) -> Rows:
    """Return every row of every table, in an order of its own."""
    return {
        table.name: sorted((dict(row._mapping) for row in connection.execute(select(table))), key=repr)
        for table in tables_in(connection)
    }


def shared(rows: Rows, other: Rows) -> Rows:
    """Return rows without the tables and columns that another state of the database has not."""
    return {
        name: sorted(({column: row[column] for column in row if column in other[name][0]} for row in found), key=repr)
        for name, found in rows.items()
        if other.get(name)
    }


def _row(connection: Connection, table: Table, number: int) -> dict[str, Any]:
    checks = [check["sqltext"] for check in inspect(connection).get_check_constraints(table.name)]
    return {column.name: _value(column, number, checks) for column in table.columns}


def _value(column: Column[Any], number: int, checks: Iterable[str]) -> Any:
    target = next(iter(column.foreign_keys), None)
    if target is not None and target.column.table is column.table:  # the row before, if any
        return None if number == 1 else _value(target.column, number - 1, checks)
    if column.nullable and number == ROWS:
        return None
    if target is not None:
        return _value(target.column, number, ())
    if isinstance(column.type, Boolean):
        return number % 2 == 0
    if isinstance(column.type, BigInteger):
        return _BEYOND_32_BITS + number
    if isinstance(column.type, Integer):
        return number
    words = _allowed(column.name, checks) or f"{column.table.name} {column.name} {number}: 'é', \"\n\""
    return words.encode() if isinstance(column.type, LargeBinary) else words


def _allowed(column: str, checks: Iterable[str]) -> str | None:
    """Return the first of the words that a check lists for a column."""
    for check in checks:
        listed = re.fullmatch(rf"\W*{column}\b.*?'([^']+)'.*", check, re.DOTALL)
        if listed:
            return listed[1]
    return None


def differing(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[str]:
    """Return the tables whose rows differ."""
    return sorted(name for name in {*before, *after} if before.get(name) != after.get(name))
