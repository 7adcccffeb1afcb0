"""How guidance grows: with leathers, with parts of a piece, with a house's own rules; and where the fallback begins."""

from __future__ import annotations

import importlib
import random
import statistics
import sys
import time
from collections.abc import Iterator
from copy import deepcopy
from pathlib import Path
from typing import Any, Final

import yaml

from api.settings import DEMO_CATALOG
from catalog.load import load_catalog
from measure.report import Figure
from measure.workshop import BOOK, TODAY, texts
from rules.guide import guide
from rules.guide.situation import LEVELS, situation_of
from rules.shop import Shop, open_shop
from rules.spec import PartChoice, Spec

_TESTS: Final = Path(__file__).parents[2] / "tests"
#: Leathers, parts and house rules; each grows while the others stay at the first row's.
GROWTH: Final = [
    (24, 3, 0), (20, 3, 0), (60, 3, 0), (120, 3, 0), (240, 3, 0),
    (24, 2, 0), (24, 4, 0), (24, 5, 0), (24, 6, 0), (24, 8, 0),
    (24, 3, 10), (24, 3, 20), (24, 3, 40),
    (120, 5, 20),
]  # fmt: skip
PATTERN: Final = "grown"
Data = dict[str, Any]


def growth(*, quick: bool) -> list[Figure]:
    """Measure a wallet of more and more parts, leathers and rules; two rows alone if ``quick``."""
    figures = []
    for leathers, parts, rules in GROWTH[:2] if quick else GROWTH:
        shop = grown(leathers, parts, rules)
        figures.append(
            Figure(f"{leathers} leathers, {parts} parts, {rules} rules of a house", ", ".join(_measured(shop)))
        )
    return figures


def _measured(shop: Shop) -> Iterator[str]:
    began = time.perf_counter()
    first = guide(shop, Spec(PATTERN), TODAY)
    yield f"first answer {time.perf_counter() - began:.1f} s"
    if first.exact:
        situation = situation_of(shop, Spec(PATTERN), TODAY)
        diagrams = [situation.diagram(level) for level in LEVELS.values()]
        yield f"{sum(each.edges for each in diagrams):,} edges"
        yield f"{sum(each.memory_bytes for each in diagrams) / 1e6:.1f} MB"
    else:
        yield "by the fallback"
    draw, spec, took = random.Random(f"{PATTERN}"), Spec(PATTERN), []
    for _ in range(12):
        began = time.perf_counter()
        answer = guide(shop, spec, TODAY)
        took.append((time.perf_counter() - began) * 1000)
        spec = _chosen(draw, answer, spec)
    yield f"answers of a walk {statistics.median(took):.1f} ms, at most {max(took):.1f} ms"


def _chosen(draw: random.Random, answer: Any, spec: Spec) -> Spec:
    """Choose one open part, else give the spec as it is."""
    for slot in answer.slots:
        _, field, *name = slot.pointer.split("/")
        options = [option for option in slot.options if option.state != "closed"]
        if field == "parts" and slot.chosen is None and options:
            value = draw.choice(options).value
            return Spec(PATTERN, parts={**spec.parts, name[0]: PartChoice(value["leather"], value["side"])})
    return spec


def grown(leathers: int, parts: int, rules: int) -> Shop:
    """Return the demo workshop with so many leathers, a wallet of so many parts, and so many rules of a house."""
    sys.path.append(str(_TESTS))
    small_rules = importlib.import_module("support.small_rules")
    draw = random.Random(f"{leathers} {parts} {rules}")
    files = texts(DEMO_CATALOG)
    data = {name: yaml.safe_load(text) for name, text in files.items() if name.endswith(".yaml")}
    for pattern in data["patterns.yaml"].values():
        for zone in pattern["zones"].values():
            zone["on"] = zone.pop(True)  # YAML 1.1 takes the word for a truth
    _with_leathers(data, draw, leathers)
    _with_parts(data, parts)
    own: list[Data] = []
    while len(own) < rules:
        own += small_rules.house_rules(draw, data)["rules"]
    named = [each | {"id": f"H-R{number}"} for number, each in enumerate(own[:rules])]
    written = {
        name: yaml.safe_dump(deepcopy(own), sort_keys=False, allow_unicode=True)
        for name, own in data.items()
        if not name.startswith(("house-", "orders-", "accept"))
    }
    if named:
        written["house-rules.yaml"] = yaml.safe_dump({"rules": named}, sort_keys=False, allow_unicode=True)
    return open_shop(load_catalog(written), texts(BOOK))


def _with_leathers(data: Data, draw: random.Random, count: int) -> None:
    """Give the workshop so many leathers: those it has, then others like them, their lots a little different."""
    names, lots = data["leathers.yaml"], data["lots.yaml"]
    stems = [code for code, row in names.items() if row["status"] != "retired"]
    for code in list(names):
        if code not in stems[:count] and code not in _needed(data):
            names.pop(code)
    stems = [code for code in stems if code in names]
    data["lots.yaml"] = lots = {code: lot for code, lot in lots.items() if lot["leather"] in names}
    own = {stem: [lot for lot in lots.values() if lot["leather"] == stem] for stem in stems}
    for number in range(count - len(names)):
        stem = stems[number % len(stems)]
        code = f"{stem[:2]}-X{number:03}"
        names[code] = deepcopy(names[stem]) | {"name": f"{names[stem]['name']} {number}", "aliases": []}
        for place, lot in enumerate(own[stem]):
            more = draw.choice((-0.1, -0.05, 0, 0.05, 0.1, 0.15))
            span = {end: round(max(0.4, um + more), 2) for end, um in lot["thickness_mm"].items()}
            lots[f"X{number:03}{place}"] = deepcopy(lot) | {"leather": code, "thickness_mm": span}


def _needed(data: Data) -> set[str]:
    """Return the leathers that are some pattern's own."""
    return {code for row in data["patterns.yaml"].values() for code in row["defaults"]["parts"].values()}


def _with_parts(data: Data, parts: int) -> None:
    """Add a wallet of so many parts: each further one is a slip more in both seams."""
    patterns, prices = data["patterns.yaml"], data["price-list.yaml"]
    made = deepcopy(patterns["twofold" if parts > 2 else "upright"])  # the upright has two
    for number in range(4, parts + 1):
        code = f"slip{number}"
        slip = deepcopy(made["panels"]["front"]) | {"part": code, "count": 1}
        made["panels"][code] = slip
        for seam in made["seams"].values():
            seam["layers"].append({"panel": code, "count": 1})
            seam["limit_mm"] = round(seam["limit_mm"] + 0.8, 2)
        made["closed"]["layers"].append({"panel": code, "count": 1})
        made["closed"]["limit_mm"] += 1
        made["defaults"]["parts"][code] = "GO-BLK"
        prices["part_share"][code] = 0.1
    patterns[PATTERN] = made
    prices["base"][PATTERN] = dict(prices["base"]["twofold"])
    data["labor.yaml"]["per_piece"][PATTERN] = data["labor.yaml"]["per_piece"]["twofold"]
