"""Templates of a wish list: every column, what may stand there today, and three wishes that can be made.

What a template proposes is the stock's and the day's. It is made anew when either has changed, and the same
stock and day give the same bytes.
"""

from __future__ import annotations

import io
import threading
from collections.abc import Iterator
from datetime import date
from itertools import islice
from typing import Any, Final

from api.figures import mm
from api.lists.columns import COLUMNS, Column
from api.lists.offered import Offered, offered_on
from api.lists.workbook import Facts, Row, workbook
from api.lists.written import cells_of
from api.published import Document, sealed
from api.sheets.model import Form
from api.sheets.writing import writer
from api.visibility import Caller
from rules.check import judge
from rules.defaults import fill_gaps
from rules.shop import Shop
from rules.spec import Spec

#: How many wishes are worked out as examples.
EXAMPLES: Final = 3
_BUILDABLE: Final = "buildable"


class Templates:
    """The templates of one service, each kept until the stock or the day is another."""

    def __init__(self) -> None:
        """Begin with none."""
        self._lock = threading.Lock()
        self._at: tuple[Any, ...] = ()
        self._offered: Offered | None = None
        self._rows: tuple[Row, ...] = ()
        self._kept: dict[tuple[str, bool], Document] = {}

    def get(self, kind: str, shop: Shop, today: date, who: Caller) -> Document:
        """Return the template of a kind, ``xlsx`` or ``csv``, for a class of keys.

        May take a second; safe in threads.
        """
        staff = who >= Caller.STAFF
        with self._lock:
            offered = self._at_hand(shop, today)
            if (kind, staff) not in self._kept:
                revision = shop.catalog.workshop.catalog_revision
                facts = Facts(columns_for(who), offered, self._rows, today, revision)
                self._kept[kind, staff] = sealed(workbook(facts) if kind == "xlsx" else _delimited(facts))
            return self._kept[kind, staff]

    def _at_hand(self, shop: Shop, today: date) -> Offered:
        at = (shop.catalog.content_hash, shop.stock_revision, shop.backlog_revision, today)
        if self._offered is None or at != self._at:
            self._kept = {}
            self._rows = worked_rows(shop, today)
            self._at, self._offered = at, offered_on(shop, today)
        return self._offered


def columns_for(who: Caller) -> tuple[Column, ...]:
    """Return the columns that a class of keys may send, in their order."""
    return tuple(column for column in COLUMNS.values() if who >= column.least)


def worked_rows(shop: Shop, today: date) -> tuple[Row, ...]:
    """Return a few wishes that can be made today, each of another pattern: its defaults, where they suffice."""
    return tuple(islice(_buildable(shop, today), EXAMPLES))


def _buildable(shop: Shop, today: date) -> Iterator[Row]:
    count = 0
    for pattern in shop.catalog.patterns:
        spec, _ = fill_gaps(Spec(pattern=pattern), shop.indexes)
        if judge(shop, spec, today).outcome == _BUILDABLE:
            count += 1
            yield cells_of({"reference": f"example {count}", **_body(spec)})


def _body(spec: Spec) -> dict[str, Any]:
    """Return as JSON what defaults may fill in."""
    return {
        "pattern": spec.pattern,
        "parts": {part: {"leather": chosen.leather} for part, chosen in spec.parts.items()},
        "thread": spec.thread,
        "edge": spec.edge,
        "hardware": dict(spec.hardware),
        "sizes": {name: mm(um) for name, um in spec.sizes_um.items()},
        "quantity": spec.quantity,
    }


def _delimited(facts: Facts) -> bytes:
    out = io.BytesIO()
    with writer(Form(), out, [column.name for column in facts.columns]) as rows:
        for row in facts.rows:
            rows.row([row.get(column.name) for column in facts.columns])
    return out.getvalue()
