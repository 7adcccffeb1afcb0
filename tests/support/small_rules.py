"""Random rules of a house over what a small workshop has."""

from __future__ import annotations

import random
from collections.abc import Mapping
from typing import Any, Final

Data = Mapping[str, Any]
_FAMILIES: Final = ("black", "gray", "red", "orange", "brown", "tan", "blue", "green", "yellow", "white")
_SEVERITIES: Final = ("refuse", "refuse", "sign_off", "sign_off", "advise", "advise")


def house_rules(draw: random.Random, data: Data) -> dict[str, Any]:
    """Return a file of two to five random rules, as it is written in YAML."""
    facts = _Facts(draw, data)
    rules = []
    for number in range(draw.randint(2, 5)):
        made = draw.choice((_forbid, _forbid, _forbid, _require, _allow_only, _count, _part, _letters))(draw, facts)
        rules.append(
            {
                "id": f"H-R{number}", "says": f"The house's rule {number}.", "why": "It is the practice of this house.",
                "tell": "This does not go together here. Another choice will do.", "source": "the owner, 2026-03-02",
                "severity": draw.choice(_SEVERITIES),
            }
            | made
        )  # fmt: skip
    return {"rules": rules}


class _Facts:
    """Tests that a condition may make, over what there is."""

    def __init__(self, draw: random.Random, data: Data) -> None:
        self._draw = draw
        self.threads = list(data["threads.yaml"])
        self.edges = list(data["edges.yaml"])
        self.leathers = list(data["leathers.yaml"])
        self.kinds = list({row["kind"]: None for row in data["leathers.yaml"].values()})
        self.finishes = list({row["finish"]: None for row in data["edges.yaml"].values()})
        patterns = data["patterns.yaml"].values()
        self.parts = list({panel["part"]: None for each in patterns for panel in each["panels"].values()})
        self.stitches = list({stitch: None for each in patterns for stitch in each["stitches"]})
        self.modifications = list({code: None for each in patterns for code in each["modifications"]})

    def tests(self) -> dict[str, list[Any]]:
        """Return names over the whole piece with values to test them for."""
        found: dict[str, list[Any]] = {
            "piece.thread": self.threads, "piece.edge": self.edges, "piece.finish": self.finishes,
            "piece.outside_leather": self.leathers, "piece.outside_kind": self.kinds, "piece.stitch": self.stitches,
            "piece.leathers": [{"includes": code} for code in self.leathers],
            "piece.flesh_parts": [{"includes": part} for part in self.parts],
            "piece.color_families": [{"includes": family} for family in _FAMILIES],
        }  # fmt: skip
        if self.modifications:
            found["piece.modifications"] = [{"includes": code} for code in self.modifications]
        return found

    def some(self, count: int) -> dict[str, Any]:
        """Return a condition over some different names."""
        tests = self.tests()
        return {name: self._draw.choice(tests[name]) for name in self._draw.sample(sorted(tests), count)}

    def other(self, name: str, test: Any) -> Any:
        """Return a fact with which a test does not hold, None where the workshop has nothing else."""
        if isinstance(test, dict):
            return []
        return next((value for value in self.tests()[name] if value != test), None)


def _facts(tests: Mapping[str, Any]) -> dict[str, Any]:
    """Return facts with which every test holds: of several words the first."""
    return {
        name: [test["includes"]] if isinstance(test, dict) else test[0] if isinstance(test, list) else test
        for name, test in tests.items()
    }


def _examples(fails: dict[str, Any], skips: str) -> list[dict[str, Any]]:
    return [{"fails": fails}, {"skips": {skips: "unknown"}}]


def _forbid(draw: random.Random, facts: _Facts) -> dict[str, Any]:
    tests = facts.some(draw.choice((2, 2, 3)))
    return {"each": "piece", "forbid": tests, "at": ["parts"], "examples": _examples(_facts(tests), next(iter(tests)))}


def _require(draw: random.Random, facts: _Facts) -> dict[str, Any]:
    """Ask for one thing where there is another."""
    tests = facts.some(2)
    (given, test), (asked, wanted) = tests.items()
    other = facts.other(asked, wanted)
    if other is None:
        return _forbid(draw, facts)
    fails = _facts({given: test}) | {asked: other}
    rule = {"each": "piece", "when": {given: test}, "require": {asked: wanted}, "at": ["parts"]}
    return rule | {"examples": _examples(fails, asked)}


def _allow_only(draw: random.Random, facts: _Facts) -> dict[str, Any]:
    """Let each thread go with some finishes alone."""
    if len(facts.finishes) < 2:
        return _forbid(draw, facts)
    rows = [
        {"piece.thread": thread, "piece.finish": draw.sample(facts.finishes, draw.randint(1, len(facts.finishes) - 1))}
        for thread in facts.threads
    ]
    other = next(finish for finish in facts.finishes if finish not in rows[0]["piece.finish"])
    fails = {"piece.thread": facts.threads[0], "piece.finish": other}
    return {
        "each": "piece", "allow_only": rows, "at": ["/thread", "/edge"], "examples": _examples(fails, "piece.finish"),
    }  # fmt: skip


def _count(draw: random.Random, facts: _Facts) -> dict[str, Any]:
    bound, fails, passes = draw.choice((({"max": 1}, 2, 1), ({"max": 2}, 3, 2), ({"min": 2}, 1, 2)))
    name = "piece.leather_count"
    examples = [{"fails": {name: fails}}, {"passes": {name: passes}}]
    return {"each": "piece", "limit": name, **bound, "at": ["parts"], "examples": examples}


def _part(draw: random.Random, facts: _Facts) -> dict[str, Any]:
    """Forbid a side, a kind or a leather in one part."""
    tests = draw.choice(
        (
            {"part.kind": draw.choice(facts.kinds), "part.side": draw.choice(("grain", "flesh"))},
            {"part.leather": draw.choice(facts.leathers)},
            {"part.kind": draw.sample(facts.kinds, draw.randint(1, len(facts.kinds)))},
        )
    )
    when = {"part.name": draw.choice(facts.parts)}
    examples = _examples(_facts(when | tests), "part.name")
    return {"each": "part", "when": when, "forbid": tests, "examples": examples}


def _letters(draw: random.Random, facts: _Facts) -> dict[str, Any]:
    """Forbid letters of some methods on some kinds."""
    when = {"monogram.method": draw.sample(("blind", "foil", "ink"), draw.choice((1, 2)))}
    tests = {"monogram.kind": draw.sample(facts.kinds, draw.randint(1, min(2, len(facts.kinds))))}
    examples = _examples(_facts(when | tests), "monogram.kind")
    return {"each": "monogram", "when": when, "forbid": tests, "examples": examples}
