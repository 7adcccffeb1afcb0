"""Whoever takes open options one after another ends at a spec that is buildable, at the total that was promised.

The check says what a finished spec comes out as and what it costs; it knows nothing of guidance.
"""

from __future__ import annotations

import json
import random
from collections import Counter
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import pytest
from support.independent import IndependentModel
from support.walks import Body, context, put

from api.schemas.spec import SpecIn, to_spec
from rules.check import judge
from rules.guide import Guided, Option, guide
from rules.pricing import priced
from rules.shop import Shop
from rules.spec import Spec

STATE = {"buildable": "open", "sign_off": "sign_off", "refused": "closed"}
#: At most so many of a hundred closed options may be left undecided by the independent model.
MOST_UNDECIDED = 0.01


def spec_of(body: Body) -> Spec:
    """Read a body as the service does."""
    return to_spec(SpecIn.model_validate(body))


@dataclass
class Walk:
    """One walk: the body so far, the pointers that are to stay empty, and the option taken last.

    ``closed`` are options that are closed whatever else may be taken, where the walk ``asks`` for them.
    """

    body: Body
    left_out: list[str]
    asks: bool = False
    last: Option | None = None
    steps: int = 0
    closed: list[tuple[Body, str, Any]] = field(default_factory=list)


def walked(shop: Shop, today: date, draw: random.Random, pattern: str, *, asks: bool = False) -> Walk | None:
    """Walk from nothing to a finished spec; None where nothing can be made of what the order says of itself."""
    walk = Walk(context(draw, pattern), [], asks)
    if "monogram" not in walk.body:
        walk.left_out.append("/monogram")
    first = guide(shop, spec_of(walk.body), today, left_out=walk.left_out)
    if first.state == "closed":
        return None
    agreed = draw.random() < 0.3  # whether the maker's agreement is asked for where it need not be
    pointers = [slot.pointer for slot in first.slots]
    draw.shuffle(pointers)
    for pointer in pointers:
        if pointer.startswith("/monogram") and "monogram" not in walk.body:
            continue
        _step(shop, today, draw, walk, pointer, agreed=agreed)
        while pointer == "/modifications" and walk.last is not None and walk.last.value is not None:
            _step(shop, today, draw, walk, pointer, agreed=agreed)
    return walk


def _step(shop: Shop, today: date, draw: random.Random, walk: Walk, pointer: str, *, agreed: bool) -> None:
    answer = guide(shop, spec_of(walk.body), today, left_out=walk.left_out)
    slot = next(slot for slot in answer.slots if slot.pointer == pointer)
    if walk.asks:
        own = next(each for each in guide(shop, spec_of(walk.body), today).slots if each.pointer == pointer)
        # Without letters nothing else of a monogram is left: the model takes "none" so, guidance keeps what was chosen.
        asked = [option for option in own.options if option.value is not None or not pointer.startswith("/monogram")]
        asked = [] if _trivial(walk.body, pointer) else asked
        walk.closed += [(walk.body, pointer, option.value) for option in asked if option.state == "closed"]
    option = draw.choice(_offered(slot, agreed=agreed))
    walk.body, walk.last, walk.steps = put(walk.body, pointer, option.value), option, walk.steps + 1
    if option.value is None and not pointer.startswith("/monogram"):
        walk.left_out.append(pointer)


def _offered(slot: Guided, *, agreed: bool) -> list[Option]:
    """Return the options that a walk may take; there must be one. Letters that were asked for stay."""
    chosen = slot.chosen if isinstance(slot.chosen, list) else []
    fresh = [option for option in slot.options if option.value is None or option.value not in chosen]
    if slot.pointer.startswith("/monogram"):
        fresh = [option for option in fresh if option.value is not None] or fresh
        fresh = [option for option in fresh if option.state != "closed"] or list(slot.options)
    found = [option for option in fresh if option.state == "open"]
    if agreed or not found:
        found = [option for option in fresh if option.state != "closed"]
    assert found, f"a dead end at {slot.pointer}"
    return found


def _walks(shop: Shop, today: date, seed: str, steps: int) -> Counter[str]:
    draw, done = random.Random(seed), Counter[str]()
    patterns = list(shop.catalog.patterns)
    while done["steps"] < steps:
        walk = walked(shop, today, draw, patterns[done["walks"] % len(patterns)])
        done["walks"] += 1
        if walk is None or walk.last is None:
            continue
        spec = spec_of(walk.body)
        verdict, price = judge(shop, spec, today), priced(shop.piece(spec))
        assert STATE[verdict.outcome] == walk.last.state, (walk.body, walk.last)
        assert price is not None
        assert price.total_minor == walk.last.cheapest_minor, (walk.body, walk.last)
        done["steps"] += walk.steps
        done[verdict.outcome] += 1
    return done


def test_no_walk_comes_to_a_dead_end_and_each_ends_at_the_promised_total(shop: Shop, today: date) -> None:
    done = _walks(shop, today, "walks", 600)
    assert done["buildable"] > 20 and done["sign_off"] > 10  # noqa: PT018


@pytest.mark.long
@pytest.mark.parametrize("chunk", range(10))
def test_ten_thousand_steps_come_to_no_dead_end(shop: Shop, today: date, chunk: int) -> None:
    done = _walks(shop, today, f"walks {chunk}", 1_000)
    assert done["refused"] == 0


def _used(body: Body, pointer: str, value: Any) -> Body:
    """Return a body in which an option is used: a foil that is named beside no method may stand there unused."""
    if pointer == "/monogram/foil" and value is not None:
        return {**body, "monogram": {"method": "foil"} | body.get("monogram", {"text": "A"})}
    return body


def _trivial(body: Body, pointer: str) -> bool:
    """Whether an option is closed by what it means: a foil beside letters that take none."""
    return pointer == "/monogram/foil" and body.get("monogram", {}).get("method", "foil") != "foil"


def _proven(shop: Shop, today: date, seed: str, count: int) -> Counter[str]:
    """Ask the independent model about closed options met on walks."""
    model, draw, said = IndependentModel(shop.catalog, today), random.Random(seed), Counter[str]()
    patterns = list(shop.catalog.patterns)
    turn = 0
    while said.total() < count:
        walk = walked(shop, today, draw, patterns[turn % len(patterns)], asks=True)
        turn += 1
        for body, pointer, value in draw.sample(walk.closed, min(8, len(walk.closed))) if walk is not None else ():
            answer = model.completion(_used(body, pointer, value), pointer, value)
            said[answer.outcome] += 1
            assert answer.outcome != "feasible", json.dumps([body, pointer, value, answer.spec, answer.lots])
    return said


def test_no_closed_option_has_a_completion(shop: Shop, today: date) -> None:
    said = _proven(shop, today, "closed", 400)
    assert said["undecided"] <= MOST_UNDECIDED * said.total()


@pytest.mark.long
@pytest.mark.parametrize("chunk", range(10))
def test_five_thousand_closed_options_have_no_completion(shop: Shop, today: date, chunk: int) -> None:
    said = _proven(shop, today, f"closed {chunk}", 500)
    assert said["undecided"] <= MOST_UNDECIDED * said.total()
