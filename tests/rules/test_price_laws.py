"""Prices held against the trade's formula, worked out a second time from the file, and what conditions may read."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from catalog.color import de00_milli
from catalog.load import load_catalog
from catalog.model import Catalog, Leather
from catalog.strict_yaml import read
from rules.check import check, judge
from rules.piece import Piece
from rules.pricing import deposit_minor, priced, settle, tax_included, tax_minor
from rules.sample import sample_specs
from rules.shop import Shop, open_shop
from rules.spec import PartChoice, Spec
from rules.subjects import Whole
from rules.tariff import NEVER_READ, Line, Lotless
from rules.themes import known_good
from rules.vocabulary import READS, TERMS

SPECS = 2_500
Number = int | Fraction


@pytest.fixture(scope="module")
def tiny(tiny_catalog: Catalog, book_files: dict[str, str]) -> Shop:
    return open_shop(tiny_catalog, book_files)


@pytest.fixture(scope="module", params=["demo", "tiny"])
def house(
    request: pytest.FixtureRequest, shop: Shop, tiny: Shop, oddlestone_files: dict[str, str], tiny_files: dict[str, str]
) -> tuple[Shop, dict[str, Any]]:
    """A workshop and its price list as the file writes it."""
    own, files = (shop, oddlestone_files) if request.param == "demo" else (tiny, tiny_files)
    return own, read(files["price-list.yaml"], "price-list.yaml").value


class Formula:
    """The trade's formula, term by term, in the currency's whole units: slow, plain, and on its own.

    base[pattern][band of the outside] + part share x max(0, base[band] - base[reference]) + surcharges,
    then rush, then the break for the quantity, then up to the price point (reference-notes, "Price").
    """

    def __init__(self, shop: Shop, raw: dict[str, Any]) -> None:
        self.workshop = shop.catalog.workshop
        self.contrast = shop.catalog.thresholds["contrast_color_de00"].value
        self.raw = raw
        self.amounts = {row["code"]: Fraction(row["amount"]) for row in raw["surcharges"]}

    def lines(self, piece: Piece) -> list[tuple[str, Fraction]] | None:
        assert piece.pattern is not None
        base = self.raw["base"].get(piece.pattern.code, {})
        bands = {code: None if part.kind is None else part.kind.price_band for code, part in piece.parts.items()}
        if not all(band in base for band in bands.values()):
            return None
        found = [
            ("base" if code == "outside" else "part", self.material(code, band, base)) for code, band in bands.items()
        ]
        found += [(code, self.amounts[code] * count) for code, count in self.asked(piece) if code in self.amounts]
        found = [(code, amount) for code, amount in found if amount or code == "base"]
        total = sum((amount for _, amount in found), Fraction(0))
        if piece.spec.rush:
            found.append(("rush", total * Fraction(self.workshop.rush_percent) / 100))
            total += found[-1][1]
        off = [each for each in self.raw["quantity_breaks"] if each["from"] <= piece.quantity]
        if off:
            found.append(
                ("quantity_break", -total * Fraction(max(off, key=lambda each: each["from"])["percent"]) / 100)
            )
        return found

    def material(self, part: str, band: str | None, base: dict[str, Any]) -> Fraction:
        own = Fraction(base[band])
        if part == "outside":
            return own
        share = Fraction(self.raw["part_share"].get(part, 0))
        return share * max(Fraction(0), own - Fraction(base[self.raw["reference_band"]]))

    def asked(self, piece: Piece) -> Iterator[tuple[str, int]]:
        pattern, monogram, edge, outside = (
            piece.pattern,
            piece.spec.monogram,
            piece.edge,
            piece.parts["outside"].leather,
        )
        assert pattern is not None
        assert outside is not None
        yield "reverse_out", int(any(part.side == "flesh" for part in piece.parts.values()))
        if monogram is not None and monogram.method is not None:
            yield monogram.method, 1
            yield "letter_over_3", max(0, sum(sign != " " for sign in monogram.text) - 3)
        for code in sorted(set(piece.modifications)):
            yield code, int(code in pattern.modifications)
        painted = edge is not None and edge.finish == "paint" and "paint" in pattern.edge_finishes
        if painted and (piece.spec.edge or "").lower() != "match" and edge is not None and edge.swatch is not None:
            yield "contrast_edge_paint", int(de00_milli(edge.swatch, outside.swatch) > self.contrast)

    def each(self, exact: Fraction) -> Fraction:
        point = self.raw["price_point"]
        step = Fraction(point["step"] if exact >= point["from"] else point["step_below"])
        return -(-exact // step) * step


def test_every_price_is_that_of_the_formula(house: tuple[Shop, dict[str, Any]], today: date) -> None:
    shop, raw = house
    formula, minor = Formula(shop, raw), 10**shop.catalog.workshop.minor_digits
    seen: set[str] = set()
    for spec in sample_specs(shop.catalog, random.Random("formula"), today, SPECS):
        piece = shop.piece(spec)
        price, expected = priced(piece), formula.lines(piece)
        assert (price is None) == (expected is None)
        if price is None or expected is None:
            continue
        shown = sorted((line.code, Fraction(line.amount_minor)) for line in price.lines)
        assert shown == sorted((code, amount * minor) for code, amount in expected)
        exact = sum((amount for _, amount in expected), Fraction(0))
        assert price.each_minor == formula.each(exact) * minor
        seen |= {code for code, _ in expected}
    assert {"base", "reverse_out", "blind", "letter_over_3", "rush", "quantity_break"} <= seen


def test_the_tax_and_the_deposit_are_those_of_the_rate(house: tuple[Shop, dict[str, Any]]) -> None:
    """Total x rate / (1 + rate), half even; the deposit from its least total on, to the very unit."""
    shop, _ = house
    own, piece = shop.catalog.workshop, shop.piece(known_good(next(iter(shop.catalog.patterns.values()))))
    draw = random.Random("totals")
    for total in [own.deposit_from_minor - 1, own.deposit_from_minor, *(draw.randrange(10**7) for _ in range(2_000))]:
        exact = Fraction(total) * own.vat_percent / (100 + own.vat_percent)
        assert tax_minor(piece, total) == round(exact)
        assert abs(tax_minor(piece, total) - exact) <= Fraction(1, 2)
        due = round(Fraction(total) * own.deposit_percent / 100) if total >= own.deposit_from_minor else 0
        assert deposit_minor(piece, total) == due
    assert tax_included(120_00, Fraction(0)) == 0


def test_the_answer_shows_the_rate_the_tax_and_the_deposit_of_its_total(shop: Shop, today: date) -> None:
    for spec in sample_specs(shop.catalog, random.Random("shown"), today, 200):
        price = check(shop, spec, today=today)["price"]
        if price is not None:
            cents = int(Decimal(price["total"]) * 100)
            assert int(Decimal(price["tax"]["included"]) * 100) == round(Fraction(cents, 6))
            assert (price["tax"]["rate"], price["tax"]["basis"]) == ("0.20", "home")
            assert int(Decimal(price["deposit"]) * 100) == (round(Fraction(cents, 2)) if cents >= 150_00 else 0)


def test_any_modification_that_is_offered_or_not_never_lowers_a_price(
    house: tuple[Shop, dict[str, Any]], today: date
) -> None:
    shop, _ = house
    for spec in sample_specs(shop.catalog, random.Random("modifications"), today, SPECS):
        before = priced(shop.piece(spec))
        if before is not None:
            for code in shop.catalog.modifications:
                after = priced(shop.piece(replace(spec, modifications=(*spec.modifications, code))))
                assert after is not None
                assert before.each_minor <= after.each_minor


def test_a_dearer_band_never_lowers_the_price_of_a_part_in_the_other_workshop(tiny: Shop, today: date) -> None:
    """The tiny workshop holds one band; a second leather of its dearer band is laid beside it."""
    plain = tiny.catalog.leathers["STRAW"]
    fancy = replace(plain, code="GILT", kind=replace(plain.kind, code="gilded", price_band="fancy"))
    leathers: dict[str, Leather] = {**tiny.catalog.leathers, fancy.code: fancy}
    indexes = type(tiny.indexes)(replace(tiny.catalog, leathers=leathers), tiny.indexes.tariff)
    raised = 0
    for spec in sample_specs(tiny.catalog, random.Random("fancy"), today, 600):
        for part in ("outside", "cheeks"):
            each = [priced(Piece(with_leather(spec, part, code), indexes)) for code in ("STRAW", "GILT")]
            if each[0] is not None and each[1] is not None:
                assert each[0].each_minor <= each[1].each_minor
                raised += each[0].each_minor < each[1].each_minor
    assert raised > 100


def with_leather(spec: Spec, part: str, leather: str) -> Spec:
    own = spec.parts.get(part, PartChoice(None))
    return replace(spec, parts={**spec.parts, part: replace(own, leather=leather)})


def test_rush_break_and_price_point_follow_from_the_subtotal_alone(shop: Shop) -> None:
    """By hand: 269.00 x 1.25 = 336.25, less 8 % = 309.35, up to 310."""
    lines, exact, each = settle(shop.indexes.tariff, 26_900, rush=True, quantity=12)
    assert lines == [
        Line("rush", "rush, 25 %", 6_725),
        Line("quantity_break", "from 10 pieces, 8 % off", -2_690),
    ]
    assert (exact, each) == (30_935, 31_000)
    assert settle(shop.indexes.tariff, 4_001, rush=False, quantity=1) == ([], 4_001, 4_100)
    assert settle(shop.indexes.tariff, Fraction(9_999, 2), rush=False, quantity=1)[2] == 5_000


def test_rows_say_what_they_read_and_it_is_never_a_lot_the_stock_or_the_day(house: tuple[Shop, dict[str, Any]]) -> None:
    shop, _ = house
    for rows in shop.indexes.tariff.rows.values():
        assert rows[0].code == "base"
        for row in rows:
            assert row.reads <= READS - (NEVER_READ - {"price_list"})


def test_what_a_condition_may_ask_is_the_same_without_lots_as_with_them(shop: Shop, today: date) -> None:
    """Prices are worked out before any lot is given: every name allowed there must not notice."""
    names = [
        name for name, term in TERMS.items()
        if name.startswith("piece.") and not term.reads & NEVER_READ
    ]  # fmt: skip
    assert len(names) > 30
    for spec in sample_specs(shop.catalog, random.Random("lotless"), today, 300):
        case = judge(shop, spec, today).case
        alone = Lotless(case.piece, shop.warehouse)
        for name in names:
            assert TERMS[name].measure(alone) == TERMS[name].measure(Whole(case)), name


def test_an_amount_of_nothing_gives_no_line(tiny_files: dict[str, str], book_files: dict[str, str]) -> None:
    text = tiny_files["price-list.yaml"].replace("says: hanging loop, amount: 700", "says: hanging loop, amount: 0")
    shop = open_shop(load_catalog({**tiny_files, "price-list.yaml": text}), book_files)
    price = priced(shop.piece(replace(known_good(shop.catalog.patterns["coinpouch"]), modifications=("loop",))))
    assert price is not None
    assert "loop" not in {line.code for line in price.lines}


def test_a_strap_that_bears_a_load_can_have_a_row_of_the_houses_own(
    oddlestone_files: dict[str, str], book_files: dict[str, str]
) -> None:
    row = "  - {code: H-STRAP, says: tested by hand, amount: 6, when: {piece.load_class: bearing}}\n"
    text = oddlestone_files["price-list.yaml"].replace("\nquantity_breaks:", f"{row}\nquantity_breaks:")
    shop = open_shop(load_catalog({**oddlestone_files, "price-list.yaml": text}), book_files)
    charged = {
        code for code, pattern in shop.catalog.patterns.items()
        if (price := priced(shop.piece(known_good(pattern)))) is not None
        and ("H-STRAP", "tested by hand", 600) in price.shown
    }  # fmt: skip
    bearing = {code for code, pattern in shop.catalog.patterns.items() if pattern.load.load_class == "bearing"}
    assert charged == bearing != set()
