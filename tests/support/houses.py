"""Workshops with rules of their own, for tests."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from catalog.load import load_catalog
from catalog.model import Catalog
from rules.house_bounds import FILE
from rules.spec import PartChoice, Spec
from rules.themes import known_good


def with_house(files: Mapping[str, str], rules: str | None, rows: Mapping[str, str] | None = None) -> Catalog:
    """Return a workshop with these rules of its own and these tables, in the place of those that it has."""
    own = {name: text for name, text in files.items() if not name.startswith("house-")}
    return load_catalog(own | dict(rows or {}) | ({} if rules is None else {FILE: rules}))


def cut(catalog: Catalog, pattern: str, *leathers: str) -> Spec:
    """A known good piece cut from these leathers, part by part."""
    spec = known_good(catalog.patterns[pattern])
    parts = dict(zip(catalog.patterns[pattern].parts, leathers, strict=False))
    return replace(spec, parts={part: PartChoice(leather) for part, leather in parts.items()})
