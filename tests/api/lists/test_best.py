"""As many rows as can be made together, or the most worth."""

from __future__ import annotations

import random
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from support.desk import WALLET, Desk
from support.lists import body_of_spec
from support.scarce import scarce_specs
from support.verifier import faults

PAIR = {**WALLET, "quantity": 2, "reference": "pair"}


def made(answer: Any) -> list[int]:
    return [row["row"] for row in answer["rows"] if row["check"] and row["check"]["outcome"] != "refused"]


def worth(answer: Any) -> Decimal:
    made_rows = [row for row in answer["rows"] if row["check"] and row["check"]["outcome"] != "refused"]
    return sum((Decimal(row["check"]["price"]["total"]) for row in made_rows), Decimal(0))


@pytest.mark.parametrize(("maximize", "value"), [("count", 4), ("total", "1820.00")])
def test_small_wishes_first_where_rows_count(send: Callable[..., Any], maximize: str, value: Any) -> None:
    # Four wallets lie in the two garnet shells; in turn two pairs would take them all.
    answer = send([PAIR, PAIR, WALLET, WALLET, WALLET, WALLET], query=f"?mode=best&maximize={maximize}").json()
    best = answer["summary"]["best"]
    assert (best["maximize"], best["value"], best["proven"]) == (maximize, value, True)
    assert best["value"] == best["bound"]
    if maximize == "count":
        assert made(answer) == [3, 4, 5, 6]
    in_turn = send([PAIR, PAIR, WALLET, WALLET, WALLET, WALLET], query="?mode=together").json()
    assert made(in_turn) == [1, 2]


@pytest.mark.parametrize("maximize", ["count", "total"])
@pytest.mark.parametrize("seed", range(4))
def test_never_worse_than_in_turn_and_all_of_it_can_be_set_aside(
    desk: Desk, send: Callable[..., Any], seed: int, maximize: str
) -> None:
    shop = desk.house.shop
    bodies = [body_of_spec(shop, spec) for spec in scarce_specs(shop, random.Random(f"best {seed}"), 24)]
    best = send(bodies, query=f"?mode=best&maximize={maximize}").json()
    in_turn = send(bodies, query="?mode=together").json()
    if maximize == "count":
        assert len(made(best)) >= len(made(in_turn))
        assert best["summary"]["best"]["value"] == len(made(best)) <= best["summary"]["best"]["bound"]
    else:
        assert worth(best) >= worth(in_turn)
        assert Decimal(best["summary"]["best"]["value"]) == worth(best) <= Decimal(best["summary"]["best"]["bound"])
    quotes = []
    for row, body in zip(best["rows"], bodies, strict=True):
        if row["took"]:
            lots: dict[str, list[str]] = {}
            for cut in row["check"]["cut_from"]:
                lots.setdefault(cut["part"], []).append(cut["lot"])
            answer = desk.quote({**body, "lots": lots})
            assert answer.status_code == 201, answer.text
            quotes.append(answer.json()["id"])
    with desk.house.store.read() as connection:
        assert faults(connection, desk.house.catalog, desk.house.shelves.gap_um) == []
    for quote in quotes:
        assert desk.entry(f"/v1/quotes/{quote}", "withdraw").status_code == 201


def test_rows_that_are_left_out_say_what_ran_out(send: Callable[..., Any]) -> None:
    answer = send([PAIR, WALLET, WALLET, WALLET, WALLET], query="?mode=best").json()
    assert [bool(row["took"]) for row in answer["rows"]] == [False, True, True, True, True]
    assert answer["rows"][0]["ran_out"] == ["SH-GAR"]


def test_rows_that_cannot_be_read_and_an_empty_list_are_no_wishes(send: Callable[..., Any]) -> None:
    answer = send([{"pattern": 3}, WALLET, {}], query="?mode=best").json()
    assert made(answer) == [2]
    assert answer["summary"]["unreadable"] == 2
    empty = send([], query="?mode=best").json()
    assert (empty["rows"], empty["summary"]["best"]["value"]) == ([], 0)


def test_many_wishes_are_chosen_among_beside_other_work(send: Callable[..., Any]) -> None:
    assert send([WALLET] * 40, query="?mode=best").status_code == 200
    assert send([WALLET] * 41, query="?mode=best").status_code == 202
    assert send([WALLET] * 2000, query="?mode=best").status_code == 202
    answer = send([WALLET] * 2001, query="?mode=best")
    assert answer.status_code == 422
    assert "2000 rows" in answer.json()["detail"]
