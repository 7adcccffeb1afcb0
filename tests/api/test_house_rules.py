"""A rule written into a workshop's files is at work in everything that the service answers, with no other change."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from api.app import create_app
from api.house import open_house
from api.settings import DEMO_CATALOG, Settings
from api.visibility import Caller, view
from catalog.strict_yaml import Faults
from rules.house_bounds import FILE

KEY = "qf.owner.test.of-a-house-of-its-own"
LONGEST = "H-" + "A" * 40
RULES = f"""\
tables:
  most_letters:
    says: most letters on the leather
    unit: count
    inputs: [monogram.kind, monogram.method]
    rows: {{rows_from: house-letters.csv}}
    otherwise: 12
rules:
  - id: {LONGEST}
    each: monogram
    says: Few letters on shell.
    why: Shell is short.
    tell: "{{measured}} letters are too many on {{leather}}; {{limit}} fit."
    source: the owner, 2026-03-02
    limit: monogram.letters
    max: table.most_letters
    severity: refuse
    at: [/monogram/text]
    examples:
      - fails: {{monogram.letters: 3, monogram.kind: shell_smooth, monogram.method: blind}}
      - passes: {{monogram.letters: 2}}
"""
LETTERS = "monogram.kind,monogram.method,gives\nshell_smooth|shell_tumbled,blind|foil,2\n"
SPEC: dict[str, Any] = {
    "pattern": "twofold",
    "parts": {"outside": {"leather": "SH-GAR"}, "inside": {"leather": "GO-BLK"}, "pockets": {"leather": "GO-BLK"}},
    "thread": "TH-P05-GAR",
    "edge": "ED-BURN",
    "monogram": {"text": "ANNA", "method": "blind", "typeface": "FA-SER14", "zone": "Z-OUT-COR"},
}


def folder_with(folder: Path, rules: str, letters: str) -> Path:
    shutil.copytree(DEMO_CATALOG, folder)
    for file in [*folder.glob("house-*"), *folder.glob("orders-*")]:
        file.unlink()
    (folder / FILE).write_text(rules, encoding="utf-8")
    (folder / "house-letters.csv").write_text(letters, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def owner(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """The owner of a workshop with one rule of its own."""
    place = tmp_path_factory.mktemp("own")
    store = f"sqlite:///{place / 'store.sqlite3'}"
    folder = folder_with(place / "catalog", RULES, LETTERS)
    settings = Settings(today=date(2026, 3, 2), catalog=folder, database_url=store, bootstrap_owner_key=KEY)
    house = open_house(settings)
    with TestClient(create_app(house), headers={"authorization": f"Bearer {KEY}"}) as client:
        yield client
        house.log.flush()
    house.close()


def finding_in(answer: Any) -> Any:
    return next(each for each in answer["findings"] if each["rule"] == LONGEST)


def test_the_rule_is_listed_and_read_by_its_id(owner: TestClient) -> None:
    listed = {rule["id"]: rule for rule in owner.get("/v1/rules").json()["items"]}
    assert listed[LONGEST]["family"] == "house"
    assert listed[LONGEST]["formula"] == [
        "letters of the monogram is at most what the table 'most letters on the leather' gives, else refuse"
    ]
    read = owner.get(f"/v1/rules/{LONGEST.lower()}")
    assert (read.status_code, read.json()) == (200, {**listed[LONGEST], "orders": []})


def test_a_check_refuses_by_it_and_explains_it(owner: TestClient) -> None:
    answer = owner.post("/v1/checks?explain=all", json=SPEC).json()
    assert answer["outcome"] == "refused"
    found = finding_in(answer)
    assert (found["measured"], found["limit"], found["off_by"], found["unit"]) == (4, 2, 2, "count")
    assert found["message"] == "4 letters are too many on Garnet shell; 2 fit."
    told = next(each for each in answer["explained"] if each["rule"] == LONGEST)
    assert (told["kind"], told["measured"], told["limit"]) == ("fail", 4, 2)
    fewer = owner.post("/v1/checks", json=SPEC | {"monogram": SPEC["monogram"] | {"text": "AN"}}).json()
    assert LONGEST not in {each["rule"] for each in fewer["findings"]}


def test_customers_get_its_sentence_and_no_other_figure(owner: TestClient) -> None:
    answer = owner.post("/v1/checks?explain=all", json=SPEC).json()
    told = finding_in(view(answer, Caller.PAGE))
    assert (told["measured"], told["limit"], told["off_by"]) == (None, None, None)
    assert told["message"] == finding_in(answer)["message"]
    assert finding_in(view(answer, Caller.STAFF))["measured"] == 4


def test_what_is_still_open_waits_for_it(owner: TestClient) -> None:
    half = {"pattern": "twofold", "monogram": {"text": "ANNA", "method": "blind"}}
    answer = owner.post("/v1/checks?explain=all", json=half).json()
    assert next(each for each in answer["explained"] if each["rule"] == LONGEST)["kind"] == "open"


def test_rows_of_a_list_are_refused_by_it_as_a_check_is(owner: TestClient) -> None:
    rows = owner.post("/v1/wishlists?mode=independent", json={"specs": [SPEC]}).json()["rows"]
    single = owner.post("/v1/checks", json=SPEC).json()
    assert rows[0]["check"]["outcome"] == single["outcome"] == "refused"
    told = [finding_in(each) | {"remedies": []} for each in (rows[0]["check"], single)]
    assert told[0] == told[1]


def test_it_counts_among_what_was_refused(owner: TestClient) -> None:
    owner.post("/v1/checks", json=SPEC)
    owner.app.state.house.log.flush()  # type: ignore[attr-defined]  # the application under test
    assert LONGEST in {each["rule"] for each in owner.get("/v1/refusals").json()["items"]}


@pytest.mark.parametrize(
    ("rules", "letters", "said"),
    [
        (RULES.replace("monogram.letters\n", "monogram.leters\n"), LETTERS, f"{FILE}:15:12: unknown name"),
        (RULES, LETTERS.replace("blind|foil", "blint|foil"), "house-letters.csv:2:28: 'blint' is no value"),
        (RULES.replace("    otherwise: 12\n", ""), LETTERS, f"{FILE}:6:11: no row holds where"),
    ],
)
def test_a_bad_file_refuses_the_whole_shop(rules: str, letters: str, said: str, tmp_path: Path) -> None:
    folder = folder_with(tmp_path / "catalog", rules, letters)
    with pytest.raises(Faults) as caught:
        open_house(Settings(catalog=folder, database_url=f"sqlite:///{tmp_path / 'none.sqlite3'}"))
    assert said in str(caught.value)
    assert not (tmp_path / "none.sqlite3").exists()
