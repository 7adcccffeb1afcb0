"""The demo workshop and the specs that measurements use; the same at each run."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from datetime import date
from functools import lru_cache
from pathlib import Path

import rules
from api.settings import DEMO_CATALOG
from catalog.load import load_catalog
from rules.check import judge
from rules.echo import canonical, understood
from rules.sample import sample_specs
from rules.shop import Shop, open_shop
from rules.spec import Spec

TODAY = date(2026, 3, 2)
BOOK = Path(rules.__file__).parent / "book"


def texts(folder: Path) -> dict[str, str]:
    """Return the YAML files of a folder by name."""
    return {path.name: path.read_text(encoding="utf-8") for path in sorted(folder.glob("*.yaml"))}


@lru_cache(maxsize=1)
def demo() -> Shop:
    """Return the demo workshop."""
    return open_shop(load_catalog(texts(DEMO_CATALOG)), texts(BOOK))


def bodies(count: int, *, seed: str = "typical passing checks") -> list[bytes]:
    """Return that many different random specs that come out buildable, as JSON bodies in random order."""
    found: dict[bytes, None] = {}
    for spec in _drawn(seed):
        verdict = judge(demo(), spec, TODAY)
        if verdict.outcome == "buildable":
            found[json.dumps(understood(verdict.case.piece)).encode()] = None
            if len(found) == count:
                break
    ordered = list(found)
    random.Random(seed).shuffle(ordered)
    return ordered


def with_many_findings(count: int, drawn: int) -> list[bytes]:
    """Return the specs with the most refusals and sign-offs among some drawn, as JSON bodies."""
    found: dict[bytes, int] = {}
    for _, spec in zip(range(drawn), _drawn("many findings"), strict=False):
        verdict = judge(demo(), spec, TODAY)
        in_the_way = sum(finding.severity in ("refuse", "sign_off") for finding in verdict.findings)
        found[canonical(understood(verdict.case.piece))] = in_the_way
    return sorted(found, key=lambda body: (-found[body], body))[:count]


def _drawn(seed: str) -> Iterator[Spec]:
    draw = random.Random(seed)
    while True:
        yield from sample_specs(demo().catalog, draw, TODAY, 5_000)
