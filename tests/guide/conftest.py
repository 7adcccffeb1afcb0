"""The demo workshop for guidance, and the day on which it is asked."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

import rules
from catalog.model import Catalog
from rules.shop import Shop, open_shop


@pytest.fixture(scope="session")
def today() -> date:
    """The day on which guidance is asked for."""
    return date(2026, 3, 2)


@pytest.fixture(scope="session")
def shop(oddlestone: Catalog) -> Shop:
    """The demo workshop with the trade's rules and its own."""
    book = Path(rules.__file__).parent / "book"
    return open_shop(oddlestone, {path.name: path.read_text(encoding="utf-8") for path in sorted(book.glob("*.yaml"))})
