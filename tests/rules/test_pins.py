"""Worked orders come out as written, and every limit is held in its place by an example or an order."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest

from api.worked_orders import worked_orders
from catalog.figures import with_figures
from catalog.model import Catalog
from rules.ir import Limit, Name, Scaled
from rules.pins import Move, Pins, limits_by_catalog, moves_of, pinning, unheld_rules
from rules.shop import Shop
from rules.worked import WorkedOrder, as_written, outcome_of, reckoned

HINT = "says only which hint is given with a refusal that stands anyway"
TEMPLATE = "the templates themselves are judged by it, never an order; held in test_stages.py"
PARCEL = "the parcel is judged by it before it leaves, never an order"
#: Moves that nothing notices, by path and direction, each with its reason.
SURVIVORS = {
    (f"thresholds.{name}", direction): reason
    for name, reason in {
        "inch_from_mm": HINT,
        "leather_kg_per_dm3": PARCEL,
        "stitch_edge_min_mm": TEMPLATE,
        "stitch_edge_per_stack": TEMPLATE,
        "stitch_edge_beside_mm": TEMPLATE,
        "card_embossed_mm": TEMPLATE,
    }.items()
    for direction in ("up", "down")
}


@pytest.fixture(scope="module")
def orders(shop: Shop) -> tuple[WorkedOrder, ...]:
    """The demo workshop's worked orders."""
    return worked_orders(shop.catalog, shop.book)


def test_every_worked_order_comes_out_as_written(shop: Shop, orders: tuple[WorkedOrder, ...], today: date) -> None:
    otherwise = [
        (order.rule, order.says, now)
        for order in orders
        if not as_written(order, now := outcome_of(shop, order, today))
    ]
    assert otherwise == []
    assert len(orders) > 100


def test_every_failure_states_its_severity_and_every_order_its_day(orders: tuple[WorkedOrder, ...]) -> None:
    for order in orders:
        assert (order.severity is not None) == (order.expect == "fails")
        assert order.on is not None
        assert len(order.worked) > 25, "the arithmetic stands beside the figures"


#: A sum of bare numbers and what it is said to come to: nothing of it stands left of the first or right of the last.
SUM = re.compile(
    r"(?<![x+/-] )(?<![\w.(])(\(?\d[\d.]*\)?(?: [x+/-] \(?\d[\d.]*\)?)+)"
    r" = (\d[\d,]*(?:\.(\d+))?)(?![\d,]|\.\d| [x+/-] )"
)


def test_the_sums_beside_the_orders_are_right(orders: tuple[WorkedOrder, ...]) -> None:
    wrong, sums = [], 0
    for order in orders:
        for sum_of, result, decimals in SUM.findall(order.worked):
            exact = eval(re.sub(r"\d[\d.]*", r"Fraction('\g<0>')", sum_of.replace("x", "*")))
            sums += 1
            if abs(exact - Fraction(result.replace(",", ""))) > Fraction(1, 2 * 10 ** len(decimals)):
                wrong.append((order.rule, sum_of, result))
    assert wrong == []
    assert sums > 60


def test_every_rule_whose_limit_is_a_figure_of_the_catalog_has_an_order_that_holds_one(
    shop: Shop, orders: tuple[WorkedOrder, ...]
) -> None:
    assert unheld_rules(shop, orders) == []
    assert len(unheld_rules(shop, [])) > 40


def test_a_rule_with_a_limit_of_the_catalog_is_told_from_one_with_a_threshold(shop: Shop) -> None:
    by_threshold = []
    for rule in shop.book.rules.values():
        limits = [step.limit for clause in rule.clauses if isinstance(clause.verb, Limit) for step in clause.verb.steps]
        names = [each.term if isinstance(each, Scaled) else each for each in limits]
        if names and all(isinstance(each, Name) and each.name.startswith("threshold.") for each in names):
            by_threshold.append(rule.id)
            assert not limits_by_catalog(rule) or any(not isinstance(clause.verb, Limit) for clause in rule.clauses)
    assert {"COL-01", "MON-09", "STI-01"} <= set(by_threshold)


def test_an_order_is_judged_on_the_figures_of_the_catalog_whatever_else_is_in_stock(
    shop: Shop, orders: tuple[WorkedOrder, ...], today: date
) -> None:
    order = next(each for each in orders if each.holds == ("foils.FO-SIL.left_m",) and each.expect == "passes")
    sold_out = shop.restocked(with_figures(shop.catalog, {"foils.FO-SIL.left_m": 0}), 1, 1)
    assert outcome_of(sold_out, order, today).word == "fails"
    assert outcome_of(reckoned(shop.catalog, sold_out.book), order, today).word == "passes"


def test_a_figure_moves_by_its_step_up_and_down_and_never_below_nothing(oddlestone: Catalog, shop: Shop) -> None:
    order = replace(worked_orders(shop.catalog, shop.book)[0], holds=("foils.FO-RED.left_m",))
    graded = replace(order, holds=("kinds.goat.mark.ink",))
    ended = replace(order, holds=("kinds.goat.mark.foil",))
    moves = moves_of(oddlestone, [order, graded, ended])
    assert moves[0] == Move("thresholds.card_ease_soft_mm", "mm", "up", Decimal("0.05"), Decimal("1.55"))
    assert moves[1] == Move("thresholds.card_ease_soft_mm", "mm", "down", Decimal("0.05"), Decimal("1.45"))
    assert moves[-4:] == [
        Move("foils.FO-RED.left_m", "m", "up", Decimal("0.1"), Decimal("0.1")),
        Move("kinds.goat.mark.ink", "", "up", Decimal(1), "refuse"),
        Move("kinds.goat.mark.ink", "", "down", Decimal(1), "fine"),
        Move("kinds.goat.mark.foil", "", "up", Decimal(1), "sign_off"),
    ]
    up, down = ({move.path for move in moves if move.direction == way} for way in ("up", "down"))
    assert {f"thresholds.{name}" for name in oddlestone.thresholds} <= up
    assert up - down == {"foils.FO-RED.left_m", "kinds.goat.mark.foil"}
    days = [move for move in moves if move.path == "thresholds.count_age_days"]
    assert [move.to for move in days] == [91, 89]


def test_without_worked_orders_half_of_the_thresholds_could_move_unseen(shop: Shop, today: date) -> None:
    moves = [move for move in moves_of(shop.catalog, []) if move.path.endswith(("_ease_mm", "fold_mark_strain"))]
    found = pinning(shop, [], today, moves)
    assert {move.path for move in found.caught} == {"thresholds.fold_mark_strain"}
    assert {move.path for move in found.unpinned} == {move.path for move in moves} - {"thresholds.fold_mark_strain"}
    assert found.total == len(moves) == 14


def test_one_move_in_twenty_is_noticed(shop: Shop, orders: tuple[WorkedOrder, ...], today: date) -> None:
    moves = moves_of(shop.catalog, orders)[::20]
    pins = Pins(shop, orders, today)
    missed = [move for move in moves if pins.noticed_by(move) is None]
    assert {(move.path, move.direction) for move in missed} <= SURVIVORS.keys()
    assert len(moves) >= 12


@pytest.mark.long
def test_every_move_of_a_limit_is_noticed_but_for_those_that_are_listed_with_a_reason(
    shop: Shop, orders: tuple[WorkedOrder, ...], today: date
) -> None:
    found = pinning(shop, orders, today)
    assert {(move.path, move.direction) for move in found.unpinned} == SURVIVORS.keys()
    assert len(found.caught) >= Decimal("0.95") * found.total
    assert found.total > 200
