"""Two workshops that every test may use: the demo, and a tiny one that is unlike it in every name."""

from __future__ import annotations

from pathlib import Path

import pytest

import catalog
from catalog.load import load_catalog
from catalog.model import Catalog

DEMO = Path(catalog.__file__).parent / "oddlestone"
TINY = Path(__file__).parent / "catalog" / "tiny"


def files_in(folder: Path) -> dict[str, str]:
    """Return the text of a workshop's files by name."""
    return {path.name: path.read_text(encoding="utf-8") for path in sorted(folder.glob("*.yaml"))}


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
