"""A row of a list has the verdict of a single check, in whichever kind of file it comes and goes."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import pytest
from support.desk import TODAY, Desk
from support.lists import KINDS, body_of_spec, file_of, row_of, verdict_of_answer, verdicts_in

from api.schemas.spec import SpecIn, to_spec
from rules.check import answer_of, judge
from rules.sample import sample_specs
from rules.spec import Spec

EXAMPLES = json.loads((Path(__file__).parents[2] / "data" / "example-specs.json").read_text(encoding="utf-8"))
FEW, MANY = 240, 20_000


@pytest.fixture(autouse=True)
def however_long(desk: Desk) -> None:
    """Let the caller wait for lists of any length."""
    desk.app.state.list_rows_at_once = 10**6


def through(desk: Desk, kind: str, bodies: list[dict[str, Any]]) -> list[Any]:
    headers = {"authorization": f"Bearer {desk.tokens['owner']}"}
    # One JSON value may have four megabytes: many specs are several lists.
    at_once = 4_000 if kind == "json" else len(bodies)
    found = []
    for first in range(0, len(bodies), at_once):
        answer = file_of(kind, bodies[first : first + at_once]).sent(desk._client, "/v1/wishlists", headers)
        assert answer.status_code == 200, answer.text
        found += verdicts_in(kind, answer.content)
    return found


def spec_of(body: dict[str, Any]) -> Spec:
    return to_spec(SpecIn.model_validate(body))


def alone(desk: Desk, bodies: list[dict[str, Any]]) -> list[Any]:
    shop = desk.house.shop
    verdicts = (judge(shop, spec_of(body), TODAY) for body in bodies)
    return [verdict_of_answer(answer_of(shop, verdict)) for verdict in verdicts]


def drawn(desk: Desk, count: int) -> list[dict[str, Any]]:
    specs = sample_specs(desk.house.shop.catalog, random.Random("lists"), TODAY, count)
    bodies = [body_of_spec(desk.house.shop, spec) for spec in specs]
    told = [body for body in bodies if row_of(body) is not None]
    assert len(told) > 0.95 * count  # a sheet has no column for a passport without thickness
    return told


@pytest.mark.parametrize("kind", KINDS)
def test_each_example_has_the_verdict_of_a_single_check(desk: Desk, kind: str) -> None:
    bodies = [each["spec"] for each in EXAMPLES]
    bodies = [body for body in bodies if row_of(body_of_spec(desk.house.shop, spec_of(body))) is not None]
    assert len(bodies) >= len(EXAMPLES) - 3  # a sheet has no column for a passport without thickness
    assert through(desk, kind, bodies) == alone(desk, bodies)


@pytest.mark.parametrize("kind", KINDS)
def test_each_row_has_the_verdict_of_a_single_check(desk: Desk, kind: str) -> None:
    bodies = drawn(desk, FEW)
    assert through(desk, kind, bodies) == alone(desk, bodies)


@pytest.mark.long
@pytest.mark.parametrize("kind", KINDS)
def test_each_of_very_many_rows_has_the_verdict_of_a_single_check(desk: Desk, kind: str) -> None:
    bodies = drawn(desk, MANY)
    assert through(desk, kind, bodies) == alone(desk, bodies)
