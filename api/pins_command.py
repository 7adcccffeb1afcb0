"""``pins``: which figures of the catalog no example and no worked order keeps in its place."""

from __future__ import annotations

import sys
from typing import Any

from api.clock import clock_from
from api.house import shop_from_files
from api.settings import Settings
from api.terminal import plain
from api.worked_orders import worked_orders
from rules.pins import Move, Pins, moves_of, unheld_rules
from rules.worked import as_written, outcome_of

_UNPINNED, _PINNED = 1, 0


def add_pins(commands: Any) -> None:
    """Add the command to a parser."""
    command = commands.add_parser(
        "pins",
        help="move every limit a step and see who notices",
        description="Moves every threshold, and every figure that a worked order holds, one step up and down, and lists"
        " what no example and no worked order notices. Takes a minute or two. Exit code: 0 all noticed, 1 not.",
    )
    command.set_defaults(run=run)


def run(settings: Settings, _options: Any) -> int:
    """Print what was noticed, the rest, and worked orders that come out otherwise; return the exit code."""
    shop = shop_from_files(settings)
    orders, today = worked_orders(shop), clock_from(shop.catalog.workshop.time_zone, settings.today).today()
    for order in orders:
        now = outcome_of(shop, order, today)
        if not as_written(order, now):
            print(f"{order.rule}: {plain(order.says)}: expected {order.expect}, is {now.word}")
    moves, pins = moves_of(shop.catalog, orders), Pins(shop, orders, today)
    missed = []
    for done, move in enumerate(moves, 1):
        if pins.noticed_by(move) is None:
            missed.append(move)
        if sys.stderr.isatty():
            print(f"\r{done} of {len(moves)}", end="", file=sys.stderr, flush=True)
    if sys.stderr.isatty():
        print(file=sys.stderr)
    print(f"{len(moves) - len(missed)} of {len(moves)} moves are noticed.")
    for move in missed:
        print(f"  not noticed: {plain(_told(move))}")
    for rule in unheld_rules(shop, orders):
        print(f"  {rule}: no order holds a figure of its limit")
    return _UNPINNED if missed else _PINNED


def _told(move: Move) -> str:
    return f"{move.path} {move.direction} to {move.to} {move.unit}".rstrip()
