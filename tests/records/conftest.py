"""A workshop with a store of its own, on either database."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.desk import Desk, a_desk


@pytest.fixture
def desk(store_url: str) -> Iterator[Desk]:
    """Return a workshop on SQLite, then on PostgreSQL."""
    with a_desk(store_url) as desk:
        yield desk


@pytest.fixture
def small(tmp_path: Path) -> Iterator[Desk]:
    """Return a workshop on SQLite, for what is the same on either database."""
    with a_desk(f"sqlite:///{tmp_path / 'store.sqlite3'}") as desk:
        yield desk
