"""The workshop's public facts, its price list and the catalog at a glance."""

from __future__ import annotations

from typing import Any, Final

from api.figures import figure, money
from catalog.model import Workshop
from rules.shop import Shop
from rules.vocabulary import TERMS

WEEKDAYS: Final = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
LISTS: Final = (
    "patterns", "kinds", "leathers", "threads", "edges", "hardware", "typefaces", "foils", "carry-items",
    "price-list", "rules",
)  # fmt: skip


def glance(shop: Shop) -> dict[str, Any]:
    """Return the catalog at a glance."""
    catalog = shop.catalog
    return {
        "revision": catalog.workshop.catalog_revision,
        "content_hash": catalog.content_hash,
        "rule_book_hash": shop.book.content_hash,
        "workshop": _workshop(catalog.workshop),
        "modifications": [{"code": each.code, "name": each.name} for each in catalog.modifications.values()],
        "uses": list(catalog.uses),
        "claims": list(catalog.claims),
        "links": {name.replace("-", "_"): f"/v1/{name}" for name in LISTS},
    }


def _workshop(shop: Workshop) -> dict[str, Any]:
    return {
        "code": shop.code,
        "name": shop.name,
        "currency": shop.currency,
        "vat_percent": figure(shop.vat_percent, "ratio"),
        "home_country": shop.home_country,
        "time_zone": shop.time_zone,
        "working_weekdays": [WEEKDAYS[day] for day in shop.working_weekdays],
        "rush_weeks": shop.rush_weeks,
        "rush_percent": figure(shop.rush_percent, "ratio"),
        "quote_days": shop.quote_days,
        "deposit_percent": figure(shop.deposit_percent, "ratio"),
        "deposit_from": money(shop.deposit_from_minor, shop.minor_digits),
    }


def price_list(shop: Shop) -> dict[str, Any]:
    """Return the price list."""
    catalog, tariff = shop.catalog, shop.indexes.tariff
    prices, digits = catalog.price_list, catalog.workshop.minor_digits
    return {
        "currency": catalog.workshop.currency,
        "bands": list(prices.bands),
        "reference_band": prices.reference_band,
        "base": {
            pattern: {band: money(minor, digits) for band, minor in row.items()}
            for pattern, row in prices.base_minor.items()
        },
        "part_share": {part: figure(share, "ratio") for part, share in prices.part_share.items()},
        "surcharges": [
            {
                "code": each.row.code,
                "says": each.row.says,
                "amount": money(each.row.amount_minor, digits),
                "when": each.when,
                "for_each": None if each.row.for_each is None else TERMS[each.row.for_each].label,
                "beyond": each.row.beyond,
            }
            for each in tariff.surcharges
        ],
        "quantity_breaks": [
            {"from": each.quantity, "percent": figure(each.percent, "ratio")} for each in prices.breaks
        ],
        "price_point": {
            "round": "up",
            "from": money(prices.point.from_minor, digits),
            "step": money(prices.point.step_minor, digits),
            "step_below": money(prices.point.step_below_minor, digits),
        },
    }
