"""Patterns compiled before anybody asks: anew for what is new, and never in the way."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient
from support.desk import Desk, a_desk

from api import ahead as compiling
from api.ahead import Ahead
from api.app import create_app
from rules.shop import Shop
from rules.spec import Spec


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    """A workshop that a test may change."""
    with a_desk(f"sqlite:///{tmp_path / 'store.sqlite3'}") as desk:
        yield desk


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, int]]:
    """What is compiled ahead, pattern and revision of the stock, in order; nothing is compiled in earnest."""
    found: list[tuple[str, int]] = []

    def note(shop: Shop, spec: Spec, *_: Any) -> dict[str, Any]:
        found.append((spec.pattern, shop.stock_revision))
        return {}

    monkeypatch.setattr(compiling, "choices_for", note)
    return found


def bring_in(desk: Desk, leather: str) -> None:
    """Bring in a lot."""
    body = {"leather": leather, "form": "shell", "area_dm2": 30, "thickness_mm": {"min": 1.3, "max": 1.4}}
    assert desk.post("/v1/lots", {**body, "rectangles_mm": [[500, 300]]}).status_code == 201


def test_every_pattern_is_compiled_once_until_something_is_new(desk: Desk, asked: list[tuple[str, int]]) -> None:
    ahead = Ahead(desk.house)
    patterns = list(desk.house.catalog.patterns)
    while ahead.step():
        pass
    assert [code for code, _ in asked] == patterns
    assert not ahead.step()
    bring_in(desk, "SH-GAR")
    assert ahead.step()
    assert asked[-1] == (patterns[0], asked[0][1] + 1)


def test_the_pattern_that_waits_longest_is_next_however_often_the_stock_moves(
    desk: Desk, asked: list[tuple[str, int]]
) -> None:
    ahead = Ahead(desk.house)
    patterns = list(desk.house.catalog.patterns)
    for _ in patterns:
        assert ahead.step()
        bring_in(desk, "SH-GAR")
    assert [code for code, _ in asked] == patterns


def test_another_day_is_compiled_anew(desk: Desk, asked: list[tuple[str, int]]) -> None:
    ahead = Ahead(desk.house)
    while ahead.step():
        pass
    desk.wait(days=1)
    assert ahead.step()


def test_a_pattern_that_cannot_be_compiled_keeps_no_other_waiting(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: Any) -> dict[str, Any]:
        raise RuntimeError("too much")

    monkeypatch.setattr(compiling, "choices_for", fail)
    ahead = Ahead(desk.house)
    for _ in desk.house.catalog.patterns:
        with pytest.raises(RuntimeError):
            ahead.step()
    assert not ahead.step()


def test_a_lot_that_arrived_is_among_the_choices_while_patterns_are_compiled_beside(desk: Desk) -> None:
    """All of the black shell is scrapped, then a large one comes in."""
    for code in ("L101", "L102", "L103"):
        assert desk.entry(f"/v1/lots/{code}", "scrap", reason="moth").status_code == 201
    key = {"authorization": f"Bearer {desk.tokens['page']}"}

    def state(client: TestClient) -> str:
        answer = client.post("/v1/choices", json={"pattern": "fob"}, headers=key).json()
        options = answer["slots"][0]["options"]
        found: str = next(each for each in options if each["value"] == {"leather": "SH-BLK", "side": "grain"})["state"]
        return found

    with TestClient(create_app(desk.house, ahead=Ahead(desk.house))) as client:
        assert state(client) == "closed"
        bring_in(desk, "SH-BLK")
        time.sleep(1.2 * compiling.ROUND)  # by now the thread is at work at what is new
        assert state(client) == "open"


def test_it_ends_with_the_service(desk: Desk) -> None:
    ahead = Ahead(desk.house)
    with TestClient(create_app(desk.house, ahead=ahead)):
        pass
    assert not ahead._thread.is_alive()  # whether it is gone is what is asked
