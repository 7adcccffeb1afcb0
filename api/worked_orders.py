"""A workshop's worked orders (``orders-<family>.yaml``): read strictly, and shown with what they come out as now.

A spec is read by the model that reads a posted one, so an order stands there as a caller would send it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final

from pydantic import ValidationError

from api.errors import violation_of
from api.schemas.spec import SpecIn, to_spec
from catalog.fields import Node, Report
from catalog.figures import FigureError, figure_at, with_figures
from catalog.model import Catalog
from catalog.strict_yaml import Faults, did_you_mean, read
from rules.book import Book
from rules.ir import SEVERITIES
from rules.memo import Memo
from rules.shop import Shop
from rules.spec import Spec
from rules.worked import WorkedOrder, outcome_of, reckoned

FILES: Final = re.compile(r"orders-[a-z0-9-]{1,40}\.yaml")
EXPECTED: Final = ("fails", "passes", "skips")
#: No family of rules needs more orders in one file, no order more suppositions.
MOST_ORDERS, MOST_SUPPOSED = 400, 12
_NEEDED = ("rule", "says", "spec", "expect", "worked")
_OPTIONAL = ("severity", "suppose", "holds", "on")
_KEPT: Final[Memo[tuple[WorkedOrder, ...]]] = Memo(8)
_SHOWN: Final[Memo[list[dict[str, Any]]]] = Memo(400)


def worked_orders(catalog: Catalog, book: Book) -> tuple[WorkedOrder, ...]:
    """Return the worked orders of a catalog as its files have it, in the order of the files.

    Raises:
        Faults: with every fault of every file, each with its line and column.
    """
    key = (catalog.content_hash, book.content_hash)
    return _KEPT.get(key, lambda: read_orders(catalog, book))


def read_orders(catalog: Catalog, book: Book) -> tuple[WorkedOrder, ...]:
    """Read the files of worked orders that a catalog holds as text. Raises Faults with every fault found."""
    report, found = Report(), []
    for file in sorted(catalog.house):
        if FILES.fullmatch(file):
            found += _file(file, catalog, book, report)
    if report.faults:
        raise Faults(report.faults)
    return tuple(found)


def orders_of(catalog: Catalog, book: Book, rule_id: str, today: date) -> list[dict[str, Any]]:
    """Return a rule's worked orders with their outcome now, ready for JSON.

    Args:
        catalog: as its files have it (``House.catalog``): an order never depends on the stock as it stands.
        book: the rules; what they say of an order is kept by both hashes, the rule and the day.
        rule_id: a rule of the book; one without orders has an empty list.
        today: the day of orders that name none.
    """
    key = (catalog.content_hash, book.content_hash, rule_id, today)
    return _SHOWN.get(key, lambda: _all_shown(catalog, book, rule_id, today))


def _all_shown(catalog: Catalog, book: Book, rule_id: str, today: date) -> list[dict[str, Any]]:
    shop = reckoned(catalog, book)
    return [_shown(shop, each, today) for each in worked_orders(catalog, book) if each.rule == rule_id]


def _shown(shop: Shop, order: WorkedOrder, today: date) -> dict[str, Any]:
    now = outcome_of(shop, order, today)
    return {
        "says": order.says,
        "expect": order.expect,
        "severity": order.severity,
        "now": now.word,
        "now_severity": now.severity,
        "on": (order.on or today).isoformat(),
        "spec": order.body,
        "suppose": {path: plain(value) for path, value in order.supposes.items()},
        "holds": list(order.holds),
        "worked": order.worked,
    }


def plain(value: Any) -> Any:
    """Return exact decimals and days of a file as JSON carries them."""
    if isinstance(value, Mapping):
        return {key: plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal | Fraction):
        return int(value) if value == int(value) else float(value)
    return value


def _file(file: str, catalog: Catalog, book: Book, report: Report) -> list[WorkedOrder]:
    try:
        document = read(catalog.house[file], file)
    except Faults as bad:
        report.faults.extend(bad.faults)
        return []
    top = Node(document, (), document.value, report).record(("orders",), ("on",))
    on = top["on"].day() if top.has("on") else None
    nodes = top["orders"].filled()
    if len(nodes) > MOST_ORDERS:
        top["orders"].fault(f"more than {MOST_ORDERS} orders in one file; split it", at_key=True)
        return []
    orders = [_order(node, on, catalog, book) for node in nodes]
    return [order for order in orders if order is not None]


def _order(node: Node, on: date | None, catalog: Catalog, book: Book) -> WorkedOrder | None:
    before = len(node.report)
    fields = node.record(_NEEDED, _OPTIONAL)
    rule = fields["rule"].text()
    if rule and rule not in book.rules:
        fields["rule"].fault(f"no rule is called '{rule}'{did_you_mean(rule, book.rules)}")
    elif rule and "check" not in book.rules[rule].stages:
        fields["rule"].fault(f"{rule} says nothing of a spec; it speaks at another stage")
    expect = fields["expect"].choice(EXPECTED)
    severity = fields["severity"].choice(SEVERITIES) if fields.has("severity") else None
    if severity is not None and expect != "fails":
        fields["severity"].fault("severity: only what fails has one")
    says, worked = fields["says"].text(), fields["worked"].text()
    supposes = _supposes(fields["suppose"], catalog) if fields.has("suppose") else {}
    holds = _holds(fields["holds"], supposes, catalog) if fields.has("holds") else ()
    day = fields["on"].day() if fields.has("on") else on
    body, spec = _spec(fields["spec"])
    if len(node.report) > before or spec is None:
        return None
    return WorkedOrder(
        rule=rule, says=says, spec=spec, expect=expect, worked=worked, body=body,
        severity=severity, supposes=supposes, holds=holds, on=day,  # type: ignore[arg-type]  # chosen from the list
    )  # fmt: skip


def _supposes(node: Node, catalog: Catalog) -> dict[str, Any]:
    found = dict(node.entries())
    if len(found) > MOST_SUPPOSED:
        node.fault(f"an order supposes up to {MOST_SUPPOSED} figures")
        return {}
    for path, entry in found.items():
        try:
            catalog = with_figures(catalog, {path: entry.value})  # one after the other, as they are judged together
        except FigureError as bad:
            entry.fault(str(bad), at_key=True)
    return {path: entry.value for path, entry in found.items()}


def _holds(node: Node, supposes: Mapping[str, Any], catalog: Catalog) -> tuple[str, ...]:
    paths = node.distinct(node.texts())
    for item, path in zip(node.items(), paths, strict=True):
        try:
            if path:
                figure_at(catalog, path)
        except FigureError as bad:
            item.fault(str(bad))
        if any(path == each or path.startswith(f"{each}.") for each in supposes):
            item.fault(f"{path}: an order cannot hold a figure that it supposes")
    return paths


def _spec(node: Node) -> tuple[dict[str, Any], Spec | None]:
    if not isinstance(node.value, dict):
        node.record(("pattern",))
        return {}, None
    body = plain(node.value)
    try:
        return body, to_spec(SpecIn.model_validate(body))
    except ValidationError as bad:
        told = violation_of(bad).errors
        for fault, entry in zip(bad.errors(include_url=False), told, strict=True):
            place = ".".join(str(step) for step in fault["loc"] if step != "[key]")
            path = (*node.path, *fault["loc"])
            node.report.faults.append(node.document.fault(path, f"spec: {place}: {entry['detail']}"))
    return body, None
