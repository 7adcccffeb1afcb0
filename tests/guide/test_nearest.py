"""The nearest specs are the nearest: held against every complete spec of small workshops, judged by the check."""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from support.brute_force import Oracle
from support.partial_specs import context
from support.small_workshops import small_workshop

from catalog.color import de00_milli
from catalog.model import Catalog
from rules.check import judge
from rules.guide.nearest import nearest_specs
from rules.spec import Spec

#: Of outcomes in the order of the check: 0 buildable, 1 sign-off, 2 refused.
REFUSED = 2
SEEDS, EACH, ASKED = 40, 4, 3
Key = tuple[int, int, bool, int]


def specs(seed: int) -> Iterator[tuple[Oracle, Any, int]]:
    """Give some complete specs of a workshop that are not buildable, by their place among all of one context."""
    shop, today = small_workshop(seed)
    oracle, draw = Oracle(shop, today), random.Random(f"nearest {seed}")
    asked = context(shop, draw.choice(list(shop.catalog.patterns)), draw)
    world = oracle.world(asked)
    # Where no text is asked for, rows have whichever letter suits them best: none may be compared with another's.
    bad = [
        place
        for place in np.flatnonzero(world.outcomes > 0).tolist()
        if asked.monogram is not None or world.rows[place].monogram is None
    ]
    for place in draw.sample(bad, min(EACH, len(bad))):
        yield oracle, world, place


def nearness(catalog: Catalog, spec: Spec, other: Spec) -> tuple[int, int] | None:
    """Return how many choices differ and by how much color; None where letters come in that nobody asked for."""
    changes, distance = 0, 0
    for part, asked in spec.parts.items():
        own = other.parts[part]
        leather, side = own.leather != asked.leather, (own.side or "grain") != (asked.side or "grain")
        changes += leather + side
        if leather or side:
            distance += de00_milli(
                catalog.leathers[asked.leather or ""].swatch, catalog.leathers[own.leather or ""].swatch
            )
    for mine, its, nouns in ((spec.thread, other.thread, catalog.threads), (spec.edge, other.edge, catalog.edges)):
        if mine != its:
            changes += 1
            one, two = nouns[mine or ""].swatch, nouns[its or ""].swatch
            distance += 0 if one is None or two is None else de00_milli(one, two)
    changes += spec.stitch != other.stitch
    changes += sum(spec.hardware.get(place) != other.hardware.get(place) for place in {*spec.hardware, *other.hardware})
    changes += sum(spec.sizes_um[size] != other.sizes_um[size] for size in spec.sizes_um)
    changes += len(set(spec.modifications) ^ set(other.modifications))
    changes += spec.purpose.use != other.purpose.use
    letters = _letters(spec, other)
    return None if letters is None else (changes + letters, distance)


def _letters(spec: Spec, other: Spec) -> int | None:
    asked, own = spec.monogram, other.monogram
    if own is None:
        return int(asked is not None)
    if asked is None or (own.method == "foil" and asked.foil is None):
        return None
    pairs = [(asked.method, own.method), (asked.typeface, own.typeface), (asked.zone, own.zone)]
    if asked.method == "foil" and own.method == "foil":
        pairs.append((asked.foil, own.foil))
    return sum(one != two for one, two in pairs)


def keys(oracle: Oracle, world: Any, place: int) -> list[Key]:
    """Return the nearness of the nearest specs of a better outcome, worked out from all of them."""
    spec, found = world.rows[place], []
    for at in np.flatnonzero(world.outcomes < world.outcomes[place]).tolist():
        near = nearness(oracle.shop.catalog, spec, world.rows[at])
        if near is not None:
            found.append((*near, bool(world.outcomes[at]), int(world.totals[at])))
    return sorted(found)


@pytest.mark.parametrize("chunk", range(4))
def test_none_that_is_nearer_is_left_out(chunk: int) -> None:
    compared = 0
    for seed in range(chunk * SEEDS // 4, (chunk + 1) * SEEDS // 4):
        for oracle, world, place in specs(seed):
            spec = world.rows[place]
            below = "refused" if world.outcomes[place] == REFUSED else "sign_off"
            near = nearest_specs(oracle.shop, spec, oracle.today, ASKED, below=below)
            told = [(each.changes, each.distance_milli, each.outcome != "buildable", each.total_minor) for each in near]
            true = keys(oracle, world, place)
            assert told[:1] == true[:1], (seed, spec)
            assert all(each in true for each in told), (seed, spec)
            assert all(judge(oracle.shop, each.change.spec, oracle.today).outcome == each.outcome for each in near)
            compared += bool(true)
    assert compared > SEEDS // 4
