"""The service over the demo workshop, on the day for which its examples were worked out."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from api.app import create_app
from api.house import House, open_house
from api.schemas.spec import SpecIn, to_spec
from api.settings import Settings
from rules.check import check

OWNER_KEY = "qf.owner.test.of-a-store-soon-gone"
WALLET_PARTS: dict[str, Any] = {"inside": {"leather": "GO-BLK"}, "pockets": {"leather": "GO-BLK"}}

BUILDABLE: dict[str, Any] = {
    "pattern": "twofold",
    "parts": {"outside": {"leather": "SH-GAR"}, **WALLET_PARTS},
    "thread": "TH-P05-GAR",
    "edge": "ED-BURN",
}
REFUSED: dict[str, Any] = {
    "pattern": "twofold",
    "parts": {"outside": {"leather": "BR-HAZ"}, **WALLET_PARTS},
    "thread": "TH-P05-TAN",
    "edge": "ED-BURN",
}
SIGN_OFF: dict[str, Any] = {
    "pattern": "longfold",
    "parts": {"outside": {"leather": "SH-CHE"}, **WALLET_PARTS},
    "thread": "TH-P05-TAN",
    "edge": "ED-BURN",
    "quantity": 2,
}
INCOMPLETE: dict[str, Any] = {"pattern": "belt"}
SHORT_OF_THREAD: dict[str, Any] = {
    "pattern": "passcover",
    "parts": {"outside": {"leather": "GO-COR"}, **WALLET_PARTS},
    "thread": "TH-P05-COR",
    "edge": "match",
    "quantity": 2,
}
SHORT_OF_CLIPS: dict[str, Any] = {
    "pattern": "clipfold",
    "parts": {"outside": {"leather": "CC-NAV"}, **WALLET_PARTS},
    "thread": "TH-P05-NAV",
    "edge": "ED-PNT-NAV",
    "hardware": {"clip": "HW-CLIP76"},
    "quantity": 10,
}
THIN_MARGIN: dict[str, Any] = {
    "pattern": "fob",
    "parts": {"outside": {"leather": "VS-NAT"}},
    "thread": "TH-P05-TAN",
    "edge": "ED-BURN",
    "hardware": {"ring": "HW-RING30-SS"},
    "quantity": 12,
}
THIN_MARGIN_AND_MORE: dict[str, Any] = {
    "pattern": "fob",
    "parts": {"outside": {"leather": "VS-COG"}},
    "thread": "TH-P05-TAN",
    "edge": "ED-BURN",
    "hardware": {"ring": "HW-RING30-SS", "rivet": "HW-RIV9-BR"},
}
LEAD: dict[str, Any] = {
    "pattern": "lead",
    "parts": {"outside": {"leather": "BR-HAZ"}},
    "thread": "TH-P08-NAT",
    "edge": "ED-BURN",
    "hardware": {"hook": "HW-HOOK25-SS"},
    "sizes": {"width_mm": 25, "length_mm": 1300},
    "purpose": {"use": "dog_lead", "dog_kg": 30},
    "lots": {"outside": ["L113"]},
}
EVERY_FIELD: dict[str, Any] = {
    "reference": "web-20391",
    "note": "Two lines,\nkept as written.",
    "pattern": "twofold",
    "parts": {"outside": {"leather": "SH-GAR", "side": "grain"}, **WALLET_PARTS, "lining": None},
    "thread": "TH-P05-GAR",
    "stitch": "hand",
    "edge": "ED-BURN",
    "hardware": {"closure": None},
    "sizes": {"lug_mm": None},
    "monogram": {
        "text": "A.B.",
        "method": "blind",
        "typeface": "FA-SER14",
        "zone": "Z-IN-LOW",
        "foil": None,
        "artwork": False,
    },
    "modifications": ["hidden_slot"],
    "carry": {
        "cards": 8,
        "notes": [{"item": "USD", "count": 4}],
        "business_cards": None,
        "passport": None,
        "blade": None,
    },
    "purpose": {"use": "everyday", "claims": [], "dog_kg": None, "child_under_3": False},
    "quantity": 1,
    "ship_to": "XA",
    "rush": False,
    "ready_by": "2026-05-29",
    "lots": {"outside": ["L104"]},
    "repeat_of": None,
    "catalog_revision": "R12",
}
WORKED: dict[str, dict[str, Any]] = {
    "buildable": BUILDABLE,
    "refused": REFUSED,
    "sign_off": SIGN_OFF,
    "incomplete": INCOMPLETE,
    "short_of_thread": SHORT_OF_THREAD,
    "short_of_clips": SHORT_OF_CLIPS,
    "thin_margin": THIN_MARGIN,
    "thin_margin_and_more": THIN_MARGIN_AND_MORE,
    "lead": LEAD,
    "every_field": EVERY_FIELD,
}


@pytest.fixture(scope="session")
def app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    """Return the service, its store new."""
    file = tmp_path_factory.mktemp("store") / "quarterfoot.sqlite3"
    store = f"sqlite:///{file}"
    house = open_house(Settings(today=date(2026, 3, 2), database_url=store, bootstrap_owner_key=OWNER_KEY))
    yield create_app(house)
    house.close()


@pytest.fixture(scope="session")
def client(app: FastAPI) -> Iterator[TestClient]:
    """Return the owner as a client of the service; a fault inside is an answer, as in the field."""
    headers = {"authorization": f"Bearer {OWNER_KEY}"}
    with TestClient(app, raise_server_exceptions=False, headers=headers) as client:
        yield client


@pytest.fixture
def worked() -> dict[str, dict[str, Any]]:
    """Return specs whose answers differ in kind, by name."""
    return WORKED


@pytest.fixture(scope="session", params=WORKED.values(), ids=WORKED)
def spec(request: pytest.FixtureRequest) -> dict[str, Any]:
    """Return one of them after another."""
    found: dict[str, Any] = request.param
    return found


@pytest.fixture(scope="session")
def answer_once(app: FastAPI, spec: dict[str, Any]) -> dict[str, Any]:
    """Return the rules' own answer to a spec, worked out once."""
    house: House = app.state.house
    return check(house.shop, to_spec(SpecIn.model_validate(spec)), today=house.clock.today(), explain=True)


@pytest.fixture
def answer(answer_once: dict[str, Any]) -> dict[str, Any]:
    """Return a copy of that answer, for a test to change."""
    return copy.deepcopy(answer_once)
