"""The commands about the rule book: ``audit-rules`` and ``rule-sheet``."""

from __future__ import annotations

import json
import sys
from argparse import Namespace
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, get_args

from api.clock import clock_from
from api.errors import ProblemError
from api.house import shop_at_hand, shop_from_files
from api.rule_audit import audit_of, told
from api.rule_sheet import Paper, sheet
from api.settings import Settings
from api.terminal import plain
from api.visibility import Caller
from rules.audit.report import Report


class RulesCommandError(Exception):
    """A command about the rules that cannot be carried out; ``str()`` says why."""


def add_rules(commands: Any) -> None:
    """Add the commands to a parser's."""
    auditing = commands.add_parser(
        "audit-rules",
        help="look for rules, codes and prices without effect",
        description="Audits the files of rule book and catalog. Exit code: 0 all is accepted, 1 not, 2 unreadable.",
    )
    auditing.add_argument("--json", action="store_true", help="print the audit as JSON")
    auditing.add_argument("--search-only", action="store_true", help="leave out what goes through every spec: faster")
    auditing.set_defaults(run=_audit)
    printing = commands.add_parser("rule-sheet", help="write the rule book as a page to print")
    printing.add_argument("file", metavar="FILE", type=Path, help="the HTML file to write; one there is written over")
    printing.add_argument("--family", help="one family of the book")
    printing.add_argument("--paper", choices=get_args(Paper), default="A4", help="size of the paper (A4)")
    printing.set_defaults(run=_print)


def _audit(settings: Settings, options: Namespace) -> int:
    shop = shop_from_files(settings)
    today = settings.today or clock_from(shop.catalog.workshop.time_zone, settings.today).today()
    with _progress() as tell:
        found = audit_of(shop.catalog, shop.book, today, tell, exact=not options.search_only)
    if options.json:
        print(json.dumps(told(shop.catalog, shop.book, today, found), indent=2, ensure_ascii=False))
        return 1 if found.open else 0
    for report in sorted(found.reports, key=lambda each: each.reason is not None):
        print(_line(report))
    for report in found.standing_by:
        print(f"stands by  {report.what}\n    {plain(report.says)} ({report.proof})")
    for picture in found.pictures:
        print(
            f"{picture['pattern']}: {picture['makeable']} of {picture['specs']} specs can be made, "
            f"{picture['without_agreement']} of them at once"
        )
    count = len(found.open)
    print(f"{len(found.reports) - count} accepted, {count} open; {found.judged} specs judged.")
    return 1 if count else 0


def _line(report: Report) -> str:
    state = "OPEN" if report.reason is None else "accepted"
    lines = [f"{state}  {report.kind}  {plain(report.what)}", f"    {plain(report.says)} ({report.proof})"]
    if report.reason is not None:
        lines.append(f"    Accepted: {plain(report.reason)}")
    elif report.witness is not None:
        lines.append(f"    {plain(json.dumps(dict(report.witness), ensure_ascii=False))}")
    return "\n".join(lines)


@contextmanager
def _progress() -> Iterator[Callable[[int], None]]:
    """Give what to call with how many specs were judged: a counter on a terminal, nothing elsewhere."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    judged = 0

    def tell(more: int) -> None:
        nonlocal judged
        judged += more
        print(f"\r{judged} specs judged", end="", file=sys.stderr, flush=True)

    yield tell
    print("\r" + " " * 40 + "\r", end="", file=sys.stderr)


def _print(settings: Settings, options: Namespace) -> int:
    with shop_at_hand(settings) as (shop, _, _):
        try:
            page = sheet(shop, Caller.OWNER, options.family, options.paper)
        except ProblemError as bad:
            raise RulesCommandError(f"--family: {plain(bad.detail)}") from None
    try:
        options.file.write_text(page, encoding="utf-8", newline="\n")
    except OSError as bad:
        raise RulesCommandError(f"{plain(str(options.file))}: {bad.strerror}") from None
    print(f"Written: {plain(str(options.file))}")
    return 0
