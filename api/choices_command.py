"""The command ``picture-choices``: pictures of what can be chosen, a file for each pattern."""

from __future__ import annotations

import sys
from argparse import Namespace
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from api.choices_picture import choices_picture
from api.house import shop_at_hand
from api.settings import Settings
from api.terminal import plain
from rules.shop import Shop


class ChoicesCommandError(Exception):
    """A picture that cannot be drawn; ``str()`` says why."""


def add_choices(commands: Any) -> None:
    """Add the command to a parser's."""
    drawing = commands.add_parser(
        "picture-choices",
        help="draw what can be chosen of each pattern, as SVG",
        description="Draws for each pattern which options can be made, which the maker must agree to and which are"
        " closed, slot by slot, into FOLDER/choices-PATTERN.svg; a file there is written over.",
    )
    drawing.add_argument("patterns", metavar="PATTERN", nargs="*", help="codes of patterns; all if left out")
    drawing.add_argument("--to", metavar="FOLDER", type=Path, required=True, help="a folder that is there")
    drawing.set_defaults(run=_draw)


def _draw(settings: Settings, options: Namespace) -> int:
    if not options.to.is_dir():
        raise ChoicesCommandError(f"--to: there is no folder {plain(str(options.to))}")
    with shop_at_hand(settings) as (shop, clock, _):
        today = settings.today or clock.today()
        codes = _codes(shop, options.patterns)
        for place, code in enumerate(codes, 1):
            _progress(f"{place} of {len(codes)}: {code}")
            file = options.to / f"choices-{code}.svg"
            try:
                file.write_text(choices_picture(shop, code, today), encoding="utf-8", newline="\n")
            except OSError as bad:
                raise ChoicesCommandError(f"{plain(str(file))}: {bad.strerror}") from None
            _progress("")
            print(f"Drawn ({place} of {len(codes)}): {plain(str(file))}", flush=True)
    return 0


def _codes(shop: Shop, asked: Sequence[str]) -> list[str]:
    patterns = shop.indexes.patterns
    for code in asked:
        if patterns.find(code) is None:
            near = patterns.nearest(code)
            raise ChoicesCommandError(f"there is no pattern {plain(code)}" + (f"; {near}?" if near else ""))
    return list(dict.fromkeys(patterns.code(code) for code in asked)) or list(shop.catalog.patterns)


def _progress(words: str) -> None:
    """Show on a terminal what is being worked at; nothing elsewhere."""
    if sys.stderr.isatty():
        print(f"\r{plain(words):<60}\r", end="", file=sys.stderr, flush=True)
