"""Hardware and the load: grip, width, stock, metal on the skin, magnets, strength (HDW, LOD, STI-04, LAW-06)."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Any

from support.independent.board import Board
from support.independent.data import Context
from support.independent.law import has_row
from support.independent.parts import Option
from support.independent.seams import less, stack, stitches

from catalog.model import Fixing, Hardware

_NO_GRIP = ("ring", "watch_buckle")
_FAR = 10**9


def required_n(told: Context) -> Fraction:
    """Return the load that a bearing pattern must stand, N; above the base weight it grows with the dog."""
    load = told.pattern.load
    required = Fraction(load.required_break_n or 0)
    if load.scales_with_dog and told.dog_kg is not None:
        required *= max(Fraction(1), told.dog_kg / Fraction(told.threshold("dog_kg_base")))
    return required


def hardware_options(told: Context, fixing: Fixing) -> list[Hardware | None]:
    """Return what a place takes whatever the leather is; None, nothing, where it is not required."""
    found: list[Hardware | None] = [] if fixing.required else [None]
    return found + [hardware for hardware in told.catalog.hardware.values() if _suits(told, fixing, hardware)]


def _suits(told: Context, fixing: Fixing, hardware: Hardware) -> bool:
    if hardware.type not in fixing.types:  # CAT-05
        return False
    if hardware.stock < told.quantity:  # HDW-03
        return False
    if told.pattern.skin_contact and not hardware.nickel_report:  # HDW-04
        return False
    if told.child and hardware.magnetic:  # HDW-05
        return False
    if told.child and hardware.size_um <= told.threshold("small_part_mm") and has_row(told, "LAW-06"):
        return False
    if told.bearing:  # LOD-02
        return hardware.break_n is not None and hardware.break_n >= required_n(told)
    return True


def add_hardware(board: Board, told: Context) -> None:
    """HDW-01, HDW-02, and HDW-03 where one code stands in several places."""
    for code, fixing in told.pattern.fixings.items():
        _add_grip(board, told, f"hardware/{code}", fixing)
        _add_width(board, told, f"hardware/{code}")
    slots = [f"hardware/{code}" for code in told.pattern.fixings]
    for hardware in told.catalog.hardware.values():
        used = [var for slot in slots for var in board.where(slot, lambda h, own=hardware: h is own)]
        board.at_most([(told.quantity, var) for var in used], hardware.stock)


def _add_grip(board: Board, told: Context, slot: str, fixing: Fixing) -> None:
    height = stack(board, told.pattern, fixing.layers)
    least, most = [], []
    for hardware, var in board.slots[slot].items():
        if isinstance(hardware, Hardware) and hardware.type not in _NO_GRIP:
            pared = fixing.skived_to_um
            if pared is not None and pared < hardware.grip.min_um:
                board.bar([var])
                continue
            least.append((hardware.grip.min_um, var))
            most.append((hardware.grip.max_um if pared is None or pared > hardware.grip.max_um else _FAR, var))
        else:
            most.append((_FAR, var))
    board.at_most([*height, *less(most)], 0)
    board.at_most([*least, *less(height)], 0)


def _add_width(board: Board, told: Context, slot: str) -> None:
    """HDW-02: buckles and hooks are exactly as wide as the strap, a watch buckle as its lug less the taper."""
    for hardware, var in board.slots[slot].items():
        if not isinstance(hardware, Hardware):
            continue
        if hardware.type == "watch_buckle" and {"size/lug_mm", "size/taper_mm"} <= set(board.slots):
            for lug, lug_var in board.slots["size/lug_mm"].items():
                wrong = board.where("size/taper_mm", lambda taper, end=lug - hardware.size_um: taper != end)
                board.never([var], [lug_var], wrong)
        if hardware.type in ("belt_buckle", "trigger_hook"):
            board.never([var], board.where("size/width_mm", lambda width, own=hardware: width != own.size_um))


def add_load(board: Board, told: Context) -> None:
    """LOD-01 and STI-04: strap and end seam stand the load."""
    pattern, load = told.pattern, told.pattern.load
    if not told.bearing or load.end_seam is None:
        return
    required = required_n(told)
    seam = pattern.seams[load.end_seam]
    per_break = stitches(pattern, seam) * 2 * Fraction(told.threshold("stitch_loop_factor"))
    board.bar(board.where("thread", lambda t: per_break * Fraction(t.break_n) < required))
    strap = pattern.panels[seam.layers[0].panel]
    options = board.slots[f"part/{strap.part}"]
    for width, var in _widths(board, strap.width_um):
        weak = [own for option, own in options.items() if _breaks_at(told, option, width) < required]
        board.never(weak, *([] if var is None else [[var]]))


def _widths(board: Board, own_um: int) -> Iterable[tuple[int, Any]]:
    """Return the widths that a strap may have, each with its variable; None where there is no choice."""
    for size in ("size/lug_mm", "size/width_mm"):
        if size in board.slots:
            return [(int(width), var) for width, var in board.slots[size].items()]
    return [(own_um, None)]


def _breaks_at(told: Context, option: Any, width_um: int) -> Fraction:
    """Return tensile strength x width x thinnest spot x end factor x grade factor, N."""
    assert isinstance(option, Option)
    strength = Fraction(option.leather.kind.tensile_n_per_mm2) * Fraction(width_um * option.lower_um, 10**6)
    strength *= told.pattern.load.end_factor or 1
    return strength if option.all_a else strength * Fraction(told.threshold("grade_factor"))
