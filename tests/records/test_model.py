"""The desk against a model of a few lines: key fobs from one lot, each with one ring, until nothing is left.

The lot's free rectangle is a strip that holds more fobs side by side than its area with yield allows, so
the model needs no layout: only areas, rings, and who came first.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from contextlib import ExitStack
from fractions import Fraction
from math import floor
from typing import Any, ClassVar

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)
from support.desk import PAID, Desk, a_desk
from support.postgres import a_database
from support.verifier import faults

LOT, RING, THREAD = "L122", "HW-RING30-SS", "TH-P05-TAN"
CART = 30
BASKETS = st.sampled_from([[1], [2], [1, 2], [3], [1, 1, 1], [2, 3]])
Open = Callable[[ExitStack], str]


class Piece:
    """What one quote or its order takes, as the model sees it."""

    def __init__(self, number: int, items: list[int], until: int | None) -> None:
        self.number, self.items, self.until = number, items, until
        self.state = "held"  # of the quote; once ordered, of the order
        self.live, self.order, self.cut = True, "", False
        self.fobs = sum(items)


class Machine(RuleBasedStateMachine):
    """Steps of buyers, staff and bad luck."""

    opening: ClassVar[Open]

    def __init__(self) -> None:
        super().__init__()
        self.stack = ExitStack()
        self.desk: Desk = self.stack.enter_context(a_desk(type(self).opening(self.stack)))
        catalog = self.desk.house.catalog
        (strip,) = catalog.patterns["fob"].panels.values()
        self.gap = self.desk.house.shelves.gap_um
        self.size = strip.cut_height_um, strip.cut_width_um
        self.net = (self.size[0] + self.gap) * (self.size[1] + self.gap) * strip.count
        self.share = catalog.leathers[catalog.lots[LOT].leather].kind.yield_ratio
        self.pieces: dict[str, Piece] = {}
        self.minute = self.numbers = 0
        self.area = self.rings = 0

    @initialize(dm2=st.integers(8, 12), rings=st.integers(12, 20))
    def stock(self, dm2: int, rings: int) -> None:
        self.desk.entry(f"/v1/supplies/{THREAD}", "count", amount=10_000)
        self.rings = rings
        self.desk.entry(f"/v1/supplies/{RING}", "count", amount=rings)
        self._count(dm2)

    def teardown(self) -> None:
        with self.desk.house.store.read() as connection:
            found = faults(connection, self.desk.house.catalog, self.gap)
        self.stack.close()
        assert found == []

    # What the model knows.

    def held(self, *, without: Piece | None = None) -> list[Piece]:
        return [piece for piece in self.pieces.values() if piece.live and piece is not without]

    def fits(self, pieces: list[Piece], fobs: int = 0) -> bool:
        uncut = sum(piece.fobs for piece in pieces if not piece.cut) + fobs
        rings = sum(piece.fobs for piece in pieces) + fobs
        return Fraction(uncut * self.net) / self.share <= self.area and rings <= self.rings

    def lose(self) -> list[str]:
        """Let what no longer fits be short, the newest first; return which quotes those are."""
        if self.fits(self.held()):
            return []
        kept: list[Piece] = []
        lost = []
        by_age = sorted(self.pieces.items(), key=lambda each: each[1].number)
        for quote, piece in by_age:
            if piece.live and self.fits([*kept, piece]):
                kept.append(piece)
            elif piece.live:
                lost.append(quote)
                piece.live = False
                if not piece.order:
                    piece.state = "short"
        return sorted(lost)

    def spec(self, fobs: int) -> dict[str, Any]:
        return {
            "pattern": "fob",
            "parts": {"outside": {"leather": "VS-NAT"}},
            "thread": THREAD,
            "edge": "ED-BURN",
            "hardware": {"ring": RING},
            "quantity": fobs,
            "lots": {"outside": [LOT]},
        }

    def pick(self, place: int, wanted: Callable[[Piece], bool]) -> tuple[str, Piece] | None:
        found = [(quote, piece) for quote, piece in self.pieces.items() if wanted(piece)]
        return found[place % len(found)] if found else None

    def any(self, wanted: Callable[[Piece], bool]) -> bool:
        return any(map(wanted, self.pieces.values()))

    # What people do.

    @rule(items=BASKETS)
    def buy(self, items: list[int]) -> None:
        expected = self.fits(self.held(), sum(items))
        answer = self.desk.quote(*map(self.spec, items))
        assert answer.status_code == (201 if expected else 409), answer.text[:500]
        if expected:
            self.numbers += 1
            quote = answer.json()["id"]
            self.pieces[quote] = Piece(self.numbers, items, self.minute + CART)
            self.desk.agree(quote)

    @rule(sevens=st.integers(1, 5))
    def wait(self, sevens: int) -> None:
        self.desk.wait(minutes=7 * sevens)
        self.minute += 7 * sevens
        for piece in self.pieces.values():
            if piece.until is not None and piece.until <= self.minute and piece.state in {"held", "short"}:
                piece.state, piece.live = "lapsed", False

    @precondition(lambda self: self.any(lambda piece: not piece.order and piece.state != "withdrawn"))
    @rule(place=st.integers(0, 99))
    def renew(self, place: int) -> None:
        found = self.pick(place, lambda piece: not piece.order and piece.state != "withdrawn")
        if found is None:
            return
        quote, piece = found
        answer = self.desk.entry(f"/v1/quotes/{quote}", "renew")
        if piece.live:
            assert answer.status_code == 201
        else:
            expected = self.fits(self.held(), piece.fobs)
            assert answer.status_code == (201 if expected else 409), answer.text[:500]
            if not expected:
                return
            self.numbers += 1
            piece.number, piece.state, piece.live = self.numbers, "held", True
            self.desk.agree(quote)
        piece.until = self.minute + CART

    @precondition(lambda self: self.any(lambda piece: not piece.order))
    @rule(place=st.integers(0, 99))
    def withdraw(self, place: int) -> None:
        found = self.pick(place, lambda piece: not piece.order)
        if found is None:
            return
        quote, piece = found
        takes = piece.state in {"held", "short"}
        answer = self.desk.entry(f"/v1/quotes/{quote}", "withdraw")
        assert answer.status_code == (201 if takes else 409), answer.text[:300]
        if takes:
            piece.state, piece.live = "withdrawn", False

    @precondition(lambda self: self.any(lambda piece: not piece.order))
    @rule(place=st.integers(0, 99))
    def order(self, place: int) -> None:
        found = self.pick(place, lambda piece: not piece.order)
        if found is None:
            return
        quote, piece = found
        answer = self.desk.post("/v1/orders", {"quote": quote, "payment": PAID})
        assert answer.status_code == (201 if piece.live else 409), answer.text[:500]
        if piece.live:
            piece.order, piece.state, piece.until = answer.json()["id"], "open", None
        else:
            slug = "stock-changed" if piece.state == "short" else "hold-lapsed"
            assert answer.json()["type"] == f"/problems/{slug}"

    @precondition(lambda self: self.any(lambda piece: piece.state == "open" and piece.live))
    @rule(place=st.integers(0, 99))
    def cut(self, place: int) -> None:
        found = self.pick(place, lambda piece: piece.state == "open" and piece.live)
        if found is None:
            return
        _, piece = found
        for number, fobs in enumerate(piece.items, 1):
            answer = self.desk.entry(f"/v1/orders/{piece.order}", "cut", item=number, part="outside", lot=LOT)
            assert answer.status_code == 201, answer.text[:300]
            self.area -= floor(Fraction(fobs * self.net) / self.share)
        piece.cut, piece.state = True, "cut"
        assert self.lose() == []

    @precondition(lambda self: self.any(lambda piece: piece.state == "cut" and piece.live))
    @rule(place=st.integers(0, 99))
    def ship(self, place: int) -> None:
        found = self.pick(place, lambda piece: piece.state == "cut" and piece.live)
        if found is None:
            return
        _, piece = found
        assert self.desk.entry(f"/v1/orders/{piece.order}", "ship").status_code == 201
        self.rings -= piece.fobs
        piece.state, piece.live = "shipped", False

    @precondition(lambda self: self.any(lambda piece: bool(piece.order)))
    @rule(place=st.integers(0, 99))
    def cancel(self, place: int) -> None:
        found = self.pick(place, lambda piece: bool(piece.order))
        if found is None:
            return
        _, piece = found
        answer = self.desk.entry(f"/v1/orders/{piece.order}", "cancel", reason="changed their mind")
        assert answer.status_code == (201 if piece.state == "open" else 409)
        if piece.state == "open":
            piece.state, piece.live = "cancelled", False

    # What happens to stock.

    @rule(dm2=st.sampled_from([12, 10, 8, 6, 4, 1, 0]))
    def count_lot(self, dm2: int) -> None:
        self._count(dm2)

    def _count(self, dm2: int) -> None:
        self.area = dm2 * 10**10
        lost = self.lose()
        along, across = self.size[0], self.size[1] + self.gap
        strips = self.area // (along * across)
        rectangles = [[along / 1000, strips * across / 1000]] if strips else []
        answer = self.desk.entry(f"/v1/lots/{LOT}", "count", area_dm2=dm2, rectangles_mm=rectangles)
        assert answer.status_code == 201, answer.text[:300]
        assert sorted(answer.json()["short"]) == lost

    @rule(rings=st.sampled_from([20, 16, 12, 8, 4, 1, 0]))
    def count_rings(self, rings: int) -> None:
        self.rings = rings
        lost = self.lose()
        answer = self.desk.entry(f"/v1/supplies/{RING}", "count", amount=rings)
        assert sorted(answer.json()["short"]) == lost

    @precondition(lambda self: self.pieces)
    @invariant()
    def agrees(self) -> None:
        catalog = self.desk.house.shop.catalog
        held = self.held()
        uncut = sum(piece.fobs for piece in held if not piece.cut)
        assert catalog.lots[LOT].left_um2 == self.area
        assert catalog.lots[LOT].held_um2 == -(-Fraction(uncut * self.net) // self.share)
        assert catalog.hardware[RING].stock == max(0, self.rings - sum(piece.fobs for piece in held))
        quotes = {quote["id"]: quote["state"] for quote in self._listed("quotes")}
        orders = {order["id"]: order["state"] for order in self._listed("orders")}
        for quote, piece in self.pieces.items():
            assert quotes[quote] == ("ordered" if piece.order else piece.state)
            assert not piece.order or orders[piece.order] == piece.state

    def _listed(self, noun: str) -> list[Any]:
        items: list[Any] = []
        after = ""
        while True:
            page = self.desk.get(f"/v1/{noun}?limit=100{after}").json()
            items += page["items"]
            if page["next"] is None:
                return items
            after = f"&after={page['next']}"


def play(opening: Open, examples: int, steps: int) -> None:
    machine = type("Played", (Machine,), {"opening": staticmethod(opening)})
    quiet = settings(
        max_examples=examples, stateful_step_count=steps, deadline=None, derandomize=True, database=None,
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    run_state_machine_as_test(machine, settings=quiet)


def _sqlite(stack: ExitStack) -> str:
    return f"sqlite:///{stack.enter_context(tempfile.TemporaryDirectory())}/model.sqlite3"


@pytest.fixture(params=["sqlite", "postgres"])
def opening(request: pytest.FixtureRequest) -> Open:
    if request.param == "sqlite":
        return _sqlite
    server = request.getfixturevalue("postgres")
    return lambda stack: stack.enter_context(a_database(server))


def test_the_desk_does_what_the_model_says(opening: Open) -> None:
    play(opening, 8, 50)


@pytest.mark.long
def test_the_desk_does_what_the_model_says_for_ten_thousand_steps(opening: Open) -> None:
    play(opening, 100, 100)
