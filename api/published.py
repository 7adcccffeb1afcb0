"""Documents that change only with the catalog or the rule book: made once, served with an ETag.

Conditional requests follow RFC 9110, 13.1.2: If-None-Match compares weakly, takes lists and ``*``.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from types import MappingProxyType
from typing import Any, Final

from fastapi import Request, Response

from api import workshop
from api.nouns import SUPPLIES, Render, kind
from api.patterns import pattern
from api.rule_book import Wanted, rule_read, wanted_of
from api.visibility import Caller, noun_view, sees_orders, sees_rule
from rules.shop import Shop

_TAG: Final = re.compile(r'(?:W/)?("[\x21\x23-\x7e\x80-\uffff]*")')
_CACHE: Final = "private, max-age=60"
Orders = Callable[[str], Sequence[Mapping[str, Any]]]


@dataclass(frozen=True, slots=True)
class Document:
    """The bytes of a document and its strong entity tag, quotes included."""

    body: bytes
    etag: str


def document(value: Any) -> Document:
    """Return a JSON value as a document."""
    return sealed(json.dumps(value, ensure_ascii=False, separators=(",", ":")).encode())


def sealed(body: bytes) -> Document:
    """Return bytes as a document."""
    return Document(body, f'"{hashlib.blake2b(body, digest_size=16).hexdigest()}"')


def matches(header: str | None, etag: str) -> bool:
    """Return whether an If-None-Match header names a tag, weak or strong, or is ``*``."""
    if header is None:
        return False
    return header.strip() == "*" or etag.removeprefix("W/") in _TAG.findall(header)


def respond(
    request: Request,
    found: Document,
    *,
    media_type: str = "application/json",
    headers: Mapping[str, str] = MappingProxyType({}),
) -> Response:
    """Return the document, or 304 where the caller has it already; ``headers`` are further ones of the document."""
    common = {"etag": found.etag, "cache-control": _CACHE, "vary": "Authorization"}
    if matches(request.headers.get("if-none-match"), found.etag):
        return Response(status_code=304, headers=common)
    return Response(found.body, headers={**common, **headers}, media_type=media_type)


#: Nouns that show what is left of them, or whether they are still to be had.
STOCKED: Final = frozenset({"leathers", "threads", "edges", "hardware", "foils", "typefaces"})


class Published:
    """Every document of one shop, each made when first asked for and kept.

    There are as many as catalog entries times classes of callers, so nothing grows. What shows the stock
    is made anew at each revision of it (:meth:`at`).
    """

    def __init__(self, shop: Shop, kept: Mapping[tuple[str, str | None, Caller], Document] | None = None) -> None:
        """Keep the shop and what was rendered already."""
        self._shop = shop
        self._kept = dict(kept or {})
        nouns = {name: (getattr(shop.catalog, field), render) for name, (field, render) in SUPPLIES.items()}
        self._nouns: Mapping[str, tuple[Mapping[str, Any], Render]] = {
            **nouns,
            "patterns": (shop.catalog.patterns, pattern),
            "kinds": (shop.catalog.kinds, partial(kind, workshop=shop.catalog.workshop)),
            "rules": (shop.book.rules, lambda rule: rule_read(shop, rule)),
        }
        self._codes = {name: {code.casefold(): code for code in held} for name, (held, _) in self._nouns.items()}

    def at(self, shop: Shop) -> Published:
        """Return the documents at another stock: what no stock shows in is kept, if the edition is the same."""
        before = self._shop
        files, book = before.catalog.content_hash, before.book.content_hash
        if (shop.catalog.content_hash, shop.book.content_hash) != (files, book):
            return Published(shop)
        if shop.stock_revision == before.stock_revision:
            return self
        kept = dict(self._kept)  # a copy at once: other requests may be adding to it
        return Published(shop, {key: found for key, found in kept.items() if key[0] not in STOCKED})

    def glance(self, who: Caller) -> Document:
        """Return the catalog at a glance."""
        return self._keep(("catalog", None, who), lambda: workshop.glance(self._shop))

    def price_list(self, who: Caller) -> Document:
        """Return the price list."""
        return self._keep(("price-list", None, who), lambda: workshop.price_list(self._shop))

    def all(self, resource: str, who: Caller) -> Document:
        """Return a list of nouns, in the order of the catalog."""
        held, _ = self._nouns[resource]
        codes = [code for code in held if resource != "rules" or sees_rule(code, who)]
        return self._keep(
            (resource, None, who), lambda: {"items": [self._shown(resource, code, who) for code in codes]}
        )

    def rules(self, wanted: Wanted, who: Caller) -> Document:
        """Return the rules that are wanted, in the order of the book. Not kept: there are many ways to ask."""
        codes = [code for code in wanted_of(self._shop, wanted) if sees_rule(code, who)]
        return document({"items": [self._shown("rules", code, who) for code in codes]})

    def rule(self, rule_id: str, who: Caller, orders: Orders) -> Document | None:
        """Return one rule, with its worked orders for whoever may see them; None where there is none of that id.

        ``orders`` gives those of a rule; they follow the day, so the document is not kept.
        """
        known = self._codes["rules"].get(rule_id.casefold())
        if known is None or not sees_orders(known, who):
            return self.one("rules", rule_id, who)
        return document({**self._shown("rules", known, who), "orders": orders(known)})

    def one(self, resource: str, code: str, who: Caller) -> Document | None:
        """Return one noun, its code compared without regard to case; None where nothing has it."""
        known = self._codes[resource].get(code.casefold())
        if known is None or (resource == "rules" and not sees_rule(known, who)):
            return None
        return self._keep((resource, known, who), lambda: self._shown(resource, known, who))

    def ranked(self, resource: str, codes: Iterable[tuple[str, int]], who: Caller) -> Document:
        """Return the nouns of these codes, in this order, each with its score. Not kept."""
        return document({"items": [{**self._shown(resource, code, who), "score": score} for code, score in codes]})

    def _shown(self, resource: str, code: str, who: Caller) -> dict[str, Any]:
        held, render = self._nouns[resource]
        return noun_view(resource, render(held[code]), who)

    def _keep(self, key: tuple[str, str | None, Caller], make: Callable[[], Any]) -> Document:
        if key not in self._kept:
            self._kept[key] = document(make())
        return self._kept[key]
