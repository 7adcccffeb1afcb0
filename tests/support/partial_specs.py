"""Random partial specs over a small workshop, some of which contradict themselves."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from support.brute_force import World, value_at

from rules.shop import Shop
from rules.spec import Carry, Monogram, PartChoice, Purpose, Spec


def context(shop: Shop, pattern: str, draw: random.Random) -> Spec:
    """Return a spec with nothing chosen: how many, where to, what it carries, perhaps letters."""
    made = shop.catalog.patterns[pattern]
    load, letters = made.load, draw.choice(("A", "OM", "BEA"))
    return Spec(
        pattern=pattern,
        purpose=Purpose(dog_kg=draw.choice((12, 40)) if load.scales_with_dog else None),
        carry=Carry(cards=draw.choice((2, 5))) if draw.random() < 0.15 else Carry(),
        quantity=draw.choice((1, 1, 1, 1, 1, 1, 1, 2)),
        ship_to=draw.choice((None, None, None, "US-CA", "XA")),
        rush=draw.random() < 0.1,
        monogram=Monogram(letters) if made.zones and draw.random() < 0.25 else None,
    )


def partial(world: World, asked: Spec, draw: random.Random) -> Spec:
    """Return a spec of a context with up to six choices: often those of one row that can be made, if any can."""
    lettered = asked.monogram is not None
    pointers = [
        each for each in world.domains if not each.startswith("/monogram") or (lettered and each.count("/") > 1)
    ]
    chosen = draw.sample(pointers, min(len(pointers), draw.choice((0, 1, 2, 2, 3, 3, 4, 5, 6))))
    good = [row for row, outcome in zip(world.rows, world.outcomes, strict=True) if outcome < 2]
    row = draw.choice(good or list(world.rows))
    stays = draw.choice((1.0, 1.0, 0.8, 0.5, 0.0))
    values = {
        each: value_at(row, each) if draw.random() < stays else draw.choice(world.domains[each]) for each in chosen
    }
    return with_choices(asked, values)


def with_choices(spec: Spec, values: Mapping[str, Any]) -> Spec:
    """Return a spec with values at pointers; None and False choose nothing."""
    for pointer, value in values.items():
        _, what, *rest = pointer.split("/")
        if value is None or value is False:
            continue
        if what == "parts":
            spec = replace(spec, parts={**spec.parts, rest[0]: PartChoice(*value)})
        elif what == "hardware":
            spec = replace(spec, hardware={**spec.hardware, rest[0]: value})
        elif what == "sizes":
            spec = replace(spec, sizes_um={**spec.sizes_um, rest[0]: value})
        elif what == "modifications":
            spec = replace(spec, modifications=(*spec.modifications, rest[0]))
        elif what == "monogram" and spec.monogram is not None:
            changed: dict[str, Any] = {rest[0]: value}
            spec = replace(spec, monogram=replace(spec.monogram, **changed))
        elif what == "purpose":
            spec = replace(spec, purpose=replace(spec.purpose, use=value))
        else:
            spec = replace(spec, **{what: value})
    return spec
