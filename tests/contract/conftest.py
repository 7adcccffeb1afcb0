"""The service as the committed document and examples describe it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from fastapi import FastAPI

from api.examples import example_app


@pytest.fixture(scope="session")
def app() -> Iterator[FastAPI]:
    """Return the service over the demo workshop, on the day of the examples."""
    with example_app() as app:
        yield app
