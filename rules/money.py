"""Money as the answer writes it: decimal strings beside an ISO 4217 currency."""

from __future__ import annotations

from typing import Any

from rules.piece import Piece
from rules.pricing import deposit_minor, priced, tax_minor

_NOT_FIRM = {"buildable": None, "sign_off": "sign_off", "refused": "refused"}


def money(piece: Piece, minor: int) -> str:
    """Return minor units as a decimal string with the currency's own digits."""
    digits = piece.catalog.workshop.minor_digits
    if not digits:
        return str(minor)
    whole, rest = divmod(abs(minor), 10**digits)
    return f"{'-' if minor < 0 else ''}{whole}.{rest:0{digits}d}"


def price_json(piece: Piece, outcome: str) -> dict[str, Any] | None:
    """Return the price as the answer writes it, or None where there is none."""
    price = priced(piece)
    if price is None:
        return None
    shop = piece.catalog.workshop
    return {
        "currency": shop.currency,
        "firm": outcome == "buildable",
        "why_not_firm": _NOT_FIRM[outcome],
        "lines": [{"code": code, "what": what, "amount": money(piece, amount)} for code, what, amount in price.shown],
        "each": money(piece, price.each_minor),
        "quantity": price.quantity,
        "total": money(piece, price.total_minor),
        "tax": {
            "rate": piece.indexes.tariff.rate,
            "included": money(piece, tax_minor(piece, price.total_minor)),
            "basis": "home",
        },
        "deposit": money(piece, deposit_minor(piece, price.total_minor)),
    }
