"""Random lists over leathers of which little is left, so that rows take from each other."""

from __future__ import annotations

import random
from dataclasses import replace

from rules.shop import Shop
from rules.spec import PartChoice, Spec
from rules.themes import known_good

#: Leathers of the demo of which a few pieces are left.
FEW = ("SH-BLK", "SH-GAR", "SH-CHE", "SM-GRY", "SE-BRN", "GO-COR", "VS-COG", "CC-NAV")
THREADS = ("TH-P05-COR", "TH-P05-GAR", "TH-P05-BLK", "TH-P05-TAN")


def scarce_specs(shop: Shop, draw: random.Random, count: int) -> list[Spec]:
    """Return specs that share a few leathers and threads."""
    leathers, patterns = draw.sample(FEW, 3), sorted(shop.catalog.patterns)
    return [_one(shop, draw, leathers, draw.choice(patterns)) for _ in range(count)]


def _one(shop: Shop, draw: random.Random, leathers: list[str], pattern: str) -> Spec:
    spec = known_good(shop.catalog.patterns[pattern])
    parts = dict(spec.parts)
    if draw.randrange(5):
        parts["outside"] = PartChoice(draw.choice(leathers))
    for part in parts:
        if part != "outside" and not draw.randrange(4):
            parts[part] = PartChoice(draw.choice(("GO-COR", "GO-BLK", *leathers)))
    thread = draw.choice(THREADS) if draw.randrange(3) else spec.thread
    return replace(spec, parts=parts, thread=thread, quantity=draw.choice((1, 1, 1, 2, 3)), rush=not draw.randrange(8))
