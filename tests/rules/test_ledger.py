"""Balances of lots and supplies as their entries leave them. Whole um2, um, ul, pieces."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules import ledger
from rules.ledger import LotBalance, SupplyBalance

OPENING = {
    "kind": "receive",
    "left_um2": 1_000,
    "reserved_um2": 400,
    "thickness_min_um": 1_200,
    "thickness_max_um": 1_400,
    "rectangles": [[20, 15], [10, 10]],
}
SPOOL = {"kind": "receive", "left_base": 100, "sorts": None, "state": "active"}
CASE = {"kind": "receive", "left_base": None, "sorts": {"A": [6, 0], "Q": [3, 1]}, "state": "active"}
NEVER_USED_UP = {"kind": "receive", "left_base": None, "sorts": None, "state": "active"}

AMOUNT = st.integers(0, 1_500)
RECTANGLES = st.lists(st.lists(st.integers(1, 40), min_size=2, max_size=2), max_size=3)
LOT_ENTRIES = st.lists(
    st.one_of(
        st.fixed_dictionaries({"kind": st.just("measure")}, optional={"left_um2": AMOUNT, "rectangles": RECTANGLES}),
        st.fixed_dictionaries({"kind": st.just("count"), "left_um2": AMOUNT}, optional={"rectangles": RECTANGLES}),
        st.fixed_dictionaries(
            {"kind": st.sampled_from(["cut", "recut", "remnant"]), "took_um2": AMOUNT, "rectangles": RECTANGLES}
        ),
        st.fixed_dictionaries({"kind": st.just("scrap"), "reason": st.just("moth")}),
    ),
    max_size=12,
)
SPOOL_ENTRIES = st.lists(
    st.one_of(
        st.fixed_dictionaries({"kind": st.just("receive"), "add_base": AMOUNT}),
        st.fixed_dictionaries({"kind": st.just("count"), "left_base": AMOUNT}),
        st.fixed_dictionaries({"kind": st.just("use"), "used_base": AMOUNT}),
    ),
    max_size=12,
)
SIGNS = st.sampled_from("AQ&")
FEW = st.integers(0, 5)


def ordered(pair: tuple[int, int]) -> list[int]:
    """Return how many there are and how many of them are worn."""
    return sorted(pair, reverse=True)


CASE_ENTRIES = st.lists(
    st.one_of(
        st.fixed_dictionaries({"kind": st.just("receive"), "add_sorts": st.dictionaries(SIGNS, FEW)}),
        st.fixed_dictionaries(
            {"kind": st.just("count"), "sorts": st.dictionaries(SIGNS, st.tuples(FEW, FEW).map(ordered))}
        ),
        st.fixed_dictionaries({"kind": st.just("wear"), "sorts": st.dictionaries(SIGNS, st.integers(-5, 5))}),
    ),
    max_size=12,
)


def pairs(entries: Iterable[dict[str, Any]]) -> list[ledger.Entry]:
    return [(entry["kind"], {name: value for name, value in entry.items() if name != "kind"}) for entry in entries]


def lot_after(entries: Iterable[dict[str, Any]]) -> LotBalance:
    return ledger.lot_after(pairs(entries))


def supply_after(entries: Iterable[dict[str, Any]]) -> SupplyBalance:
    return ledger.supply_after(pairs(entries))


def test_a_lot_begins_as_it_was_received() -> None:
    assert lot_after([OPENING]) == LotBalance(1_000, 400, 1_200, 1_400, ((20, 15), (10, 10)), "open")


def test_a_cut_takes_area_and_states_the_rectangles_that_are_left() -> None:
    left = lot_after([OPENING, {"kind": "cut", "took_um2": 300, "rectangles": [[10, 10]]}])
    assert (left.left_um2, left.reserved_um2, left.rectangles) == (700, 400, ((10, 10),))


def test_what_was_measured_after_a_cut_counts_and_not_the_difference() -> None:
    cut = {"kind": "cut", "took_um2": 0, "left_um2": 1_100, "rectangles": []}
    assert lot_after([OPENING, cut]).left_um2 == 1_100


def test_a_recut_takes_the_same_area_once_more() -> None:
    cut = {"kind": "cut", "took_um2": 300, "rectangles": [[10, 10]]}
    assert lot_after([OPENING, cut, {**cut, "kind": "recut", "rectangles": []}]).left_um2 == 400


def test_what_is_reserved_is_never_more_than_what_is_left() -> None:
    assert lot_after([OPENING, {"kind": "count", "left_um2": 150}]).reserved_um2 == 150


def test_a_lot_never_has_less_than_nothing() -> None:
    assert lot_after([OPENING, {"kind": "remnant", "took_um2": 5_000, "rectangles": []}]).left_um2 == 0


def test_a_count_says_what_is_and_leaves_what_it_does_not_name() -> None:
    left = lot_after([OPENING, {"kind": "measure", "thickness_min_um": 1_100, "thickness_max_um": 1_300}])
    assert left == LotBalance(1_000, 400, 1_100, 1_300, ((20, 15), (10, 10)), "open")


def test_a_lot_thrown_away_has_nothing_left_and_one_found_again_is_open() -> None:
    scrap = {"kind": "scrap", "reason": "mold"}
    assert lot_after([OPENING, scrap]) == LotBalance(0, 0, 1_200, 1_400, (), "scrap")
    assert lot_after([OPENING, scrap, {"kind": "count", "left_um2": 0}]).state == "scrap"
    found = lot_after([OPENING, scrap, {"kind": "count", "left_um2": 90, "rectangles": [[9, 9]]}])
    thinner = {"kind": "measure", "thickness_min_um": 1_000}
    assert lot_after([OPENING, scrap, thinner]).state == "scrap"
    assert (found.state, found.left_um2, found.rectangles) == ("open", 90, ((9, 9),))


@pytest.mark.parametrize("after", [lot_after, supply_after])
def test_a_kind_that_is_not_known_is_no_entry(after: Any) -> None:
    with pytest.raises(ValueError, match="has no entry 'gnaw'"):
        after([{"kind": "gnaw"}])


def test_a_spool_is_out_when_it_is_empty_and_active_when_there_is_some_again() -> None:
    use, receive = {"kind": "use", "used_base": 100}, {"kind": "receive", "add_base": 30}
    assert supply_after([SPOOL, use]) == SupplyBalance(0, None, "out")
    assert supply_after([SPOOL, use, receive]) == SupplyBalance(30, None, "active")
    assert supply_after([SPOOL, use, {"kind": "count", "left_base": 5}]).state == "active"
    assert supply_after([SPOOL, {"kind": "count", "left_base": 0}]).state == "out"


def test_use_does_not_make_a_spool_active_that_was_declared_out() -> None:
    assert supply_after([{**SPOOL, "state": "out"}, {"kind": "use", "used_base": 1}]) == SupplyBalance(99, None, "out")


def test_a_worn_sort_is_repaired_by_a_count() -> None:
    worn = supply_after([CASE, {"kind": "wear", "sorts": {"Q": 1}}])
    assert worn.sorts == {"A": (6, 0), "Q": (3, 2)}
    repaired = supply_after([CASE, {"kind": "count", "sorts": {"Q": [3, 0]}}])
    assert repaired.sorts == {"A": (6, 0), "Q": (3, 0)}
    assert supply_after([CASE, {"kind": "wear", "sorts": {"Q": -1}}]) == repaired
    assert supply_after([CASE, {"kind": "receive", "add_sorts": {"A": 2}}]).sorts == {"A": (8, 0), "Q": (3, 1)}


def test_what_is_never_used_up_stays_active() -> None:
    assert supply_after([NEVER_USED_UP]) == SupplyBalance(None, None, "active")


@given(LOT_ENTRIES)
def test_no_history_takes_a_lot_below_zero_or_reserves_what_is_not_there(entries: list[dict[str, Any]]) -> None:
    for count in range(len(entries) + 1):
        left = lot_after([OPENING, *entries[:count]])
        assert 0 <= left.reserved_um2 <= left.left_um2
        assert left.state == "open" or (left.left_um2 == 0 and left.reserved_um2 == 0)


@given(st.lists(st.integers(0, 120), max_size=8))
def test_cuts_take_what_they_say_as_long_as_there_is_some(cuts: list[int]) -> None:
    entries = [{"kind": "cut", "took_um2": took, "rectangles": []} for took in cuts]
    assert lot_after([OPENING, *entries]).left_um2 == max(0, 1_000 - sum(cuts))


@given(LOT_ENTRIES, AMOUNT, RECTANGLES)
def test_after_a_count_nothing_before_it_matters_to_what_is_left(
    entries: list[dict[str, Any]], left_um2: int, rectangles: list[list[int]]
) -> None:
    count = {"kind": "count", "left_um2": left_um2, "rectangles": rectangles}
    left = lot_after([OPENING, *entries, count])
    assert (left.left_um2, [list(each) for each in left.rectangles]) == (left_um2, rectangles)


@given(SPOOL_ENTRIES)
def test_a_spool_is_never_below_zero_and_out_only_when_empty(entries: list[dict[str, Any]]) -> None:
    left = supply_after([SPOOL, *entries])
    assert left.left_base is not None
    assert left.left_base >= 0
    assert left.state == ("active" if left.left_base else "out")


@given(CASE_ENTRIES)
def test_never_more_sorts_are_worn_than_there_are(entries: list[dict[str, Any]]) -> None:
    left = supply_after([CASE, *entries])
    assert all(0 <= worn <= count for count, worn in (left.sorts or {}).values())
    assert left.state == "active"
