"""``pins``: which figures of the catalog no example and no worked order keeps in its place."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Any

from api.clock import clock_from
from api.house import shop_from_files
from api.settings import Settings
from api.terminal import plain
from api.worked_orders import worked_orders
from catalog.strict_yaml import did_you_mean
from rules.pins import Move, Pins, moves_of, unheld_rules
from rules.worked import as_written, outcome_of

_UNPINNED, _PINNED = 1, 0


class UnknownFigureError(ValueError):
    """A figure that is not moved; ``str()`` is what to tell the person."""


def add_pins(commands: Any) -> None:
    """Add the command to a parser."""
    command = commands.add_parser(
        "pins",
        help="move every limit a step and see who notices",
        description="Moves every threshold, and every figure that a worked order holds, one step up and down, and lists"
        " what no example and no worked order notices. Takes a minute or two. Exit code: 0 all noticed,"
        " every order as written; 1 not.",
    )
    command.add_argument("figures", metavar="FIGURE", nargs="*", help="only these, such as thresholds.nest_gap_mm")
    command.set_defaults(run=run)


def run(settings: Settings, options: Any) -> int:
    """Print what was noticed, the rest, and worked orders that come out otherwise; return the exit code.

    Raises:
        UnknownFigureError: a figure was named that would not be moved.
    """
    shop = shop_from_files(settings)
    orders, today = (
        worked_orders(shop.catalog, shop.book),
        clock_from(shop.catalog.workshop.time_zone, settings.today).today(),
    )
    moves, pins = _named(moves_of(shop.catalog, orders), options.figures), Pins(shop, orders, today)
    otherwise = 0
    for order in orders:
        if options.figures and not set(order.holds) & set(options.figures):
            continue
        now = outcome_of(shop, order, today)
        if not as_written(order, now):
            otherwise += 1
            print(f"{order.rule}: {plain(order.says)}: expected {order.expect}, is {now.word}")
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
    return _UNPINNED if missed or otherwise else _PINNED


def _named(moves: list[Move], figures: Sequence[str]) -> list[Move]:
    """Return the moves of the figures named, or all where none is."""
    known = [move.path for move in moves]
    for figure in figures:
        if figure not in known:
            said = f"no threshold and no figure that an order holds is called '{plain(figure)}'"
            raise UnknownFigureError(said + did_you_mean(figure, known))
    return [move for move in moves if not figures or move.path in figures]


def _told(move: Move) -> str:
    return f"{move.path} {move.direction} to {move.to} {move.unit}".rstrip()
