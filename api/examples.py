"""Worked requests with their answers: written by a command, replayed by a test.

An example is a JSON file with ``says``, ``request`` (``method``, ``path``, ``body``) and
``answer`` (``status``, ``body``). All are asked of the demo workshop on one fixed date.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

import httpx
from fastapi import FastAPI

from api.app import create_app
from api.document import as_text
from api.house import open_house
from api.settings import Settings

EXAMPLE_DAY: Final = date(2026, 3, 2)
_REQUEST_ID: Final = "example-0001"
#: Opens a store that is gone when the answer is there.
_OWNER_KEY: Final = "qf.owner.example.of-a-store-soon-gone"


@contextmanager
def example_app() -> Iterator[FastAPI]:
    """Give the service over the demo workshop on the day of the examples, its store new and soon gone."""
    with TemporaryDirectory() as folder:
        store = f"sqlite:///{Path(folder) / 'example.sqlite3'}"
        house = open_house(Settings(today=EXAMPLE_DAY, database_url=store, bootstrap_owner_key=_OWNER_KEY))
        try:
            yield create_app(house)
        finally:
            house.close()


def write(folder: Path) -> list[Path]:
    """Write ``openapi.json`` and the answer of every example below ``folder``; return the files."""
    with example_app() as app:
        return _written(app, folder)


def _written(app: FastAPI, folder: Path) -> list[Path]:
    document = folder / "openapi.json"
    document.write_text(as_text(app.openapi()), encoding="utf-8", newline="\n")
    files = sorted((folder / "examples").glob("*.json"))
    for file in files:
        example = json.loads(file.read_text(encoding="utf-8"))
        example["answer"] = answer_of(app, example["request"])
        text = json.dumps(example, indent=2, ensure_ascii=False) + "\n"
        file.write_text(text, encoding="utf-8", newline="\n")
    return [document, *files]


def answer_of(app: FastAPI, request: Mapping[str, Any]) -> dict[str, Any]:
    """Return what an app answers to the request of an example."""
    return asyncio.run(_ask(app, request))


async def _ask(app: FastAPI, request: Mapping[str, Any]) -> dict[str, Any]:
    transport = httpx.ASGITransport(app=app)
    async with httpx.AsyncClient(transport=transport, base_url="http://example") as client:
        response = await client.request(
            request["method"],
            request["path"],
            headers={"request-id": _REQUEST_ID, "authorization": f"Bearer {_OWNER_KEY}"},
            json=request.get("body"),
        )
    return {"status": response.status_code, "body": response.json()}
