"""The demo's carry items against published sizes.

Sources: ISO/IEC 7810 (ID-1, ID-3), ICAO Doc 9303 (passport), the issuers' and reference pages for
banknotes, sizes in use for business cards; see data/SOURCES.md. Only rows marked ``seen`` count.
"""

from __future__ import annotations

import csv
from decimal import Decimal
from pathlib import Path

import pytest

from catalog.model import Catalog

with (Path(__file__).parent / "data" / "objects_to_fit.csv").open(encoding="utf-8", newline="") as _file:
    PUBLISHED = {(row["kind"], row["name"]): row for row in csv.DictReader(_file)}

SEEN = {
    "BC-EU": ("business_card", "EU 85x55"),
    "BC-US": ("business_card", "US and Canada 3.5x2 in"),
    "BC-JP": ("business_card", "Japan no.4"),
    "BC-CN": ("business_card", "Hong Kong, China, Singapore"),
    "BC-AU": ("business_card", "Nordic, Australia, New Zealand 90x55"),
    "BC-SE": ("business_card", "Nordic, Australia, New Zealand 90x55"),
    "BC-PL": ("business_card", "Eastern Europe, Mexico, Brazil 90x50"),
    "EUR5": ("banknote", "EUR 5 first series"),
    "EUR10": ("banknote", "EUR 10 first series"),
    "EUR20": ("banknote", "EUR 20 first series"),
    "EUR50": ("banknote", "EUR 50 first series"),
    "EUR100": ("banknote", "EUR 100 first series"),
    "EUR200": ("banknote", "EUR 200 first series"),
    "EUR500": ("banknote", "EUR 500 first series"),
    "JPY1000": ("banknote", "JPY 1000"),
    "JPY2000": ("banknote", "JPY 2000"),
    "JPY5000": ("banknote", "JPY 5000"),
    "JPY10000": ("banknote", "JPY 10000"),
    "GBP20": ("banknote", "GBP 20 polymer"),
    "GBP50": ("banknote", "GBP 50 polymer"),
}
ROUNDED = {"USD": ("banknote", "USD all")}
BY_STANDARD = {"ID-1": ("card", "ID-1"), "ID-3": ("passport", "TD3 booklet page")}

# ISO 216: A0 is 841 x 1189 mm, each next size half of the one before, rounded down to whole mm. From memory.
BY_HALVES = {"NB-A5": 5, "NB-A6": 6, "NB-A7": 7}
# Nobody publishes how large a pen is.
IN_USE = {"TO-PEN", "TO-COMB", "TO-SPEC"}

# Not checked: one weak page, and memory. Their source in the catalog says so too.
NOT_USED = {"GBP5": ("banknote", "GBP 5 polymer"), "GBP10": ("banknote", "GBP 10 polymer")}


def um(text: str) -> int:
    """Return millimeters as whole micrometers."""
    return int(Decimal(text) * 1000)


@pytest.mark.parametrize(("code", "key"), SEEN.items(), ids=lambda value: value if isinstance(value, str) else "")
def test_an_item_has_its_published_size(oddlestone: Catalog, code: str, key: tuple[str, str]) -> None:
    item, row = oddlestone.carry_items[code], PUBLISHED[key]
    assert row["status"] == "seen"
    assert (item.width_um, item.height_um) == (um(row["length_mm"]), um(row["height_mm"]))
    if row["thickness_mm"]:
        assert item.thickness_um >= um(row["thickness_mm"])


def test_a_card_is_iso_7810_id_1_at_its_thickest(oddlestone: Catalog) -> None:
    card, row = oddlestone.carry_items["ID-1"], PUBLISHED["card", "ID-1"]
    assert (card.width_um, card.height_um) == (um(row["length_mm"]), um(row["height_mm"]))
    assert card.thickness_um == um(row["thickness_mm"]) + 80


def test_a_passport_is_id_3_standing(oddlestone: Catalog) -> None:
    passport = oddlestone.carry_items["ID-3"]
    for key in (("passport", "TD3 booklet page"), ("card", "ID-3")):
        row = PUBLISHED[key]
        assert (passport.height_um, passport.width_um) == (um(row["length_mm"]), um(row["height_mm"]))


def test_a_dollar_note_is_the_issuers_inches_rounded_up_to_a_tenth(oddlestone: Catalog) -> None:
    note, row = oddlestone.carry_items["USD"], PUBLISHED[ROUNDED["USD"]]
    for ours, published, step in (
        (note.width_um, Decimal(row["length_mm"]), 100),
        (note.height_um, Decimal(row["height_mm"]), 100),
        (note.thickness_um, Decimal(row["thickness_mm"]), 10),
    ):
        assert 0 <= ours - published * 1000 < step


@pytest.mark.parametrize(("code", "size"), BY_HALVES.items())
def test_a_notebook_is_a_sheet_of_iso_216_standing(oddlestone: Catalog, code: str, size: int) -> None:
    width, height = 841, 1189
    for _ in range(size):
        width, height = height // 2, width
    item = oddlestone.carry_items[code]
    assert (item.width_um, item.height_um) == (width * 1000, height * 1000)
    assert "from memory" in item.source


def test_tools_say_that_nobody_publishes_their_sizes(oddlestone: Catalog) -> None:
    assert all("no source" in oddlestone.carry_items[code].source for code in IN_USE)


def test_every_item_of_the_demo_is_checked_or_listed_as_not_used(oddlestone: Catalog) -> None:
    assert set(oddlestone.carry_items) == {*SEEN, *ROUNDED, *BY_STANDARD, *BY_HALVES, *IN_USE, *NOT_USED}
    for code, key in NOT_USED.items():
        assert PUBLISHED[key]["status"] in {"memory", "seen_weak"}
        assert oddlestone.carry_items[code].source.startswith("from memory")
