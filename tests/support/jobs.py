"""Pieces to quote and order, and what is read of their quotes and checklists."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from support.desk import Desk

Workshop = Callable[..., Desk]
GOAT = {"leather": "GO-BLK"}
LEAD: dict[str, Any] = {
    "pattern": "lead", "parts": {"outside": {"leather": "HA-RUS"}}, "thread": "TH-P08-NAT", "edge": "ED-BURN",
    "hardware": {"hook": "HW-HOOK25-SS"}, "sizes": {"width_mm": 25, "length_mm": 1200},
    "purpose": {"use": "dog_lead", "dog_kg": 20},
}  # fmt: skip
FOB: dict[str, Any] = {
    "pattern": "fob", "parts": {"outside": {"leather": "BI-TAN"}}, "thread": "TH-P05-TAN", "edge": "ED-RAW",
    "hardware": {"ring": "HW-RING30-SS"},
}  # fmt: skip
UPRIGHT: dict[str, Any] = {
    "pattern": "upright", "parts": {"outside": {"leather": "VS-COG"}, "pockets": GOAT}, "thread": "TH-P05-TAN",
    "edge": "ED-PNT-BLK",
}  # fmt: skip
CLIP: dict[str, Any] = {
    "pattern": "clipfold", "parts": {"outside": {"leather": "CC-NAV"}, "inside": GOAT, "pockets": GOAT},
    "thread": "TH-P05-NAV", "edge": "ED-PNT-NAV", "hardware": {"clip": "HW-CLIP76"},
}  # fmt: skip
STRAP: dict[str, Any] = {
    "pattern": "wstrap", "parts": {"outside": {"leather": "CC-NAV"}, "lining": GOAT}, "thread": "TH-P05-BLK",
    "edge": "ED-PNT-NAV", "hardware": {"buckle": "HW-BKL16-SS"}, "sizes": {"lug_mm": 18, "taper_mm": 2},
}  # fmt: skip


def lettered(spec: dict[str, Any], text: str, zone: str) -> dict[str, Any]:
    return {**spec, "monogram": {"text": text, "method": "blind", "typeface": "FA-SER14", "zone": zone}}


def lot(code: str, old: str, new: str) -> tuple[str, str, str]:
    """Replace a field of a lot's row."""
    return "lots.yaml", rf"^({code}: .*){old}", rf"\g<1>{new}"


def ordered(desk: Desk, *specs: dict[str, Any]) -> str:
    quote = desk.quote(*specs)
    assert quote.status_code == 201, quote.text
    desk.agree(quote.json()["id"])
    order = desk.order(quote.json()["id"])
    assert order.status_code == 201, order.text
    found: str = order.json()["id"]
    return found


def lines(desk: Desk, order: str, stage: str = "cut", who: str = "staff") -> dict[str, dict[str, Any]]:
    """The lines of a checklist by rule; the first of each."""
    answer = desk.get(f"/v1/orders/{order}/checklists/{stage}", who)
    assert answer.status_code == 200, answer.text
    found: dict[str, dict[str, Any]] = {}
    for line in answer.json()["lines"]:
        found.setdefault(line["rule"], line)
    return found


def said(quote: Any) -> dict[str, dict[str, Any]]:
    return {finding["rule"]: finding for finding in quote.json()["findings"]}


# The note.
