"""A workshop to send lists to."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from support.desk import Desk, a_desk
from support.lists import file_of


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """A workshop whose stock no test of the module changes for good."""
    with a_desk(f"sqlite:///{tmp_path_factory.mktemp('lists') / 'store.sqlite3'}") as found:
        yield found


@pytest.fixture
def send(desk: Desk) -> Callable[..., Any]:
    """Send specs as a list of a kind; return the response."""

    def sent(bodies: list[Any], kind: str = "json", query: str = "", who: str = "owner", overrides: Any = None) -> Any:
        headers = {"authorization": f"Bearer {desk.tokens[who]}"}
        return file_of(kind, bodies).sent(desk._client, f"/v1/wishlists{query}", headers, overrides)

    return sent
