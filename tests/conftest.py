"""Two workshops that every test may use: the demo, and a tiny one that is unlike it in every name."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.postgres import a_database, a_server

import catalog
from catalog.load import load_catalog
from catalog.model import Catalog

DEMO = Path(catalog.__file__).parent / "oddlestone"
TINY = Path(__file__).parent / "catalog" / "tiny"


def files_in(folder: Path) -> dict[str, str]:
    """Return the text of a workshop's files by name."""
    return {
        path.name: path.read_text(encoding="utf-8") for path in sorted([*folder.glob("*.yaml"), *folder.glob("*.csv")])
    }


@pytest.fixture(scope="session")
def oddlestone_files() -> dict[str, str]:
    """Return the demo workshop's files; copy before changing."""
    return files_in(DEMO)


@pytest.fixture(scope="session")
def tiny_files() -> dict[str, str]:
    """Return the tiny workshop's files; copy before changing."""
    return files_in(TINY)


@pytest.fixture(scope="session")
def oddlestone(oddlestone_files: dict[str, str]) -> Catalog:
    """Return the demo workshop."""
    return load_catalog(oddlestone_files)


@pytest.fixture(scope="session")
def tiny_catalog(tiny_files: dict[str, str]) -> Catalog:
    """Return the tiny workshop: yen, one kind, two leathers, three lots, one pattern."""
    return load_catalog(tiny_files)


@pytest.fixture(scope="session")
def postgres() -> Iterator[str]:
    """Return the address of a PostgreSQL server on which databases may be made; say loudly where there is none."""
    with a_server() as server:
        yield server


@pytest.fixture
def sqlite_url(tmp_path: Path) -> str:
    """Return the URL of a new, empty SQLite database."""
    return f"sqlite:///{tmp_path / 'store.sqlite3'}"


@pytest.fixture
def postgres_url(postgres: str) -> Iterator[str]:
    """Return the URL of a new, empty PostgreSQL database."""
    with a_database(postgres) as url:
        yield url


@pytest.fixture(params=["sqlite", "postgres"])
def store_url(request: pytest.FixtureRequest) -> str:
    """Return the URL of a new, empty database: SQLite, then PostgreSQL."""
    found: str = request.getfixturevalue(f"{request.param}_url")
    return found
