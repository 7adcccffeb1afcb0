"""The command ``lint``: what the rules on data say of a workshop's own."""

from __future__ import annotations

import argparse
import json
from typing import Any, Final

from api.house import shop_at_hand
from api.settings import Settings
from api.terminal import plain
from rules.stages import lint

#: What makes the command fail; advice does not.
_FAULTS: Final = ("refuse", "sign_off")


def add_lint(commands: Any) -> None:
    """Add the command."""
    linting = commands.add_parser(
        "lint",
        help="hold the workshop's data against the rules on data",
        description="Holds templates, names, magnets, prices and the rack against the rules of stage catalog. Exit"
        " code: 0 well, though there may be advice; 1 not.",
    )
    linting.add_argument("--json", action="store_true", help="print the findings as JSON")
    linting.set_defaults(run=run)


def run(settings: Settings, options: argparse.Namespace) -> int:
    """Print what is found; return the exit code."""
    with shop_at_hand(settings) as (shop, clock, _):
        found = lint(shop, settings.today or clock.today())
    if options.json:
        print(json.dumps(found, indent=2, ensure_ascii=False))
    else:
        for each in found:
            print(plain(f"{each['severity']:<8} {each['rule']}  {each['at'][0]}: {each['bench_message']}"))
        faults = sum(each["severity"] in _FAULTS for each in found)
        print(
            f"{faults} faults, {len(found) - faults} pieces of advice." if found else "The data keeps every rule on it."
        )
    return 1 if any(each["severity"] in _FAULTS for each in found) else 0
