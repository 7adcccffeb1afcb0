"""The house's own rules that refuse (H-...), from its file and its table of finishes."""

from __future__ import annotations

import csv
from io import StringIO
from typing import Any

from support.independent.board import Board
from support.independent.data import Context

from catalog.model import Swatch

#: Edge paint this light is pale, thousandths of L* (H-PALE-ON-BLUE).
_PALE_MILLI = 45_000
#: Foil bridges the valleys of these (H-FOIL-SMOOTH).
_ROUGH = ("shell_embossed", "shell_tumbled", "calf_embossed", "pig")
#: A long wallet has no more leathers than this (H-TWO-LEATHERS).
_MOST_LEATHERS = 2
#: A channel spread below this is gray; hues of blue lie between these, in degrees.
_GRAY_BELOW = 14
_BLUE = (160, 255)


def is_blue(swatch: Swatch) -> bool:
    """Whether a bench calls a color blue: not gray, and of a hue from 160 to 255 degrees."""
    red, green, blue = (int(swatch.srgb[at : at + 2], 16) for at in (1, 3, 5))
    most, spread = max(red, green, blue), max(red, green, blue) - min(red, green, blue)
    if spread < _GRAY_BELOW or most == red:
        return False  # a hue of which red is the most lies within 60 degrees of red
    sixty = (blue - red) + 2 * spread if most == green else (red - green) + 4 * spread
    return _BLUE[0] * spread < 60 * sixty <= _BLUE[1] * spread


def finishes(house: Any) -> dict[str, set[str]]:
    """Return the finishes that the house's table allows, by kind of the outside (H-FINISH-BY-KIND)."""
    text = next((text for name, text in house.items() if name.startswith("house-finish")), "")
    rows = list(csv.reader(StringIO(text)))
    found: dict[str, set[str]] = {}
    for kinds, allowed in rows[1:]:
        for kind in kinds.split("|"):
            found.setdefault(kind.strip(), set()).update(each.strip() for each in allowed.split("|"))
    return found


def add_house(board: Board, told: Context) -> None:
    """All of them but H-CLIPFOLD-THIN, which one part alone decides."""
    pale = board.where("edge", lambda e: e.finish == "paint" and e.swatch and e.swatch.lightness_milli >= _PALE_MILLI)
    for part in told.pattern.parts:
        board.never(pale, board.where(f"part/{part}", lambda o: is_blue(o.leather.swatch)))
    allowed = finishes(told.catalog.house)
    for finish in told.pattern.edge_finishes:
        edges = board.where("edge", lambda e, f=finish: e.finish == f)
        wrong = board.where("part/outside", lambda o, f=finish: f not in allowed.get(o.leather.kind.code, set()))
        board.never(edges, wrong)
    _add_foil(board, told)
    if told.pattern.code == "longfold":
        _add_few(board, told)


def _add_foil(board: Board, told: Context) -> None:
    for zone in told.pattern.zones.values():
        part = f"part/{told.pattern.panels[zone.panel].part}"
        foil = board.where("monogram", lambda w, z=zone: w is not None and w.method == "foil" and w.zone is z)
        flesh = "flesh" if zone.on == "shown" else "grain"
        board.never(foil, board.where(part, lambda o, f=flesh: o.side == f or o.leather.kind.code in _ROUGH))


def _add_few(board: Board, told: Context) -> None:
    used = []
    for leather in told.catalog.leathers.values():
        by_part = [board.where(f"part/{part}", lambda o, own=leather: o.leather is own) for part in told.pattern.parts]
        if any(by_part):
            one = board.model.new_bool_var("")
            used.append((1, one))
            for lits in by_part:
                if lits:
                    board.model.add(sum(lits) <= one)
    board.at_most(used, _MOST_LEATHERS)
