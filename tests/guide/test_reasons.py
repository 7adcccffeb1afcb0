"""Every closed option says why, in the words of rules that refuse; so does every clash."""

from __future__ import annotations

import random
from datetime import date

from support.walks import context, put

from api.schemas.spec import SpecIn, to_spec
from rules.guide import Guidance, guide
from rules.guide.nearest import ways_out
from rules.guide.reasons import Reasons, clash_of
from rules.shop import Shop


def _random_choices(shop: Shop, today: date, draw: random.Random, pattern: str) -> Guidance:
    """Choose some options at random, whether they go together or not."""
    body = context(draw, pattern)
    for slot in guide(shop, to_spec(SpecIn.model_validate(body)), today).slots:
        if draw.random() < 0.5 and not slot.pointer.startswith(("/monogram", "/purpose")):  # half of them
            body = put(body, slot.pointer, draw.choice(slot.options).value)
    return guide(shop, to_spec(SpecIn.model_validate(body)), today)


def test_every_closed_option_says_why_and_every_clash_what_would_do(shop: Shop, today: date) -> None:
    draw, closed, clashes, led_out = random.Random("reasons"), 0, 0, 0
    for place in range(60):
        pattern = list(shop.catalog.patterns)[place % len(shop.catalog.patterns)]
        answer = _random_choices(shop, today, draw, pattern)
        reasons = Reasons(answer)
        for slot in answer.slots:
            for option in slot.options:
                if option.state == "closed":
                    said = reasons.of(slot.pointer, option.value)
                    # Letters that are asked for need a typeface, and foil only beside foil: no rule has to say so.
                    assert said or slot.pointer.startswith("/monogram"), (pattern, slot.pointer, option.value)
                    assert all(finding.severity == "refuse" and finding.message for finding in said)
                    closed += 1
        clash = clash_of(answer)
        assert (clash is None) == answer.possible
        if clash is not None:
            assert clash.findings
            clashes += 1
            ways = ways_out(answer, 3)
            assert all(way.change.patch for way in ways)
            led_out += bool(ways)
    assert closed > 1_000  # of some thousand options
    assert clashes > 20  # of sixty specs
    assert led_out > clashes // 2


def test_a_way_out_leads_out(shop: Shop, today: date) -> None:
    draw, followed = random.Random("ways out"), 0
    for place in range(36):
        pattern = list(shop.catalog.patterns)[place % len(shop.catalog.patterns)]
        answer = _random_choices(shop, today, draw, pattern)
        for way in ways_out(answer, 3):
            again = guide(shop, way.change.spec, today)
            assert again.state == ("open" if way.outcome == "buildable" else "sign_off")
            cheapest = min(
                option.cheapest_minor
                for slot in again.slots
                for option in slot.options
                if option.cheapest_minor is not None and slot.chosen is None and option.value is not None
            )
            assert cheapest == way.total_minor
            followed += 1
    assert followed > 20
