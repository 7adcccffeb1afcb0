"""The command line, from ``serve`` and ``check`` to ``reload`` and ``openapi``; it alone reads settings."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from pydantic import ValidationError

from api import settings as reading
from api.body import parse
from api.choices_command import ChoicesCommandError, add_choices
from api.desk.audit import differences
from api.document import as_text
from api.drafting import about_folder
from api.editions import EditionError
from api.editions_command import EditionCommandError, add_editions
from api.errors import ProblemError, violation_of
from api.examples import example_app, write
from api.house import open_house, shop_at_hand
from api.keys import KeyRefusedError
from api.keys_command import add_keys
from api.lint_command import add_lint
from api.lists.command import ListCommandError, add_check_list
from api.lists.work import give_way, work
from api.pins_command import UnknownFigureError, add_pins
from api.rules_commands import RulesCommandError, add_rules
from api.schemas.spec import SpecIn, to_spec
from api.serving import serve
from api.settings import SettingError, Settings, settings_from
from api.settled import settle
from api.store.backup import BackupError, back_up
from api.store.engine import is_there
from api.terminal import plain, rendered
from catalog.strict_yaml import Faults
from rules.check import check

EXIT_OF: Final = {"buildable": 0, "refused": 1, "sign_off": 3}
UNREADABLE: Final = 2


class _UnreadableError(Exception):
    """Input that cannot be used; ``str()`` is what to tell the person, line by line."""


#: What ends a command with words for the person, not with a trace.
_TOLD: Final = (
    SettingError, Faults, EditionError, EditionCommandError, KeyRefusedError, ListCommandError, UnknownFigureError,
    RulesCommandError, ChoicesCommandError, _UnreadableError,
)  # fmt: skip


def main(arguments: Sequence[str] | None = None, environ: Mapping[str, str] | None = None) -> int:
    """Run one command and return its exit code."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")  # a terminal without a sign shows "?", it does not end the program
    options = _parser().parse_args(arguments)
    try:
        settings = _overridden(settings_from(os.environ if environ is None else environ), options)
        code: int = options.run(settings, options)
        sys.stdout.flush()
    except _TOLD as bad:
        _warn(str(bad))
        return UNREADABLE
    except BrokenPipeError:  # the reader of a pipe has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    return code


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m api", description="Checks what a leather bench can make.", allow_abbrev=False
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    serving = commands.add_parser("serve", help="answer over HTTP")
    serving.add_argument("--host", type=_typed(reading.host), help="address to listen on (127.0.0.1)")
    serving.add_argument("--port", type=_typed(reading.port), help="port to listen on (8000); 0 takes a free one")
    serving.set_defaults(run=_serve)
    checking = commands.add_parser(
        "check",
        help="check one spec",
        description="Checks one spec. Exit code: 0 buildable, 1 refused, 2 unreadable, 3 to be agreed.",
    )
    checking.add_argument("file", metavar="FILE", help="a spec as JSON; - reads standard input")
    checking.add_argument("--json", action="store_true", help="print the answer as JSON")
    checking.add_argument("--defaults", action="store_true", help="fill gaps from the pattern's defaults")
    checking.add_argument("--today", type=_typed(reading.day), help="check as of this date, such as 2026-03-02")
    checking.set_defaults(run=_check)
    auditing = commands.add_parser(
        "audit",
        help="derive the stock from its entries again",
        description="Derives every balance from its entries and lays out what is set aside. Exit code: 0 well, 1 not.",
    )
    auditing.set_defaults(run=_audit)
    saving = commands.add_parser(
        "backup",
        help="copy a SQLite store while it is in use",
        description="Copies a SQLite store into a new file, also while the service runs, and verifies the copy."
        " To restore it, stop the service, put the file in the store's place, remove the store's -wal and -shm files,"
        " and start again.",
    )
    saving.add_argument("file", metavar="FILE", type=Path, help="a file that is not there yet")
    saving.set_defaults(run=_backup)
    add_lint(commands)
    add_keys(commands, _typed)
    add_check_list(commands, _typed, reading.day)
    add_pins(commands)
    add_editions(commands, _typed)
    add_rules(commands)
    add_choices(commands)
    working = commands.add_parser("work", help="judge the long lists that wait; the service starts this by itself")
    working.set_defaults(run=_work)
    describing = commands.add_parser("openapi", help="print the OpenAPI document")
    describing.add_argument(
        "--write",
        metavar="FOLDER",
        type=Path,
        help="write it and the examples' answers below this folder",
    )
    describing.set_defaults(run=_openapi)
    return parser


def _typed(read: Any) -> Any:
    def typed(text: str) -> Any:
        try:
            return read(text)
        except ValueError as bad:
            raise argparse.ArgumentTypeError(str(bad)) from None

    return typed


def _overridden(settings: Settings, options: argparse.Namespace) -> Settings:
    given = {name: getattr(options, name, None) for name in ("host", "port", "today")}
    return replace(settings, **{name: value for name, value in given.items() if value is not None})


def _serve(settings: Settings, _options: argparse.Namespace) -> int:
    try:
        return serve(settings, tell=_tell)
    except OSError as bad:
        raise _UnreadableError(f"cannot listen on {settings.host} port {settings.port}: {bad.strerror}") from None


def _tell(words: str) -> None:
    print(words, flush=True)


def _warn(words: str) -> None:
    print(words, file=sys.stderr)


def _check(settings: Settings, options: argparse.Namespace) -> int:
    spec = _spec(options.file)
    with shop_at_hand(settings) as (shop, clock, house):
        differs = None if house is None else about_folder(house, house.shelf)["says"]
        if differs:
            _warn(differs)
        today = settings.today or clock.today()
        answer = check(shop, to_spec(spec), today=today, fill_defaults=options.defaults)
    if options.json:
        print(json.dumps(answer, indent=2, ensure_ascii=False))
    else:
        print(rendered(answer, color=sys.stdout.isatty() and "NO_COLOR" not in os.environ), end="")
    return EXIT_OF[answer["outcome"]]


def _work(settings: Settings, _options: argparse.Namespace) -> int:
    give_way()
    house = open_house(settings)
    settle()
    try:
        work(house)
    finally:
        house.close()
    return 0


def _audit(settings: Settings, _options: argparse.Namespace) -> int:
    if not is_there(settings.database_url):  # a new store would agree with itself, and hide a misspelled name
        raise _UnreadableError("there is no store at the database URL")
    house = open_house(settings)
    try:
        with house.store.read() as connection:
            found = list(differences(connection, house.catalog, house.shelves.gap_um))
    finally:
        house.close()
    for each in found:
        print(each)
    print("The book agrees with its entries." if not found else f"{len(found)} differences.")
    return 1 if found else 0


def _backup(settings: Settings, options: argparse.Namespace) -> int:
    try:
        back_up(settings.database_url, options.file)
    except BackupError as bad:
        raise _UnreadableError(plain(str(bad))) from None
    print(f"Backed up, and whole: {plain(options.file)}")
    return 0


def _spec(name: str) -> SpecIn:
    try:
        return SpecIn.model_validate(parse(_content(name)))
    except json.JSONDecodeError as bad:
        raise _UnreadableError(f"{plain(name)}: not JSON: {plain(bad.msg)}") from None
    except ValidationError as bad:
        raise _UnreadableError(_listed(name, violation_of(bad))) from None


def _content(name: str) -> bytes:
    try:
        return sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
    except OSError as bad:
        raise _UnreadableError(f"{plain(name)}: {bad.strerror}") from None


def _listed(name: str, found: ProblemError) -> str:
    lines = [f"{plain(name)}: {found.detail}"]
    lines += [f"  {plain(entry['pointer']) or '/'}  {plain(entry['detail'])}" for entry in found.errors]
    return "\n".join(lines)


def _openapi(_settings: Settings, options: argparse.Namespace) -> int:
    if options.write is None:
        with example_app() as app:
            print(as_text(app.openapi()), end="")
        return 0
    try:
        for file in write(options.write):
            print(file)
    except OSError as bad:
        raise _UnreadableError(f"{plain(options.write)}: {bad.strerror}") from None
    return 0


if __name__ == "__main__":
    sys.exit(main())
