"""Shops over the demo workshop, and what rule tests share."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest

import rules
from api.schemas.spec import SpecIn, to_spec
from catalog.model import Catalog
from rules.shop import Shop, open_shop
from rules.spec import Spec

TODAY = date(2026, 3, 2)


@pytest.fixture(scope="session")
def today() -> date:
    """The day on which the examples were judged."""
    return TODAY


@pytest.fixture(scope="session")
def book_files() -> dict[str, str]:
    """The trade's rule book as text."""
    folder = Path(rules.__file__).parent / "book"
    return {path.name: path.read_text(encoding="utf-8") for path in sorted(folder.glob("*.yaml"))}


@pytest.fixture(scope="session")
def shop(oddlestone: Catalog, book_files: dict[str, str]) -> Shop:
    """The demo workshop with the trade's rules."""
    return open_shop(oddlestone, book_files)


@pytest.fixture(scope="session")
def spec_of() -> Callable[[dict[str, Any]], Spec]:
    """Read a spec as the service reads it."""
    return lambda body: to_spec(SpecIn.model_validate(body))


def merged(target: Any, change: Any) -> Any:
    """Apply a merge patch as RFC 7396, section 2, writes it."""
    if not isinstance(change, dict):
        return change
    result = dict(target) if isinstance(target, dict) else {}
    for name, value in change.items():
        if value is None:
            result.pop(name, None)
        else:
            result[name] = merged(result.get(name), value)
    return result


@pytest.fixture(scope="session")
def patched() -> Callable[[dict[str, Any], dict[str, Any]], Spec]:
    """Apply a change to a spec as understood and read it again, as a caller would."""
    return lambda spec, change: to_spec(SpecIn.model_validate(merged(spec, change)))
