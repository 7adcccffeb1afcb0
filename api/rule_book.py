"""The rule book as it is read: one rule in words, and the rules that somebody looks for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from api.errors import ProblemError
from catalog.model import Catalog, LawRow
from catalog.strict_yaml import did_you_mean
from rules.applies import rules_for
from rules.ir import Rule, Severity, Stage
from rules.shop import Shop


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which rules somebody looks for: all that meet everything that is said."""

    family: str | None = None
    stage: Stage | None = None
    severity: Severity | None = None
    pattern: str | None = None


def rule_read(shop: Shop, rule: Rule) -> dict[str, Any]:
    """Return a rule as people read it, with the dated rows of the law file that speak under its id."""
    return {**shop.book.describe(rule.id), "law_rows": _law_rows(shop.catalog, rule)}


def _law_rows(catalog: Catalog, rule: Rule) -> list[dict[str, Any]]:
    return [_law_row(row) for row in catalog.law_of(rule.id)]


def _law_row(row: LawRow) -> dict[str, Any]:
    return {
        "code": row.code,
        "severity": row.severity,
        "species": row.species,
        "tannage": list(row.tannages),
        "destination": row.destination,
        "jurisdiction": row.jurisdiction,
        "says": row.says,
        "source": row.source,
        "checked_on": row.checked_on.isoformat(),
        "review_by": row.review_by.isoformat(),
    }


def families_of(shop: Shop) -> list[str]:
    """Return the families of the book, in its order."""
    return list(dict.fromkeys(rule.family for rule in shop.book.rules.values()))


def wanted_of(shop: Shop, wanted: Wanted) -> list[str]:
    """Return the ids of the rules wanted, in the order of the book.

    Raises:
        ProblemError: 404 for a pattern or a family that nothing has, with those that there are and the nearest.
    """
    family = None if wanted.family is None else known_family(shop, wanted.family)
    applying = None if wanted.pattern is None else _applying(shop, wanted.pattern)
    return [
        rule.id
        for rule in shop.book.rules.values()
        if (family is None or rule.family == family)
        and _speaks(rule, wanted.stage, wanted.severity)
        and (applying is None or rule.id in applying)
    ]


def _speaks(rule: Rule, stage: Stage | None, severity: Severity | None) -> bool:
    """Whether a rule speaks at a stage, with a severity, or with that severity at that stage."""
    spoken = rule if stage is None else rule.at_stage(stage)
    return spoken is not None and (severity is None or severity in spoken.severities)


def known_family(shop: Shop, family: str) -> str:
    """Return a family as the book writes it; ProblemError where it has none of that name."""
    known = {each.casefold(): each for each in families_of(shop)}
    if family.casefold() not in known:
        near = did_you_mean(family.casefold(), known)
        raise ProblemError("not-found", f"there is no such family; there are {', '.join(known.values())}{near}")
    return known[family.casefold()]


def _applying(shop: Shop, code: str) -> frozenset[str]:
    pattern = shop.indexes.patterns.find(code)
    if pattern is None:
        near = did_you_mean(code.casefold(), shop.catalog.patterns)
        raise ProblemError("not-found", f"there is no such pattern; there are {', '.join(shop.catalog.patterns)}{near}")
    return rules_for(shop, pattern)
