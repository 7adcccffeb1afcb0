"""Which files a service answers by when it starts, and what it says of a folder that holds others."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import text

from api.__main__ import main
from api.drafting import about_folder
from api.editions import EditionError
from api.house import House, open_house
from api.settings import Settings
from api.store.engine import Store
from api.store.tables import EDITIONS
from catalog.strict_yaml import Faults


@pytest.fixture
def folder(tmp_path: Path, tiny_files: dict[str, str]) -> Path:
    """Return a folder with the files of the tiny workshop."""
    found = tmp_path / "files"
    found.mkdir()
    for name, content in tiny_files.items():
        (found / name).write_text(content, encoding="utf-8")
    return found


@pytest.fixture
def start(store_url: str, folder: Path) -> Callable[[], House]:
    """Return what opens the house over one store and the folder."""
    return lambda: open_house(Settings(catalog=folder, database_url=store_url))


@pytest.fixture
def run(store_url: str, folder: Path) -> Callable[..., int]:
    """Return what runs a command over the store and the folder."""
    environ = {"QUARTERFOOT_CATALOG": str(folder), "QUARTERFOOT_DATABASE_URL": store_url}
    return lambda *arguments: main(arguments, environ)


def change(folder: Path) -> None:
    """Change a file in a way that every reader of it notices."""
    path = folder / "workshop.yaml"
    content = path.read_text(encoding="utf-8")
    assert content.count("quote_days: ") == 1
    path.write_text(content.replace("quote_days: ", "quote_days: 1"), encoding="utf-8")


def days(house: House) -> int:
    return house.shop.catalog.workshop.quote_days


def test_the_first_start_makes_the_folder_the_first_edition(start: Callable[[], House]) -> None:
    house = start()
    assert house.shop.revisions["edition"] == 1
    assert about_folder(house, house.shelf) == {"differs": False, "says": None}
    house.close()


def test_a_later_start_keeps_the_edition_in_force_and_says_that_the_folder_differs(
    start: Callable[[], House], folder: Path, run: Callable[..., int], capsys: pytest.CaptureFixture[str]
) -> None:
    house = start()
    before = days(house)
    house.close()
    change(folder)
    again = start()
    assert (days(again), again.shop.revisions["edition"]) == (before, 1)
    says = about_folder(again, again.shelf)["says"]
    assert "not those in force (edition 1)" in says
    assert "python -m api reload" in says
    assert run("reload") == 1
    assert run("reload", "--yes") == 0
    assert "Edition 2 is in force" in capsys.readouterr().out
    # The house that was open notices at its next look.
    assert days(again) != before
    assert again.shop.revisions["edition"] == 2
    assert not about_folder(again, again.shelf)["differs"]
    again.close()


def test_a_folder_with_faults_does_not_keep_a_service_from_starting(start: Callable[[], House], folder: Path) -> None:
    start().close()
    (folder / "labor.yaml").write_text("- [", encoding="utf-8")
    house = start()
    assert house.shop.revisions["edition"] == 1
    assert about_folder(house, house.shelf)["differs"]
    house.close()


def test_a_folder_with_faults_makes_no_first_edition(start: Callable[[], House], folder: Path, store_url: str) -> None:
    (folder / "labor.yaml").write_text("- [", encoding="utf-8")
    with pytest.raises(Faults):
        start()
    if store_url.startswith("sqlite"):
        assert not Path(store_url.removeprefix("sqlite:///")).exists()


def test_an_edition_that_this_program_cannot_read_is_told_and_can_be_replaced(
    start: Callable[[], House],
    run: Callable[..., int],
    store_url: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    start().close()
    store = Store(store_url)
    with store.write() as write:  # as an earlier program may have left it, before a field became needed
        write.connection.execute(EDITIONS.update().values(files='{"workshop.yaml": "name: old"}'))
    with pytest.raises(EditionError) as told:
        start()
    assert {"workshop.yaml", "kinds.yaml"} <= {fault.file for fault in told.value.faults.faults}
    spec = tmp_path / "spec.json"
    spec.write_text('{"pattern": "belt"}', encoding="utf-8")
    assert run("check", str(spec)) == 2
    err = capsys.readouterr().err
    assert "edition 1, which is in force, cannot be read" in err
    assert "kinds.yaml:1:1" in err
    assert "python -m api reload --yes" in err
    assert run("reload") == 1
    assert store.revisions().edition == 1
    assert run("reload", "--yes") == 0
    house = start()
    assert house.shop.revisions["edition"] == 2
    house.close()
    store.close()


def test_a_store_from_before_there_were_editions_gets_the_folder_as_its_first(
    start: Callable[[], House], store_url: str
) -> None:
    start().close()
    store = Store(store_url)
    with store.write() as write:
        write.connection.execute(EDITIONS.delete())
        write.edition = 0
    stock = store.revisions().stock
    house = start()
    assert (house.shop.revisions["edition"], store.revisions().stock) == (1, stock + 1)
    with store.read() as connection:
        assert connection.execute(text("SELECT count(*) FROM edition")).scalar() == 1
    house.close()
    store.close()


def test_reload_needs_a_store(run: Callable[..., int], store_url: str, capsys: pytest.CaptureFixture[str]) -> None:
    if store_url.startswith("sqlite"):
        assert run("reload", "--yes") == 2
        assert "no store yet" in capsys.readouterr().err


def test_two_folders_are_compared_without_a_store(
    sqlite_url: str, folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = tmp_path / "other"
    other.mkdir()
    for file in folder.iterdir():
        (other / file.name).write_bytes(file.read_bytes())
    prices = other / "price-list.yaml"
    content = prices.read_text(encoding="utf-8")
    prices.write_text(content.replace("amount: ", "amount: 1"), encoding="utf-8")
    environ = {"QUARTERFOOT_CATALOG": str(folder), "QUARTERFOOT_DATABASE_URL": sqlite_url}
    assert main(["compare", str(folder), str(other), "--sample", "40"], environ) == 0
    assert "of 40 sample" in capsys.readouterr().out
    assert not Path(sqlite_url.removeprefix("sqlite:///")).exists()
    assert main(["compare", "now", str(tmp_path / "none")], environ) == 2
