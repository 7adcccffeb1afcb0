"""The service as the committed document and examples describe it."""

from __future__ import annotations

import pytest
from fastapi import FastAPI

from api.app import create_app
from api.examples import EXAMPLE_SETTINGS


@pytest.fixture(scope="session")
def app() -> FastAPI:
    """Return the service over the demo workshop, on the day of the examples."""
    return create_app(EXAMPLE_SETTINGS)
