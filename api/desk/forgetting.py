"""Deleting the customer's own text; lots, patterns, prices and what was built stay."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pydantic_core import from_json
from sqlalchemy import Row, select, update

from api.desk.history import add_entry
from api.desk.orders import order_record
from api.desk.quotes import quote_record
from api.desk.rows import items_of, order_row, quote_row, set_item, set_row
from api.desk.scrub import scrubbed
from api.errors import ProblemError
from api.house import House
from api.store.engine import Write
from api.store.stock import dumped
from api.store.tables import ANSWERED, ENTRIES, ORDERS, QUOTES
from api.visibility import Caller, record_view

_LETTERS = "MON-"


def _scrubbed_answer(answer: Mapping[str, Any]) -> dict[str, Any]:
    findings = [finding for finding in answer["findings"] if not finding["rule"].startswith(_LETTERS)]
    headline = answer["headline"] if len(findings) == len(answer["findings"]) else "Customer text was deleted."
    kept = {name: value for name, value in answer.items() if name != "read_back"}
    return {**kept, "spec": scrubbed(answer["spec"]), "findings": findings, "headline": headline}


def forget_quote(house: House, write: Write, row: Row[Any], takes: Sequence[str], *, by: str) -> None:
    """Delete the customer's text from a quote that is over. It cannot be renewed after that.

    Raises:
        ProblemError: it is not over, or became an order, which is where to ask.
    """
    if "forget" not in takes:
        raise ProblemError(
            "wrong-state",
            "the letters are still needed: withdraw the quote first, or ask the order it became",
            members={"state": row.state, "takes": list(takes)},
        )
    _scrub(write, row.id)
    set_row(write, QUOTES, row, reference=None, state="withdrawn")
    add_entry(write, "quote", row.id, at=house.now(), by=by, kind="forget", body={})
    _rewrite_answers(write, quote_record(house, write.connection, quote_row(write.connection, row.id, None)))


def forget_order(house: House, write: Write, row: Row[Any], *, by: str) -> None:
    """Delete the customer's text from an order that is over, and from its quote."""
    for record in (row.id, row.quote):
        _scrub(write, record)
    connection = write.connection
    payment = {**from_json(row.payment), "reference": None}
    set_row(write, ORDERS, row, reference=None, payment=dumped(payment))
    connection.execute(update(QUOTES).where(QUOTES.c.id == row.quote).values(reference=None))
    add_entry(write, "order", row.id, at=house.now(), by=by, kind="forget", body={})
    _rewrite_answers(write, quote_record(house, connection, quote_row(connection, row.quote, None)))
    _rewrite_answers(write, order_record(connection, order_row(connection, row.id, None)))


def _scrub(write: Write, record: str) -> None:
    _scrub_entries(write, record)
    for item in items_of(write.connection, record):
        answer = _scrubbed_answer(item["check"])
        set_item(write, record, item["item"], spec=scrubbed(item["spec"]), answer=answer)


def _scrub_entries(write: Write, record: str) -> None:
    """Delete what people wrote of the customer in a record's history; what happened stays."""
    connection = write.connection
    for entry in connection.execute(select(ENTRIES).where(ENTRIES.c.record == record)).all():
        body = from_json(entry.body)
        for name in ("reason", "note"):
            if name in body:
                body[name] = None
        if "payment" in body:
            body["payment"] = {**body["payment"], "reference": None}
        connection.execute(update(ENTRIES).where(ENTRIES.c.id == entry.id).values(body=dumped(body)))


def _rewrite_answers(write: Write, record: Mapping[str, Any]) -> None:
    """Make the answers kept for retries show the record as it is now: a retry still has no second effect."""
    body = dumped(record_view(record, Caller.SERVER))
    write.connection.execute(update(ANSWERED).where(ANSWERED.c.record == record["id"]).values(body=body))
