"""The audit of the book, made beside all else when first asked for, and kept for the same files and day."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future
from datetime import date
from threading import Lock, Thread
from typing import Any, Final

from api.published import Document, document
from api.worked_orders import worked_orders
from catalog.model import Catalog
from rules.audit.orders import stale_orders, unheld_limits
from rules.audit.report import KINDS
from rules.audit.run import SPECS, Audit, audited
from rules.audit.search import Tell
from rules.book import Book
from rules.shop import Shop
from rules.stages import lint as data_lint
from rules.worked import reckoned

#: What the rules of stage catalog say of the data itself.
Lint = Callable[[Shop, date], Sequence[Mapping[str, Any]]]
_CHANCE: Final = "the audit of the book"


def audit_of(
    catalog: Catalog, book: Book, today: date, tell: Tell = lambda _: None, specs: int = SPECS, *, exact: bool = True
) -> Audit:
    """Return the audit of a catalog, its stock as the files say, and a rule book on a day; always the same."""
    draw = random.Random(_CHANCE)  # noqa: S311  # a search that comes out the same each time
    shop, orders = reckoned(catalog, book), worked_orders(catalog, book)
    further = [*stale_orders(shop, orders, today), *unheld_limits(shop, orders)]
    worked = [order.spec for order in orders if not order.supposes]
    return audited(shop, today, draw, specs=specs, worked=worked, further=further, tell=tell, exact=exact)


def told(catalog: Catalog, book: Book, today: date, found: Audit, lint: Lint = data_lint) -> dict[str, Any]:
    """Return an audit as JSON carries it."""
    return {
        "as_of": today.isoformat(),
        "revisions": {
            "catalog": catalog.workshop.catalog_revision,
            "catalog_hash": catalog.content_hash,
            "rule_book": book.content_hash,
        },
        "well": not found.open,
        "judged": found.judged,
        "unsearched": list(found.unsearched),
        "kinds": [
            {"kind": kind, "says": says, "reports": sum(report.kind == kind for report in found.reports)}
            for kind, says in KINDS.items()
        ],
        "patterns": [dict(each) for each in found.pictures],
        "reports": [report.as_json() for report in found.reports],
        "standing_by": [report.as_json() for report in found.standing_by],
        "catalog": [dict(each) for each in lint(reckoned(catalog, book), today)],
    }


class RuleAudits:
    """The last audit that was asked for: made once for the same files and day, beside all else that is asked."""

    def __init__(self, lint: Lint = data_lint, specs: int = SPECS, *, exact: bool = True) -> None:
        """Keep what judges the data itself, and how much is looked at."""
        self._exact = exact
        self.judged = 0
        self._lint = lint
        self._specs = specs
        self._lock = Lock()
        self._key: tuple[str, str, date] | None = None
        self._made: Future[Document] = Future()

    def of(self, catalog: Catalog, book: Book, today: date) -> Future[Document]:
        """Return the audit of a catalog, its stock as the files say, and a rule book on a day, once it is made.

        ``judged`` tells how many specs were judged for it so far.
        """
        key = (catalog.content_hash, book.content_hash, today)
        with self._lock:
            if self._key != key:
                self._key, self._made, self.judged = key, Future(), 0
                # Nobody waits for it at the end: what is worked out is lost with the process anyway.
                Thread(target=self._make, args=(self._made, catalog, book, today), daemon=True).start()
            return self._made

    def _make(self, made: Future[Document], catalog: Catalog, book: Book, today: date) -> None:
        def tell(more: int) -> None:
            if made is self._made:
                self.judged += more

        try:
            found = audit_of(catalog, book, today, tell, self._specs, exact=self._exact)
            made.set_result(document(told(catalog, book, today, found, self._lint)))
        except BaseException as bad:  # noqa: BLE001  # whoever waits is told, whatever it was
            made.set_exception(bad)
