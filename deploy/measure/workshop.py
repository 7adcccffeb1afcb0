"""The demo workshop and the specs that measurements use; the same at each run."""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import date
from functools import lru_cache
from itertools import islice
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
    """Return the YAML and CSV files of a folder by name."""
    return {
        path.name: path.read_text(encoding="utf-8") for path in sorted([*folder.glob("*.yaml"), *folder.glob("*.csv")])
    }


@lru_cache(maxsize=1)
def demo() -> Shop:
    """Return the demo workshop."""
    return open_shop(load_catalog(texts(DEMO_CATALOG)), texts(BOOK))


def bodies(count: int) -> list[bytes]:
    """Return that many different random specs that come out buildable, as JSON bodies in random order.

    Sections take from the same ones, each for services and shops that have not seen them.
    """
    found, more = _pool()
    found.extend(islice(more, max(0, count - len(found))))
    ordered = found[:count]
    random.Random(count).shuffle(ordered)  # the rarer a spec is, the later it was found
    return ordered


@lru_cache(maxsize=1)
def _pool() -> tuple[list[bytes], Iterator[bytes]]:
    return [], _passing()


def _passing() -> Iterator[bytes]:
    given: set[bytes] = set()
    for spec in drawn("typical passing checks"):
        verdict = judge(demo(), spec, TODAY)
        if verdict.outcome == "buildable":
            body = canonical(understood(verdict.case.piece))
            if body not in given:
                given.add(body)
                yield body


def with_many_findings(count: int, of: int) -> list[bytes]:
    """Return the specs with the most refusals and sign-offs among some drawn, the most first, as JSON bodies."""
    found: dict[bytes, int] = {}
    for spec in islice(drawn("many findings"), of):
        verdict = judge(demo(), spec, TODAY)
        in_the_way = sum(finding.severity in ("refuse", "sign_off") for finding in verdict.findings)
        found[canonical(understood(verdict.case.piece))] = in_the_way
    return sorted(found, key=lambda body: (-found[body], body))[:count]


def drawn(seed: str) -> Iterator[Spec]:
    """Give random specs without end, no two alike: most of a large sample has been drawn before."""
    draw = random.Random(seed)
    seen: set[str] = set()
    while True:
        for spec in sample_specs(demo().catalog, draw, TODAY, 5_000):
            told = repr(spec)
            if told not in seen:
                seen.add(told)
                yield spec
