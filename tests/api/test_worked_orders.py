"""Files of worked orders: every fault told with its place, and what a rule's orders come out as."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

import rules
from api.worked_orders import MOST_SUPPOSED, orders_of, read_orders
from catalog.model import Catalog
from catalog.strict_yaml import Faults
from rules.shop import Shop, open_shop
from rules.worked import WorkedOrder

TODAY = date(2026, 3, 2)
GOOD = """\
on: 2026-03-02

orders:
  - rule: STK-01
    says: A fob folded to the full height of its seam
    spec: {pattern: fob, parts: {outside: {leather: PU-WAL}}, sizes: {width_mm: 22.5}}
    suppose: {lots.L118.thickness_mm: {min: 2.8, max: 3.0}}
    holds: [patterns.fob.seams.base.limit_mm]
    expect: passes
    worked: Two layers of 3.0 = 6.0 of 6.0.
"""


@pytest.fixture(scope="module")
def shop(oddlestone: Catalog) -> Shop:
    """The demo workshop with the trade's rules."""
    folder = Path(rules.__file__).parent / "book"
    return open_shop(oddlestone, {path.name: path.read_text(encoding="utf-8") for path in folder.glob("*.yaml")})


@pytest.fixture
def read(shop: Shop) -> Callable[[str], tuple[WorkedOrder, ...]]:
    """Read one file of worked orders for the demo workshop."""
    return lambda text: read_orders(replace(shop.catalog, house={"orders-own.yaml": text}), shop.book)


def test_an_order_is_read_as_a_caller_would_send_it(read: Callable[[str], tuple[WorkedOrder, ...]]) -> None:
    (order,) = read(GOOD)
    assert (order.rule, order.expect, order.severity, order.on) == ("STK-01", "passes", None, TODAY)
    assert order.spec.sizes_um == {"width_mm": 22_500}
    assert order.body["sizes"] == {"width_mm": 22.5}
    assert order.holds == ("patterns.fob.seams.base.limit_mm",)


@pytest.mark.parametrize(
    ("old", "new", "place", "says"),
    [
        ("rule: STK-01", "rule: STK-91", "4:11", "no rule is called 'STK-91'; did you mean"),
        ("says:", "sais:", "5:5", "unknown field 'sais'; did you mean 'says'?"),
        ("expect: passes", "expect: pases", "9:13", "'pases' is not known here; did you mean 'passes'?"),
        ("expect: passes", "expect: passes\n    severity: refuse", "10:15", "only what fails has one"),
        ("expect: passes", "expect: fails\n    severity: refuses", "10:15", "did you mean 'refuse'?"),
        ("    expect: passes\n", "", "4:5", "missing: expect"),
        ("pattern: fob,", "patern: fob,", "6:", "spec: pattern: "),
        ("width_mm: 22.5", "width_mm: -3", "6:", "spec: sizes.width_mm: "),
        ("spec: {", "spec: fob #", "6:11", "expected fields"),
        ("lots.L118", "lots.L181", "7:", "nothing is called 'L181' here; did you mean 'L138'?"),
        ("min: 2.8", "min: 3.8", "7:", "min is more than max"),
        ("[patterns.fob", "[patterns.job", "8:13", "nothing is called 'job' here; did you mean 'fob'?"),
        ("patterns.fob.seams.base.limit_mm", "lots.L118.thickness_mm.max", "8:13", "that it supposes"),
        ("on: 2026-03-02", "on: soon", "1:5", "expected a day"),
        ("on: 2026-03-02", "off: 2026-03-02", "1:1", "unknown field 'off'"),
    ],
)
def test_a_slip_is_told_with_its_place(
    read: Callable[[str], tuple[WorkedOrder, ...]], old: str, new: str, place: str, says: str
) -> None:
    assert old in GOOD
    with pytest.raises(Faults) as caught:
        read(GOOD.replace(old, new, 1))
    told = [str(fault) for fault in caught.value.faults]
    assert any(each.startswith(f"orders-own.yaml:{place}") and says in each for each in told), told


def test_no_order_supposes_more_than_a_maker_can_follow(read: Callable[[str], tuple[WorkedOrder, ...]]) -> None:
    many = ", ".join(f"lots.L{101 + each}.left_dm2: 3" for each in range(MOST_SUPPOSED + 1))
    with pytest.raises(Faults, match=f"up to {MOST_SUPPOSED} figures"):
        read(GOOD.replace("lots.L118.thickness_mm: {min: 2.8, max: 3.0}", many))


def test_every_fault_of_every_file_is_found_at_once(shop: Shop) -> None:
    house = {"orders-a.yaml": "orders: []", "orders-b.yaml": GOOD.replace("STK-01", "STK-99"), "orders-c.yaml": "&x"}
    with pytest.raises(Faults) as caught:
        read_orders(replace(shop.catalog, house=house), shop.book)
    assert {fault.file for fault in caught.value.faults} == set(house)


def test_a_workshop_without_worked_orders_has_none(shop: Shop) -> None:
    assert read_orders(replace(shop.catalog, house={}), shop.book) == ()


def test_the_orders_of_a_rule_are_shown_with_what_they_come_out_as_now(shop: Shop) -> None:
    shown = orders_of(shop.catalog, shop.book, "STK-01", TODAY)
    assert [(each["expect"], each["now"], each["now_severity"]) for each in shown] == [
        ("passes", "passes", None),
        ("fails", "fails", "refuse"),
    ]
    assert shown[0]["suppose"] == {"lots.L118.thickness_mm": {"min": 2.8, "max": 3}}
    assert shown[0]["spec"]["pattern"] == "fob"
    assert orders_of(shop.catalog, shop.book, "CAT-01", TODAY) == []
