"""Rows that take from the stock in turn: as carts that are set aside one after another."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest
from support.desk import WALLET, Desk
from support.lists import body_of_spec, verdict_of_answer
from support.scarce import scarce_specs
from support.verifier import faults

FEW, MANY, ROWS = 6, 200, 40


def holds_of(desk: Desk, bodies: list[dict[str, Any]]) -> list[tuple[Any, bool]]:
    """Set carts aside one after another; return each verdict and whether it was set aside."""
    found = []
    for body in bodies:
        answer = desk.quote(body)
        said = answer.json()
        check = said["items"][0]["check"] if answer.status_code == 201 else said["checks"][0]
        found.append((verdict_of_answer(check), answer.status_code == 201))
    return found


def withdraw_all(desk: Desk) -> None:
    items = desk.get("/v1/quotes?limit=100").json()["items"]
    live = [each["id"] for each in items if each["state"] in ("held", "awaiting_sign_off")]
    for quote in live:
        assert desk.entry(f"/v1/quotes/{quote}", "withdraw").status_code == 201
    with desk.house.store.write() as write:
        for table in ("hold", "sign_off", "item", "quote"):
            write.connection.exec_driver_sql(f"DELETE FROM {table}")


def compare(desk: Desk, send: Callable[..., Any], seed: int) -> Counter[str]:
    """Compare a list with carts; return how many rows came out how."""
    specs = scarce_specs(desk.house.shop, random.Random(f"in turn {seed}"), ROWS)
    bodies = [body_of_spec(desk.house.shop, spec) for spec in specs]
    rows = send(bodies, query="?mode=together").json()["rows"]
    in_turn = [(verdict_of_answer(row["check"]), bool(row["took"])) for row in rows]
    assert in_turn == holds_of(desk, bodies)
    shelves = desk.house.shelves
    with desk.house.store.read() as connection:
        assert faults(connection, desk.house.catalog, shelves.gap_um) == []
    withdraw_all(desk)
    ran_out = sum(bool(row["ran_out"]) for row in rows)
    return Counter(verdict.outcome for verdict, _ in in_turn) + Counter({"ran out": ran_out})


@pytest.mark.parametrize("seed", range(FEW))
def test_rows_in_turn_take_what_carts_take_one_after_another(desk: Desk, send: Callable[..., Any], seed: int) -> None:
    counted = compare(desk, send, seed)
    assert counted["ran out"] >= 3, counted
    assert counted["buildable"] + counted["sign_off"] >= 5, counted


@pytest.mark.long
def test_many_lists_in_turn_take_what_carts_take(desk: Desk, send: Callable[..., Any]) -> None:
    for seed in range(MANY):
        compare(desk, send, seed)


def test_four_wallets_come_from_two_shells_and_the_last_takes_of_the_reserve(send: Callable[..., Any]) -> None:
    # Scenario T3 of the handbook, by layout: two of 3.58 dm2 lie in L104 (10.3 free), two in L105 (grade B).
    rows = send([WALLET] * 4, query="?mode=together").json()["rows"]
    outside = [next(cut["lot"] for cut in row["check"]["cut_from"] if cut["part"] == "outside") for row in rows]
    assert outside == ["L104", "L104", "L105", "L105"]
    rules = [
        {each["rule"] for each in row["check"]["findings"] if each["severity"] in ("refuse", "sign_off")}
        for row in rows
    ]
    assert rules == [set(), set(), {"THK-03"}, {"THK-03", "STO-02"}]
    alone = send([WALLET] * 4).json()["rows"]
    assert {row["check"]["outcome"] for row in alone} == {"buildable"}


def test_the_first_row_that_finds_too_little_says_of_what(send: Callable[..., Any]) -> None:
    answer = send([WALLET] * 6, query="?mode=together").json()
    assert [row["ran_out"] for row in answer["rows"]] == [[], [], [], [], ["SH-GAR"], ["SH-GAR"]]
    assert answer["summary"]["ran_out"] == [{"code": "SH-GAR", "row": 5}]
    assert answer["rows"][4]["took"] == []


def test_where_two_things_are_short_only_those_are_named(send: Callable[..., Any]) -> None:
    hurried = {**WALLET, "parts": {**WALLET["parts"], "outside": {"leather": "GO-BLK"}}, "rush": True}
    rows = send([*[WALLET] * 4, hurried, {**WALLET, "rush": True}], query="?mode=together").json()["rows"]
    assert {each["rule"] for each in rows[5]["check"]["findings"] if each["severity"] == "refuse"} == {
        "PRC-03",
        "STO-03",
    }
    assert rows[5]["ran_out"] == ["SH-GAR", "rush"]


def test_a_row_that_cannot_be_made_takes_nothing(send: Callable[..., Any]) -> None:
    refused = {**WALLET, "parts": {**WALLET["parts"], "outside": {"leather": "BR-HAZ"}}}
    rows = send([refused, WALLET, {"pattern": "twofold", "quantity": 0}, WALLET], query="?mode=together").json()["rows"]
    assert [bool(row["took"]) for row in rows] == [False, True, False, True]
    assert rows[0]["ran_out"] == []
    assert rows[2]["error"] == {"pointer": "/quantity", "detail": "at least 1"}


def test_what_a_row_takes_is_told_by_code_and_unit(send: Callable[..., Any]) -> None:
    took = {
        each["code"]: (each["amount"], each["unit"])
        for each in send([WALLET], query="?mode=together").json()["rows"][0]["took"]
    }
    assert took["SH-GAR"] == (3.579, "dm2")  # as the check of the wallet says
    assert took["TH-P05-GAR"][1] == "m"
    assert took["ED-BURN"][1] == "ml"
