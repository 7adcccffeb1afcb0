"""``check-list``: a list on the command line, answered in a file beside it."""

from __future__ import annotations

import argparse
import json
import os
import signal
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any, BinaryIO, Final

from api.body import parse
from api.errors import ProblemError
from api.house import House, open_house
from api.lists.asking import JsonSource, LinesSource, SheetSource, Source
from api.lists.handling import Handling, Wanted
from api.lists.judging import MEASURES, MODES
from api.lists.picture import picture
from api.lists.receiving import MOST_JSON, overrides_in, specs_in
from api.schemas.wishlists import NOTHING_SUPPOSED, OverridesIn, to_what_if
from api.settings import Settings
from api.settled import settle
from api.sheets.model import SheetError
from api.terminal import plain
from api.visibility import Caller
from rules.what_if import WhatIfError

_BUILDABLE, _REFUSED, _UNREADABLE, _SIGN_OFF = 0, 1, 2, 3
_MOST_LISTED: Final = 12
_SECONDS: Final = 30


class ListCommandError(Exception):
    """A list that cannot be answered; ``str()`` is what to tell the person."""


def add_check_list(commands: Any, typed: Callable[[Callable[[str], Any]], Any], day: Callable[[str], Any]) -> None:
    """Add the command to a parser."""
    command = commands.add_parser(
        "check-list",
        help="check a sheet or a list of specs",
        description="Checks a CSV or XLSX sheet, NDJSON or a JSON list, and writes the answer beside it. Exit code:"
        " 0 all can be made, 1 some are refused, 2 a row or the file cannot be read, 3 some are to be agreed.",
    )
    command.add_argument("file", metavar="FILE", type=Path, help="the list")
    command.add_argument("--mode", choices=MODES, default="independent", help="each row alone, in turn, or the best")
    command.add_argument("--maximize", choices=MEASURES, default="count", help="what the best rows have most of")
    command.add_argument("--overrides", metavar="JSON", help="what if: an object as text, or @FILE")
    command.add_argument("--seconds", type=int, default=_SECONDS, help="how long to search for the best rows")
    command.add_argument("--output", metavar="FILE", type=Path, help="where the answer goes (FILE.checked.EXT)")
    command.add_argument("--picture", action="store_true", help="also draw outcomes and reasons beside it, as SVG")
    command.add_argument("--today", type=typed(day), help="check as of this date, such as 2026-03-02")
    command.set_defaults(run=run)


def run(settings: Settings, options: argparse.Namespace) -> int:
    """Answer a list; return the exit code."""
    signal.signal(signal.SIGTERM, _end)  # told to end, it leaves nothing half written
    _check_places(options)
    house = open_house(settings)
    settle()
    try:
        return _run(house, options)
    except SheetError as bad:
        raise ListCommandError(f"{plain(str(options.file))}: {plain(str(bad))}") from None
    except OSError as bad:
        raise ListCommandError(f"{plain(str(bad.filename or options.file))}: {bad.strerror}") from None
    except WhatIfError as bad:
        raise ListCommandError(f"--overrides: {plain(bad.pointer)}: {plain(str(bad))}") from None
    finally:
        house.close()


def _end(_number: int, _frame: Any) -> None:
    sys.exit(128 + signal.SIGTERM)


def _check_places(options: argparse.Namespace) -> None:
    """Find the places of answer and picture; raise where one would be lost."""
    given: Path = options.file
    if not given.exists():
        raise ListCommandError(f"{plain(str(given))}: there is no such file")
    if not given.is_file():
        raise ListCommandError(f"{plain(str(given))}: that is no file; save the list in one")
    beside = given.with_name(f"{given.stem}.checked{given.suffix}")
    options.output = Path(options.output or beside).resolve()  # through a link, to what it points at
    if options.output.exists() and not options.output.is_file():
        raise ListCommandError(f"{plain(str(options.output))}: that is no file; name one for the answer")
    options.drawn = options.output.with_suffix(".svg") if options.picture else None
    taken = [place for place in (given.resolve(), options.output, options.drawn) if place is not None]
    if len(set(taken)) < len(taken):
        raise ListCommandError("list, answer and picture need a name each: give the answer another by --output")


def _run(house: House, options: argparse.Namespace) -> int:
    source, overrides = _source(options.file)
    if options.overrides is not None:
        overrides = _overrides(options.overrides)
    what_if = to_what_if(overrides)
    if options.today is not None:
        what_if = replace(what_if, today=options.today)
    wanted = Wanted(options.mode, options.maximize, what_if, Caller.OWNER, None, options.seconds)
    handling = Handling(house, house.shop, source, wanted)
    with _whole(options.output) as out, _progress(source) as tick:
        handling.on_rows = tick
        handling.write(out)
    summary = handling.summary
    _tell(summary, source, options.output)
    if options.drawn is not None:
        says = {rule.id: rule.says for rule in house.shop.book.rules.values()}
        with _whole(options.drawn) as out:
            out.write(picture(summary, says, plain(options.file.name)).encode("utf-8", "replace"))
        print(f"Drawn: {plain(str(options.drawn))}")
    return _exit_of(summary)


def _exit_of(summary: Mapping[str, Any]) -> int:
    if summary["unreadable"]:
        return _UNREADABLE
    if summary["refused"]:
        return _REFUSED
    return _SIGN_OFF if summary["sign_off"] else _BUILDABLE


def _source(path: Path) -> tuple[Source, OverridesIn]:
    """Open a list by what it holds."""
    with path.open("rb") as file:
        start = file.read(512).removeprefix(b"\xef\xbb\xbf").lstrip()
    if not start.startswith((b"[", b"{")):
        return SheetSource(path, Caller.OWNER), NOTHING_SUPPOSED
    if start.startswith(b"{") and not _is_one_value(path):
        return LinesSource(path, Caller.OWNER), NOTHING_SUPPOSED
    try:
        wanted = specs_in(path)
    except ProblemError as bad:
        raise ListCommandError(f"{plain(str(path))}: {_said(bad)}") from None
    return JsonSource(wanted.specs, Caller.OWNER), wanted.overrides or NOTHING_SUPPOSED


def _is_one_value(path: Path) -> bool:
    """Whether a file that begins with an object is specs with overrides, and not an object a line."""
    if path.stat().st_size > MOST_JSON:
        return False
    try:
        return "specs" in parse(path.read_bytes())
    except json.JSONDecodeError:
        return False


def _overrides(text: str) -> OverridesIn:
    content = Path(text[1:]).read_bytes() if text.startswith("@") else text.encode("utf-8", "replace")
    try:
        return overrides_in(content)
    except ProblemError as bad:
        raise ListCommandError(f"--overrides: {_said(bad)}") from None


def _said(bad: ProblemError) -> str:
    """Return a problem in one line, its first place first."""
    if not bad.errors:
        return plain(bad.detail)
    first = bad.errors[0]
    return f"{plain(first['pointer'])}: {plain(first['detail'])}"


@contextmanager
def _whole(path: Path) -> Iterator[BinaryIO]:
    """Give a file that takes its name only once it is whole."""
    number, name = tempfile.mkstemp(prefix=f"{path.name}.", suffix=".part", dir=path.parent)
    draft = Path(name)
    try:
        with os.fdopen(number, "wb") as out:
            yield out
        draft.chmod(0o666 & ~_umask())
        draft.replace(path)
    finally:
        draft.unlink(missing_ok=True)


def _umask() -> int:
    """Return the mask of new files, which can only be read by setting it."""
    mask = os.umask(0)
    os.umask(mask)
    return mask


@contextmanager
def _progress(source: Source) -> Iterator[Callable[[int], None]]:
    """Give what to call with how many rows are done: a bar on a terminal, nothing elsewhere."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn

    columns = (BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("rows", total=source.count(sys.maxsize - 1))
        yield lambda rows: bar.advance(task, rows)


def _tell(summary: Mapping[str, Any], source: Source, output: Path) -> None:
    print(f"{summary['rows']} rows, answered in {plain(str(output))}")
    for name, words in (
        ("buildable", "can be made as asked"),
        ("sign_off", "need the maker's agreement"),
        ("refused", "cannot be made as asked"),
        ("unreadable", "cannot be read"),
    ):
        if summary[name]:
            print(f"  {summary[name]:>7}  {words}")
    print(f"Total of what is not refused: {summary['total']} {summary['currency']}")
    _tell_reasons(summary)
    for each in summary["short"]:
        print(
            f"Short: {each['leather']}, {each['asked_dm2']:g} dm2 asked in all, {each['free_dm2']:g} free,"
            f" {each['short_dm2']:g} missing"
        )
    for each in summary["ran_out"]:
        print(f"Ran out: {each['code']}, first for row {each['row']}")
    best = summary.get("best")
    if best is not None:
        proof = "proven to be the most" if best["proven"] else f"not proven; no choice has more than {best['bound']}"
        print(f"Best by {best['maximize']}: {best['value']}, {proof}")
    for note in source.notes:
        print(f"Note: {plain(note)}")


def _tell_reasons(summary: Mapping[str, Any]) -> None:
    reasons = [each for each in summary["rules"] if each["severity"] in ("refuse", "sign_off")]
    if reasons:
        print("Reasons")
    for each in reasons[:_MOST_LISTED]:
        verb = "refused" if each["severity"] == "refuse" else "to agree"
        print(f"  {each['rows']:>7}  {each['rule']}  {verb}")
    if len(reasons) > _MOST_LISTED:
        print(f"  and {len(reasons) - _MOST_LISTED} more")
