"""Prices: laws that hold for any spec and any list, rows under conditions, and faults with their place."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest

from catalog.load import load_catalog
from catalog.model import Catalog, Kind
from catalog.strict_yaml import Faults
from rules.check import check, judge
from rules.piece import Piece
from rules.pricing import Price, priced
from rules.sample import sample_specs
from rules.shop import Shop, open_shop
from rules.spec import Monogram, PartChoice, Spec
from rules.themes import known_good

SPECS = 2_500


@pytest.fixture(scope="module")
def tiny(tiny_catalog: Catalog, book_files: dict[str, str]) -> Shop:
    return open_shop(tiny_catalog, book_files)


@pytest.fixture(scope="module", params=["demo", "tiny"])
def workshop(request: pytest.FixtureRequest, shop: Shop, tiny: Shop) -> Shop:
    return shop if request.param == "demo" else tiny


def priced_specs(shop: Shop, today: date, seed: str) -> list[tuple[Spec, Price]]:
    drawn = sample_specs(shop.catalog, random.Random(seed), today, SPECS)
    found = [(spec, price) for spec in drawn if (price := priced(shop.piece(spec))) is not None]
    assert len(found) > SPECS / 4
    return found


def price_of(shop: Shop, spec: Spec) -> Price:
    found = priced(shop.piece(spec))
    assert found is not None
    return found


def test_lines_sum_to_each_and_each_times_quantity_is_the_total(workshop: Shop, today: date) -> None:
    for spec, price in priced_specs(workshop, today, "sums"):
        assert sum(amount for _, _, amount in price.shown) == price.each_minor
        assert price.each_minor * spec.quantity == price.total_minor
        point = workshop.catalog.price_list.point
        step = point.step_minor if price.each_minor >= point.from_minor else point.step_below_minor
        assert price.each_minor % step == 0


def test_what_the_answer_shows_adds_up_in_its_own_digits(workshop: Shop, today: date) -> None:
    rate = Decimal(str(workshop.catalog.workshop.vat_percent)) / 100
    cent = Decimal(1).scaleb(-workshop.catalog.workshop.minor_digits)
    for spec, _ in priced_specs(workshop, today, "answers")[:300]:
        price = check(workshop, spec, today=today)["price"]
        assert sum(Decimal(line["amount"]) for line in price["lines"]) == Decimal(price["each"])
        assert Decimal(price["each"]) * price["quantity"] == Decimal(price["total"])
        net = Decimal(price["total"]) - Decimal(price["tax"]["included"])
        assert abs(net * rate - Decimal(price["tax"]["included"])) <= cent
        assert 0 <= Decimal(price["deposit"]) <= Decimal(price["total"])


def test_more_letters_never_lower_a_price(workshop: Shop, today: date) -> None:
    raised = 0
    face = next(iter(workshop.catalog.typefaces.values()))
    for spec, _ in priced_specs(workshop, today, "letters")[:600]:
        prices = [
            price_of(workshop, replace(spec, monogram=Monogram("A" * count, face.methods[0], face.code))).each_minor
            for count in (1, 3, 4, 9)
        ]
        assert prices == sorted(prices)
        raised += prices[0] < prices[-1]
    assert raised > 0


def _cheaper_and_dearer(shop: Shop, piece: Piece) -> list[tuple[str, str, str]]:
    """Parts with two leathers of which the second is of a dearer band, both with a price."""
    bands, cells = shop.catalog.price_list.bands, shop.indexes.tariff.base[piece.pattern.code]  # type: ignore[union-attr]

    def rank(kind: Kind) -> int:
        return bands.index(kind.price_band)

    offered = [each for each in shop.catalog.leathers.values() if each.kind.price_band in cells]
    ordered = sorted(offered, key=lambda each: (rank(each.kind), each.code))
    return [
        (part, one.code, other.code)
        for part in piece.parts
        for one, other in pairwise(ordered)
        if rank(one.kind) < rank(other.kind)
    ]


def test_a_dearer_band_never_lowers_a_price(shop: Shop, today: date) -> None:
    raised = 0
    for spec, _ in priced_specs(shop, today, "bands")[:500]:
        for part, cheap, dear in _cheaper_and_dearer(shop, shop.piece(spec)):
            one, other = (
                price_of(shop, replace(spec, parts={**spec.parts, part: replace(spec.parts[part], leather=code)}))
                for code in (cheap, dear)
            )
            # A contrasting edge is charged by the outside's color, whatever its band.
            if {line.code for line in one.lines} - {"part"} == {line.code for line in other.lines} - {"part"}:
                assert one.each_minor <= other.each_minor
                raised += one.each_minor < other.each_minor
    assert raised > 0


@pytest.mark.parametrize(
    "more",
    [
        lambda spec: replace(spec, rush=True),
        lambda spec: replace(spec, modifications=(*spec.modifications, "hidden_slot")),
        lambda spec: replace(spec, parts={part: replace(own, side="flesh") for part, own in spec.parts.items()}),
    ],
    ids=["rush", "modification", "flesh side"],
)
def test_asking_for_more_never_lowers_a_price(shop: Shop, today: date, more: Callable[[Spec], Spec]) -> None:
    specs = priced_specs(shop, today, "more")
    assert all(price.each_minor <= price_of(shop, more(spec)).each_minor for spec, price in specs)


def test_a_larger_quantity_never_raises_the_price_of_one(workshop: Shop, today: date) -> None:
    for spec, _ in priced_specs(workshop, today, "quantity")[:400]:
        each = [price_of(workshop, replace(spec, quantity=count)).each_minor for count in (1, 4, 5, 10, 25, 60)]
        assert each == sorted(each, reverse=True)


def test_a_price_is_the_same_whatever_the_piece_is_cut_from(shop: Shop, today: date) -> None:
    for spec, price in priced_specs(shop, today, "lots")[:300]:
        case = judge(shop, spec, today).case
        lots = {part: (shop.catalog.lots_of(own.leather.code)[-1].code,) for part, own in case.piece.parts.items()
                if own.leather is not None and shop.catalog.lots_of(own.leather.code)}  # fmt: skip
        assert price_of(shop, replace(spec, lots=lots)) == price


def with_rows(files: dict[str, str], *rows: str) -> dict[str, str]:
    """The tiny workshop with rows of its own after the last one, which stands on line 15."""
    text = files["price-list.yaml"].replace(
        "quantity_breaks:", "".join(f"  - {row}\n" for row in rows) + "quantity_breaks:"
    )
    return {**files, "price-list.yaml": text}


def test_a_row_of_the_houses_own_is_charged_under_its_condition(
    tiny_files: dict[str, str], book_files: dict[str, str]
) -> None:
    own = (
        "{code: H-DUO, says: for two or more, amount: 300, when: {piece.quantity: {min: 2}, piece.pattern: coinpouch}}"
    )
    counted = "{code: H-SIGNS, says: '{count} signs', amount: 10, for_each: piece.monogram_letters, when: {}}"
    house = open_shop(load_catalog(with_rows(tiny_files, own, counted)), book_files)
    plain = known_good(house.catalog.patterns["coinpouch"])
    assert "H-DUO" not in {code for code, _, _ in price_of(house, plain).shown}
    two = replace(plain, quantity=2, monogram=Monogram("A B"))
    assert [line[:2] for line in price_of(house, two).shown if line[0].startswith("H-")] == [
        ("H-DUO", "for two or more"), ("H-SIGNS", "2 signs"),
    ]  # fmt: skip
    amounts = {code: amount for code, _, amount in price_of(house, two).shown}
    assert (amounts["H-DUO"], amounts["H-SIGNS"]) == (300, 20)


#: A row, what its fault points at, and what the fault says.
HOSTILE = [
    ("{code: H-1, says: x, amount: 1, when: {piece.quantitty: 2}}", "2}}", "piece.quantity"),
    ("{code: H-1, says: x, amount: 1, when: {piece.minutes: {min: 60 min}}}", "{min", "a price does not"),
    ("{code: H-1, says: x, amount: 1, when: {piece.thread_needed: {min: 60 m}}}", "{min", "depends on lots"),
    ("{code: H-1, says: x, amount: 1, when: {panel.upper: {min: 1 mm}}}", "{min", "panel.upper"),
    ("{code: H-1, says: x, amount: 1, when: {piece.reversed: 3}}", "3}}", "piece.reversed"),
    ("{code: H-1, says: x, amount: 1, when: {piece.pattern: coinpoch}}", "coinpoch", "coinpouch"),
    ("{code: H-1, says: '{cout} x', amount: 1, when: {}}", "'{cout", "{count}"),
    ("{code: H-1, says: '{count} x', amount: 1, when: {}}", "'{count", "for_each"),
    ("{code: H-1, says: x, amount: 1, when: {}, for_each: piece.closed}", "piece.closed", "no count"),
]


@pytest.mark.parametrize(("row", "at", "says"), HOSTILE, ids=[row for row, _, _ in HOSTILE])
def test_a_row_that_cannot_be_read_is_refused_with_its_place(
    row: str, at: str, says: str, tiny_files: dict[str, str], book_files: dict[str, str]
) -> None:
    with pytest.raises(Faults) as refused:
        open_shop(load_catalog(with_rows(tiny_files, row)), book_files)
    (fault,) = refused.value.faults
    assert (fault.file, fault.line, fault.column) == ("price-list.yaml", 16, len("  - ") + row.index(at) + 1)
    assert says in fault.message


def test_faults_of_the_book_and_of_the_price_list_are_found_at_once(
    tiny_files: dict[str, str], book_files: dict[str, str]
) -> None:
    broken = {**book_files, "color.yaml": book_files["color.yaml"].replace("each: piece", "each: peace", 1)}
    row = "{code: H-1, says: x, amount: 1, when: {piece.quantitty: 2}}"
    with pytest.raises(Faults) as refused:
        open_shop(load_catalog(with_rows(tiny_files, row)), broken)
    assert {fault.file for fault in refused.value.faults} == {"color.yaml", "price-list.yaml"}


def test_the_hash_of_the_price_list_moves_with_what_decides_a_price_and_with_nothing_else(
    tiny_files: dict[str, str], book_files: dict[str, str]
) -> None:
    def hash_of(**changed: Any) -> str:
        return open_shop(load_catalog({**tiny_files, **changed}), book_files).indexes.tariff.content_hash

    first = hash_of()
    prices, shop, labor = (tiny_files[name] for name in ("price-list.yaml", "workshop.yaml", "labor.yaml"))
    assert hash_of(**{"price-list.yaml": prices.replace("14500", "14600")}) != first
    assert hash_of(**{"price-list.yaml": prices.replace("amount: 900", "amount: 901")}) != first
    assert hash_of(**{"workshop.yaml": shop.replace("vat_percent: 10", "vat_percent: 8")}) != first
    assert hash_of(**{"price-list.yaml": "# prices of this season\n" + prices}) == first
    assert hash_of(**{"labor.yaml": labor + "\n"}) == first


def test_a_part_without_a_price_is_priced_by_hand(shop: Shop, today: date) -> None:
    strap = known_good(shop.catalog.patterns["belt"])
    dear = next(each for each in shop.catalog.leathers.values() if each.kind.price_band == "F")
    answer = check(shop, replace(strap, parts={"outside": PartChoice(dear.code)}), today=today)
    assert answer["price"] is None
    assert "PRC-02" in {finding["rule"] for finding in answer["findings"]}
