"""The picture of what can be chosen: true to the choices, readable without colors, for the owner alone."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections import Counter
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from support.desk import Desk, a_desk

from api.__main__ import main
from api.choices_picture import choices_picture
from api.editions import Editions
from api.svg import ASK, BAD, GOOD

SVG = "{http://www.w3.org/2000/svg}"
PATH = "/v1/patterns/fob/choices.svg"
ENVIRON = {"QUARTERFOOT_TODAY": "2026-03-02", "QUARTERFOOT_DATABASE_URL": "sqlite:///none-here.sqlite3"}


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """A workshop with a key of each class."""
    with a_desk(f"sqlite:///{tmp_path_factory.mktemp('pictures') / 'store.sqlite3'}") as desk:
        yield desk


@pytest.fixture(scope="module")
def answer(desk: Desk) -> Any:
    return desk.post("/v1/choices?figures=all", {"pattern": "fob"}).json()


@pytest.fixture(scope="module")
def drawn(desk: Desk) -> ET.Element:
    return ET.fromstring(desk.get(PATH).content)


def texts(drawn: ET.Element) -> list[str]:
    return [each.text or "" for each in drawn.iter(f"{SVG}text")]


def test_every_option_is_drawn_in_its_state(drawn: ET.Element, answer: Any) -> None:
    states = Counter(option["state"] for slot in answer["slots"] for option in slot["options"])
    legend = 1  # each mark stands in the legend too
    for shade, state in ((GOOD, "open"), (ASK, "sign_off"), (BAD, "closed")):
        marks = [each for each in drawn.iter(f"{SVG}path") if each.get("fill") == shade.color]
        assert len(marks) == states[state] + legend
    struck = [each for each in drawn.iter(f"{SVG}text") if each.get("text-decoration") == "line-through"]
    assert len(struck) == states["closed"]


def test_states_are_told_apart_by_shape(drawn: ET.Element) -> None:
    filled = [each for each in drawn.iter(f"{SVG}path") if each.get("fill", "none") != "none"]
    shapes = {(each.get("fill"), each.get("d")) for each in filled}
    colors, forms = {fill for fill, _ in shapes}, {form for _, form in shapes}
    assert len(shapes) == len(colors) == len(forms)


def test_it_says_how_many_specs_there_are(drawn: ET.Element, answer: Any) -> None:
    """Every spec has one edge, so what is counted through each edge comes to all of them."""
    edges = next(slot for slot in answer["slots"] if slot["slot"] == "/edge")["options"]
    specs = sum(int(option["completions"]) for option in edges if option["state"] == "open")
    assert any(line.startswith(f"{specs:,} specs can be made, from ") for line in texts(drawn))


def test_who_does_not_see_it_is_told_the_same_in_words(drawn: ET.Element, answer: Any) -> None:
    title, description = drawn.find(f"{SVG}title"), drawn.find(f"{SVG}desc")
    assert title is not None
    assert description is not None
    assert drawn.get("aria-labelledby") == f"{title.get('id')} {description.get('id')}"
    edges = Counter(option["state"] for option in answer["slots"][1]["options"])
    assert f"edge: {edges['open']} can be made, {edges['sign_off']} only if the maker agrees" in (
        description.text or ""
    )


def test_it_asks_for_nothing_from_elsewhere(desk: Desk) -> None:
    answer = desk.get(PATH)
    assert answer.headers["content-type"] == "image/svg+xml"
    root = ET.fromstring(answer.content)
    assert {each.tag.removeprefix(SVG) for each in root.iter()} <= {
        "svg", "title", "desc", "defs", "pattern", "rect", "path", "circle", "g", "text",
    }  # fmt: skip
    assert not [name for each in root.iter() for name in each.attrib if name.endswith("href") or name == "style"]


def test_it_is_the_owners(desk: Desk) -> None:
    assert [desk.get(PATH, who).status_code for who in ("page", "server", "staff", "owner")] == [403, 403, 403, 200]
    assert desk.get("/v1/patterns/fobb/choices.svg").status_code == 404
    assert desk.get("/v1/patterns/FOB/choices.svg").content == desk.get(PATH).content


def test_a_name_of_any_signs_is_drawn_as_it_is(oddlestone_files: dict[str, str]) -> None:
    assert oddlestone_files["patterns.yaml"].count("name: Key Fob") == 1
    named = oddlestone_files["patterns.yaml"].replace("name: Key Fob", "name: 'Fob <&\"'")
    shop = Editions().of(oddlestone_files | {"patterns.yaml": named})
    drawn = ET.fromstring(choices_picture(shop, "fob", date(2026, 3, 2)))
    assert texts(drawn)[0] == 'Fob <&": what can be chosen'


def test_the_command_draws_a_file_for_each_pattern_that_it_is_given(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["picture-choices", "FOB", "belt", "--to", str(tmp_path)], ENVIRON) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert [line.partition(": ")[0] for line in out.splitlines()] == ["Drawn (1 of 2)", "Drawn (2 of 2)"]
    for code in ("fob", "belt"):
        assert ET.parse(tmp_path / f"choices-{code}.svg").getroot().tag == f"{SVG}svg"
    assert not (tmp_path / "none-here.sqlite3").exists()


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (("--to", "{folder}/nowhere"), "there is no folder"),
        (("fobb", "--to", "{folder}"), "there is no pattern fobb; fob?"),
    ],
)
def test_what_cannot_be_drawn_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], more: tuple[str, ...], words: str
) -> None:
    arguments = [each.format(folder=tmp_path) for each in more]
    assert main(["picture-choices", *arguments], ENVIRON) == 2
    assert words in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
