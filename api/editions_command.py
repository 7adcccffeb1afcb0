"""``compare`` and ``reload``: what other files would change, and putting a folder in force."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

from pydantic import TypeAdapter, ValidationError

from api.body import parse
from api.clock import clock_from
from api.comparing import SAMPLE, Compared, affected_in, compared_in, comparison_json
from api.comparison_table import table
from api.desk.editions import Draft, notes_on, obstacles, put_in_force
from api.editions import EditionError, Editions, texts_in
from api.house import House, open_house
from api.schemas.spec import SpecIn, to_spec
from api.settings import Settings
from api.store.editions import edition_in_force
from api.store.engine import BusyError, Store, is_there
from api.store.migrate import bring_up
from api.store.shelf import stamp
from api.terminal import plain
from api.visibility import Caller
from rules.shop import Shop
from rules.spec import Spec

NOW: Final = ("-", "now")
_BY: Final = "command line"
_MOST_SAMPLE: Final = 1_000_000
#: As over HTTP.
_LONGEST_NOTE: Final = 500
#: Nothing is in force that stands in the way, or a draft is not confirmed yet.
NOT_DONE: Final = 1
_SPECS: Final = TypeAdapter(dict[str, SpecIn])


class EditionCommandError(Exception):
    """What cannot be compared or put in force; ``str()`` is what to tell the person."""


def add_editions(commands: Any, typed: Callable[[Callable[[str], Any]], Any]) -> None:
    """Add the commands to a parser; ``typed`` makes a reader of text one that the parser takes."""
    comparing = commands.add_parser(
        "compare",
        help="compare two folders of the workshop's files",
        description="Judges examples, stored checks, open quotes, open orders and a sample by both, over the stock of"
        " the store where there is one. Exit code: 0 compared, 2 unreadable.",
    )
    comparing.add_argument("old", metavar="OLD", help="a folder; - or now for the edition in force")
    comparing.add_argument("new", metavar="NEW", help="a folder; - or now for the edition in force")
    comparing.add_argument("--sample", type=typed(_sample), default=SAMPLE, help=f"how many random specs ({SAMPLE})")
    comparing.add_argument("--specs", metavar="FILE", type=Path, help="specs of your own: a JSON object, by name")
    comparing.add_argument("--json", action="store_true", help="print it as JSON")
    comparing.set_defaults(run=_compare)
    reloading = commands.add_parser(
        "reload",
        help="put a folder's files in force, in every process, without a restart",
        description="Shows what the files would change for open quotes and orders. With --yes, or --token and what was"
        " shown, they are put in force, all or none. Exit code: 0 in force, 1 shown only or something in the way,"
        " 2 unreadable.",
    )
    reloading.add_argument("folder", metavar="FOLDER", nargs="?", type=Path, help="the folder (that of the service)")
    reloading.add_argument("--yes", action="store_true", help="put them in force")
    reloading.add_argument("--token", help="put them in force if this is what was shown")
    reloading.add_argument("--note", type=typed(_note), help=f"why, in at most {_LONGEST_NOTE} signs")
    reloading.set_defaults(run=_reload)


def _sample(text: str) -> int:
    if text.isascii() and text.isdigit() and len(text) <= 7 and int(text) <= _MOST_SAMPLE:
        return int(text)
    raise ValueError(f"expected a whole number from 0 to {_MOST_SAMPLE}, found {text[:40]!r}")


def _note(text: str) -> str:
    if len(text) > _LONGEST_NOTE or not text.isprintable():
        raise ValueError(f"expected one line of at most {_LONGEST_NOTE} signs")
    return text


def _compare(settings: Settings, options: argparse.Namespace) -> int:
    specs = _specs(options.specs)
    with _opened(settings) as house:
        shops = [_shop(settings, house, name) for name in (options.old, options.new)]
        found = compared_in(house, *shops, sample=options.sample, specs=specs)
    told = comparison_json(found, Caller.OWNER)
    if options.json:
        print(json.dumps(told, indent=2, ensure_ascii=False))
    else:
        print("\n".join(table(told)))
    return 0


@contextmanager
def _opened(settings: Settings, *, made: bool = False) -> Iterator[House]:
    """Give the house of the store, or where none is there, one of a store that is soon gone."""
    if is_there(settings.database_url) or made:
        house = open_house(settings)
        try:
            yield house
        except BusyError:
            raise EditionCommandError("the store is busy; nothing was changed") from None
        finally:
            house.close()
    else:
        with (
            TemporaryDirectory() as folder,
            _opened(replace(settings, database_url=f"sqlite:///{Path(folder) / 'store.sqlite3'}"), made=True) as house,
        ):
            yield house


def _shop(settings: Settings, house: House, name: str) -> Shop:
    if name in NOW:
        return house.shelves.plain
    folder = Path(name)
    if not folder.is_dir():
        raise EditionCommandError(f"there is no folder {plain(name)}")
    return (house.editions or Editions()).of(texts_in(folder))


def _specs(file: Path | None) -> dict[str, Spec]:
    if file is None:
        return {}
    try:
        return {name: to_spec(spec) for name, spec in _SPECS.validate_python(parse(file.read_bytes())).items()}
    except OSError as bad:
        raise EditionCommandError(f"{plain(file)}: {bad.strerror}") from None
    except (ValidationError, json.JSONDecodeError):
        raise EditionCommandError(f"{plain(file)}: not a JSON object of specs by name") from None


def _reload(settings: Settings, options: argparse.Namespace) -> int:
    files = texts_in(settings.catalog if options.folder is None else _folder(options.folder))
    if not is_there(settings.database_url):
        raise EditionCommandError("there is no store yet; the first start fills one from the folder")
    try:
        house = open_house(settings)
    except EditionError as bad:
        return _replace_unreadable(settings, options, files, bad)
    try:
        return _reload_in(house, options, files)
    except BusyError:
        raise EditionCommandError("the store is busy; nothing was changed") from None
    finally:
        house.close()


def _folder(folder: Path) -> Path:
    if not folder.is_dir():
        raise EditionCommandError(f"there is no folder {plain(folder)}")
    return folder


def _reload_in(house: House, options: argparse.Namespace, files: Mapping[str, str]) -> int:
    assert house.editions is not None
    shelf = house.shelf
    draft = Draft(files, house.editions.of(files), shelf.revisions.edition)
    old, new = shelf.plain, draft.shop
    with house.store.read() as connection:
        in_the_way = obstacles(connection, old.catalog, new.catalog)
        notes = notes_on(connection, old.catalog, new.catalog)
    _say(f"In force: edition {draft.base}, {old.catalog.workshop.catalog_revision}.")
    for note in notes:
        _say(f"Note: {plain(note)}.")
    _show(affected_in(house, old, new))
    for each in in_the_way:
        _say(f"In the way: {each.noun} {plain(each.code)} ({', '.join(each.used_by) or 'all'}): {each.says}.")
    token = draft.token.strip('"')
    if in_the_way:
        _say("Nothing was changed.")
        return NOT_DONE
    if options.token is not None and options.token != token:
        _say(f"Nothing was changed: what was shown under {plain(options.token)} is not this. Now it is --token {token}")
        return NOT_DONE
    if not options.yes and options.token is None:
        _say(f"Nothing was changed. To put it in force: --yes, or --token {token} for exactly this.")
        return NOT_DONE
    with house.store.write() as write:
        if write.edition != draft.base:
            raise EditionCommandError("another edition was put in force meanwhile; nothing was changed")
        if obstacles(write.connection, old.catalog, new.catalog):
            raise EditionCommandError("something came in the way meanwhile; nothing was changed")
        number, lots = put_in_force(write, draft, at=house.now(), by=_BY, note=options.note)
    _done(number, lots)
    return 0


def _replace_unreadable(
    settings: Settings, options: argparse.Namespace, files: Mapping[str, str], bad: EditionError
) -> int:
    """Put a folder in force in the place of an edition that this program cannot read, so cannot compare with."""
    shop = Editions().of(files)
    _say(f"In force: edition {bad.number}, which this program cannot read; what changes cannot be shown.")
    if not options.yes:
        _say("Nothing was changed. To put the folder in force all the same: --yes")
        return NOT_DONE
    store = Store(settings.database_url)
    try:
        bring_up(store.engine)
        with store.read() as connection:
            base = edition_in_force(connection)
        at = stamp(clock_from(shop.catalog.workshop.time_zone, settings.today).now())
        draft = Draft(files, shop, base)
        with store.write() as write:
            found = obstacles(write.connection, None, shop.catalog)
            if found or write.edition != base:
                for each in found:
                    _say(f"In the way: {each.noun} {plain(each.code)} ({', '.join(each.used_by)}): {each.says}.")
                _say("Nothing was changed.")
                return NOT_DONE
            number, lots = put_in_force(write, draft, at=at, by=_BY, note=options.note)
    finally:
        store.close()
    _done(number, lots)
    return 0


def _done(number: int, lots: list[str]) -> None:
    if lots:
        _say(f"Lots that came into stock: {', '.join(map(plain, lots))}.")
    _say(f"Edition {number} is in force; every process answers by it from its next request on.")


def _say(words: str) -> None:
    print(words, flush=True)


def _show(compared: Compared) -> None:
    for line in table(comparison_json(compared, Caller.OWNER)):
        _say(line)
