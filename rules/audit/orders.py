"""What worked orders show of a book: those that come out otherwise now, and limits that none of them holds."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from rules.audit.report import Report
from rules.pins import unheld_rules
from rules.shop import Shop
from rules.worked import WorkedOrder, as_written, outcome_of


def stale_orders(shop: Shop, orders: Sequence[WorkedOrder], today: date) -> Iterator[Report]:
    """Give the orders of which their rule now says something else than was worked out.

    ``shop`` has the catalog's own figures, ``today`` is the day of orders that name none.
    """
    for order in orders:
        now = outcome_of(shop, order, today)
        if not as_written(order, now):
            expected = order.expect if order.severity is None else f"{order.expect} with {order.severity}"
            found = now.word if now.severity is None else f"{now.word} with {now.severity}"
            says = f"An order of {order.rule} ({order.says}) should be {expected} and is {found}."
            yield Report("stale_example", order.rule, says, witness={"spec": dict(order.body)})


def unheld_limits(shop: Shop, orders: Sequence[WorkedOrder]) -> Iterator[Report]:
    """Give the rules whose limit is a figure of the catalog that no order holds; none where there are no orders."""
    for rule in unheld_rules(shop, orders) if orders else ():
        yield Report("unpinned_limit", rule, f"No worked order stands at a figure that {rule} holds a spec against.")
