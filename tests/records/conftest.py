"""A workshop with a store of its own, on either database."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from shutil import copytree

import pytest
from support.desk import Desk, a_desk
from support.jobs import Workshop

from api.settings import DEMO_CATALOG


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


@pytest.fixture
def workshop(tmp_path: Path) -> Iterator[Workshop]:
    """Open workshops: the demo's files with single texts replaced, by file."""
    with ExitStack() as stack:

        def open_one(edits: tuple[tuple[str, str, str], ...] = ()) -> Desk:
            folder = tmp_path / f"catalog-{len(list(tmp_path.iterdir()))}"
            copytree(DEMO_CATALOG, folder)
            for file, old, new in edits:
                text = (folder / file).read_text(encoding="utf-8")
                changed, count = re.subn(old, new, text, count=1, flags=re.MULTILINE)
                assert count == 1, (file, old)
                (folder / file).write_text(changed, encoding="utf-8")
            return stack.enter_context(a_desk(f"sqlite:///{folder}.sqlite3", folder))

        yield open_one
