"""Keys on the command line: made, shown once, listed without a secret, revoked, rotated."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import NamedTuple

import pytest

from api.__main__ import main
from api.house import House, open_house
from api.keys import Key, kept_keys, make_key, origin_of, rotate_key
from api.settings import Settings

TODAY = {"QUARTERFOOT_TODAY": "2026-03-02"}


class Said(NamedTuple):
    code: int
    out: str
    err: str

    @property
    def key(self) -> str:
        (line,) = self.out.splitlines()
        return line

    @property
    def id(self) -> str:
        return self.key.split(".")[2]


Run = Callable[..., Said]


@pytest.fixture
def environ(tmp_path: Path) -> dict[str, str]:
    return {**TODAY, "QUARTERFOOT_DATABASE_URL": f"sqlite:///{tmp_path / 'keys.sqlite3'}"}


@pytest.fixture
def run(environ: dict[str, str], capsys: pytest.CaptureFixture[str]) -> Run:
    """Return ``keys`` with its arguments."""

    def run(*arguments: str) -> Said:
        code = main(["keys", *arguments], environ)
        return Said(code, *capsys.readouterr())

    return run


@pytest.fixture
def found(environ: dict[str, str]) -> Callable[[str], Key | None]:
    """Return what a service finds for the text of a key, some days on."""

    def found(text: str, days: int = 0) -> Key | None:
        house = open_house(Settings(database_url=environ["QUARTERFOOT_DATABASE_URL"]))
        try:
            moment = house.clock.now() + timedelta(days=days)
            return house.keys.find(text, moment.strftime("%Y-%m-%dT%H:%M:%S.%fZ"))
        finally:
            house.close()

    return found


@pytest.fixture
def house(tmp_path: Path) -> House:
    house = open_house(Settings(database_url=f"sqlite:///{tmp_path / 'house.sqlite3'}"))
    yield house
    house.close()


@pytest.mark.parametrize("name", ["page", "server", "staff", "owner", "sheet"])
def test_a_key_is_shown_alone_on_the_output_and_works(run: Run, found: Callable[[str], Key], name: str) -> None:
    made = run("make", name, "--name", "the till")
    assert made.code == 0
    assert re.fullmatch(rf"qf\.{name}\.[0-9a-f]{{10}}\.[A-Za-z0-9_-]{{32}}", made.key)
    assert made.err == "this is shown once; keep it:\n"
    key = found(made.key)
    assert (key.class_name, key.name, key.id) == (name, "the till", made.id)


def test_a_list_shows_every_key_and_no_secret_but_the_text_of_page_keys(run: Run) -> None:
    made = {name: run("make", name, "--name", f"for {name}") for name in ("page", "server", "owner", "sheet")}
    listed = run("list").out
    assert len(listed.splitlines()) == 4
    for name, each in made.items():
        assert each.id in listed
        assert (each.key in listed) is (name == "page")
        assert (each.key.split(".")[3] in listed) is (name == "page")


def test_the_store_holds_no_secret(run: Run, tmp_path: Path) -> None:
    secrets = [run("make", name, "--name", "x").key.split(".")[3] for name in ("server", "staff", "owner", "sheet")]
    stored = b"".join(file.read_bytes() for file in tmp_path.glob("keys.sqlite3*"))
    assert stored
    assert [secret for secret in secrets if secret.encode() in stored] == []


def test_a_list_of_no_keys_says_so(run: Run) -> None:
    assert run("list") == Said(0, "", "no key was made yet\n")


def test_a_key_has_its_client_origins_and_end(run: Run, found: Callable[..., Key | None]) -> None:
    more = ["--client", "shop-1", "--origin", "HTTPS://Shop.example:443", "--origin", "http://localhost:5173"]
    made = run("make", "page", "--name", "the shop", "--days", "400", *more)
    key = found(made.key)
    assert (key.client, key.origins) == ("shop-1", ("https://shop.example", "http://localhost:5173"))
    listed = run("list").out
    assert "until 2027-04-06" in listed
    assert "at https://shop.example" in listed
    assert found(made.key, days=399 + 365) is None


def test_a_revoked_key_is_gone_at_once_and_stays_listed(run: Run, found: Callable[[str], Key | None]) -> None:
    made = run("make", "owner", "--name", "lost")
    assert run("revoke", made.id) == Said(0, "", "revoked\n")
    assert found(made.key) is None
    assert run("revoke", made.id).err == "it was revoked before\n"
    assert "revoked" in run("list").out


def test_a_rotated_key_works_beside_the_new_one_for_a_while(house: House) -> None:
    start = house.clock.now()
    with house.store.write() as write:
        old = make_key(
            write, "page", name="shop", at=house.now(), by="test", client="c", origins=["https://shop.example"]
        )
        new = rotate_key(write, old.split(".")[2], now=start, overlap=timedelta(days=7), by="test")

    def both(days: float) -> list[bool]:
        moment = (start + timedelta(days=days)).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
        return [house.keys.find(text, moment) is not None for text in (old, new)]

    assert both(6.9) == [True, True]
    assert both(7) == [False, True]
    first, second = (house.keys.find(text, house.now()) for text in (old, new))
    assert (first.client, first.name, first.origins, first.class_name) == (
        second.client, second.name, second.origins, second.class_name,
    )  # fmt: skip


def test_without_an_overlap_the_old_key_ends_at_once_whatever_the_clock_says(
    run: Run, found: Callable[..., Key | None]
) -> None:
    made = run("make", "server", "--name", "web")
    again = run("rotate", made.id, "--overlap-days", "0")
    assert again.err.startswith("the old key has ended\n")
    assert [found(text, days=-400) is not None for text in (made.key, again.key)] == [False, True]


def test_a_key_that_lasts_a_while_is_rotated_into_one_that_lasts_as_long(house: House) -> None:
    start = house.clock.now()
    with house.store.write() as write:
        at, end = ((start + timedelta(days=days)).strftime("%Y-%m-%dT%H:%M:%S.%fZ") for days in (-85, 5))
        old = make_key(write, "server", name="web", at=at, by="test", expires_at=end)
        rotate_key(write, old.split(".")[2], now=start, overlap=timedelta(days=7), by="test")
        first, second = kept_keys(write.connection)
    assert first.key.expires_at == end
    assert second.key.expires_at == (start + timedelta(days=90)).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def test_a_key_that_is_not_in_force_is_not_rotated(run: Run) -> None:
    made = run("make", "server", "--name", "web")
    run("revoke", made.id)
    assert run("rotate", made.id) == Said(2, "", "this key is revoked; make a new one\n")


@pytest.mark.parametrize("task", ["revoke", "rotate"])
def test_an_id_that_no_key_has_is_told_and_not_repeated(run: Run, task: str) -> None:
    secret = "qf.owner.0123456789.someone-pasted-the-whole-key"
    said = run(task, secret)
    assert (said.code, said.out) == (2, "")
    assert "someone" not in said.err


def test_origins_are_for_page_keys(run: Run) -> None:
    said = run("make", "server", "--name", "x", "--origin", "https://shop.example")
    assert said == Said(2, "", "only a page key takes --origin\n")


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["make"],
        ["make", "king", "--name", "x"],
        ["make", "page"],
        ["make", "page", "--name", " "],
        ["make", "page", "--name", "x" * 81],
        ["make", "page", "--name", "a\x1b[2J"],
        ["make", "page", "--name", "x", "--origin", "https://shop.example/path"],
        ["make", "page", "--name", "x", "--origin", "*"],
        ["make", "page", "--name", "x", "--client", "a b"],
        ["make", "page", "--name", "x", "--days", "0"],
        ["make", "page", "--name", "x", "--days", "٣"],
        ["rotate", "x", "--overlap-days", "-1"],
    ],
)
def test_a_wrong_command_line_is_exit_2(environ: dict[str, str], arguments: list[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        main(["keys", *arguments], environ)
    assert stopped.value.code == 2


@pytest.mark.parametrize(
    ("text", "origin"),
    [
        ("https://shop.example", "https://shop.example"),
        ("HTTPS://SHOP.example:443", "https://shop.example"),
        ("http://localhost:80", "http://localhost"),
        ("http://localhost:443", "http://localhost:443"),
        ("http://[::1]:5173", "http://[::1]:5173"),
    ],
)
def test_an_origin_is_kept_as_browsers_send_it(text: str, origin: str) -> None:
    assert origin_of(text) == origin


@pytest.mark.parametrize(
    "text",
    ["", "shop.example", "https://", "https://shop.example/", "ftp://a.b", "https://a b", "null", "https://ö.de"],
)
def test_what_is_no_origin_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="expected an origin"):
        origin_of(text)
