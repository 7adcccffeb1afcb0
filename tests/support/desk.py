"""A workshop with a store of its own, asked over HTTP as each class of key."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import date, timedelta
from itertools import count
from pathlib import Path
from random import randrange
from typing import Any

from starlette.testclient import TestClient

from api.app import create_app
from api.clock import Clock
from api.house import House, open_house
from api.keys import make_key
from api.settings import DEMO_CATALOG, Settings

TODAY = date(2026, 3, 2)
WALLET: dict[str, Any] = {
    "pattern": "twofold",
    "parts": {"outside": {"leather": "SH-GAR"}, "inside": {"leather": "GO-BLK"}, "pockets": {"leather": "GO-BLK"}},
    "thread": "TH-P05-GAR",
    "edge": "ED-BURN",
}
#: Needs the maker's agreement: two long wallets take the shell below its reserve.
LONG: dict[str, Any] = {
    "pattern": "longfold",
    "parts": {"outside": {"leather": "SH-CHE"}, "inside": {"leather": "GO-BLK"}, "pockets": {"leather": "GO-BLK"}},
    "thread": "TH-P05-TAN",
    "edge": "ED-BURN",
    "quantity": 2,
}
#: A watch strap from the last remnant: 130 x 95 mm, 1.3 dm2.
STRAP: dict[str, Any] = {
    "pattern": "wstrap",
    "parts": {"outside": {"leather": "SH-BLK"}, "lining": {"leather": "GO-BLK"}},
    "thread": "TH-P05-BLK",
    "edge": "ED-BURN",
    "hardware": {"buckle": "HW-BKL16-SS"},
    "sizes": {"lug_mm": 18, "taper_mm": 2},
    "lots": {"outside": ["L103"]},
}
PAID = {"state": "authorized", "reference": "p-1", "amount": "455.00"}


class Desk:
    """Requests to one service; each call that stores something gets a key of its own unless told one."""

    def __init__(self, house: House, tokens: Mapping[str, str]) -> None:
        self.house = house
        self.tokens = tokens
        self.app = create_app(house)
        self._client = TestClient(self.app, raise_server_exceptions=False)
        self._numbers = count(randrange(10**12) * 1000)

    def get(self, path: str, who: str = "owner") -> Any:
        return self._client.get(path, headers={"authorization": f"Bearer {self.tokens[who]}"})

    def post(
        self, path: str, body: Any, who: str = "owner", *, key: str | None = None, version: str | None = None
    ) -> Any:
        headers = {
            "authorization": f"Bearer {self.tokens[who]}",
            "idempotency-key": key or f"own-{next(self._numbers)}",
            **({} if version is None else {"if-match": version}),
        }
        return self._client.post(path, json=body, headers=headers)

    def quote(self, *specs: Any, who: str = "owner", hold: str = "cart") -> Any:
        return self.post("/v1/quotes", {"items": [{"spec": spec} for spec in specs], "hold": hold}, who)

    def order(self, quote: str, who: str = "owner") -> Any:
        return self.post("/v1/orders", {"quote": quote, "payment": PAID}, who)

    def entry(self, path: str, kind: str, who: str = "owner", **fields: Any) -> Any:
        """Add an entry to a record as it stands now."""
        version = self.get(path).headers["etag"]
        return self.post(f"{path}/entries", {"kind": kind, **fields}, who, version=version)

    def agree(self, quote: str, **fields: Any) -> None:
        """Agree to all that is asked of a quote."""
        for sign in self.get("/v1/sign-offs?state=asked").json()["items"]:
            if sign["quote"] == quote:
                body = {name: sign[name] for name in ("quote", "item", "finding")}
                assert self.post("/v1/sign-offs", {**body, **fields}).status_code == 201

    def wait(self, **span: float) -> None:
        """Move the clock on."""
        clock = self.house.clock
        self.house.clock = Clock(clock.zone, clock.offset + timedelta(**span))

    def lot(self, code: str) -> Any:
        return self.get(f"/v1/lots/{code}").json()

    def state(self, quote: str) -> str:
        found: str = self.get(f"/v1/quotes/{quote}").json()["state"]
        return found


@contextmanager
def a_desk(url: str, catalog: Path = DEMO_CATALOG) -> Iterator[Desk]:
    house = open_house(Settings(today=TODAY, database_url=url, catalog=catalog))
    with house.store.write() as write:
        tokens = {
            name: make_key(
                write, name.partition(" ")[0], name=name, at=house.now(), by="test", client=client,
                origins=["https://shop.example"] if name == "page" else [],
            )
            for name, client in (
                ("page", "shop"), ("server", "shop"), ("server two", "other"), ("staff", "bench"), ("owner", "bench"),
                ("sheet", "bench"),
            )
        }  # fmt: skip
    try:
        yield Desk(house, tokens)
    finally:
        house.close()
