"""Lists of wishes over scarce leathers: how near the best that was found comes to its bound."""

from __future__ import annotations

import random
import time
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import count

from catalog.model import Catalog, Pattern
from measure.load import RoundError
from measure.report import Figure
from measure.workshop import TODAY, demo
from rules.best import Measure, Selection, best_together
from rules.check import Verdict, judge
from rules.needs import named
from rules.pricing import priced
from rules.shop import Shop
from rules.spec import Monogram, PartChoice, Spec
from rules.taking import REFUSED, Taking
from rules.themes import Draw, known_good, pick

_LISTS, _ROWS, _SECONDS = 20, 200, 30
#: How near to its bound a choice that is not proven must be: rows, or parts of a hundred of the bound.
_NEAR_ROWS, _NEAR_PERCENT = 1, 2
_ENOUGH = 18
MEASURES: tuple[Measure, ...] = ("count", "total")
_MARKS = count()
#: Leathers that the rows of a list are drawn from, beside the patterns' own defaults.
_LEATHERS = 7
_QUANTITIES = (1, 1, 1, 1, 2, 2, 3)


@lru_cache(maxsize=1024)
def _suiting(pattern: str, part: str) -> tuple[str, ...]:
    """Return the leathers that a part of a pattern may be of while all else is as by default."""
    shop = demo()
    good = known_good(shop.catalog.patterns[pattern])
    return tuple(
        code
        for code in shop.catalog.leathers
        if judge(shop, replace(good, parts={**good.parts, part: PartChoice(code)}), TODAY).outcome != "refused"
    )


def scarce_list(seed: int, rows: int) -> list[Spec]:
    """Return random specs of all patterns, their leathers from a few: more of them than there is leather for.

    Nearly all could be made alone. The same for the same seed.
    """
    shop, draw = demo(), random.Random(f"wishes {seed}")
    few = draw.sample(sorted(shop.catalog.leathers), _LEATHERS)
    found: list[Spec] = []
    while len(found) < rows:
        pattern = pick(draw, list(shop.catalog.patterns.values()))
        tries = [_wish(shop, pattern, few, draw) for _ in range(4)]
        good = [spec for spec in tries if judge(shop, spec, TODAY).outcome != "refused"]
        found.append((good or tries)[0])
    return found


def _wish(shop: Shop, pattern: Pattern, few: list[str], draw: Draw) -> Spec:
    spec = known_good(pattern)
    parts = {}
    for part, asked in spec.parts.items():
        suiting = [code for code in _suiting(pattern.code, part) if code in few]
        parts[part] = PartChoice(pick(draw, suiting)) if suiting else asked
    spec = replace(spec, parts=parts, quantity=pick(draw, _QUANTITIES), rush=draw.randrange(12) == 0)
    if draw.randrange(3) == 0:
        spec = replace(spec, thread="match")
    if pattern.zones and draw.randrange(8) == 0:
        faces = [*shop.catalog.typefaces.values()]
        spec = replace(
            spec, monogram=Monogram("A.B.", "blind", pick(draw, faces).code, pick(draw, list(pattern.zones)))
        )
    return spec


def best(*, quick: bool) -> list[Figure]:
    """Choose among the rows of lists, by count and by total, half a minute each on one core."""
    lists, rows, seconds = (2, 60, 5) if quick else (_LISTS, _ROWS, _SECONDS)
    found: list[Figure] = []
    for maximize in MEASURES:
        near = 0
        for seed in range(lists):
            line, is_near = _chosen(scarce_list(seed, rows), maximize, seconds)
            found.append(Figure(f"by {maximize}, list {seed + 1}", line))
            near += is_near
        bar = f">= {_ENOUGH} of {_LISTS}"
        found.append(Figure(f"by {maximize}: proven or near", f"{near} of {lists}", bar, quick or near >= _ENOUGH))
    return found


def _chosen(specs: Sequence[Spec], maximize: Measure, seconds: float) -> tuple[str, bool]:
    placed = _in_order(specs)
    in_turn = sum(_value(spec, maximize) for spec, verdict in zip(specs, placed, strict=True) if verdict is not None)
    begun = time.perf_counter()
    chosen = best_together(
        demo(), specs, TODAY, maximize=maximize, seconds=seconds, rest=_restock, placed=placed,
        enough=lambda: time.perf_counter() - begun > seconds,
    )  # fmt: skip
    took = time.perf_counter() - begun
    said = "proven" if chosen.proven else f"gap {chosen.bound - chosen.value}"
    line = f"{chosen.value} of at most {chosen.bound} ({said}), in turn {in_turn}, {took:.1f} s"
    if chosen.value < in_turn:
        raise RoundError(f"a choice is worse than taking in turn: {line}")
    return line, chosen.proven or _is_near(chosen, maximize)


def _is_near(chosen: Selection, maximize: Measure) -> bool:
    gap = chosen.bound - chosen.value
    return gap <= _NEAR_ROWS if maximize == "count" else 100 * gap <= _NEAR_PERCENT * chosen.bound


def _value(spec: Spec, maximize: Measure) -> int:
    price = priced(demo().piece(spec))
    return 1 if maximize == "count" else 0 if price is None else price.total_minor


def _restock(shop: Shop, catalog: Catalog) -> Shop:
    return shop.restocked(named(catalog, shop.catalog, f"best {next(_MARKS)}"), 0, 0)


def _in_order(specs: Sequence[Spec]) -> list[Verdict | None]:
    taking, found = Taking(demo(), _restock), list[Verdict | None]()
    for spec in specs:
        verdict = judge(taking.shop, spec, TODAY)
        made = verdict.outcome != REFUSED
        if made:
            taking.take(verdict)
        found.append(verdict if made else None)
    return found
