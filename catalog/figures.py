"""Every figure of a catalog by its path, as the files write it: read, and changed where all else stays the same.

A path is a file's name without its ending, then the keys down to the figure, with dots between:
``lots.L124.thickness_mm.max``, ``patterns.twofold.seams.side.limit_mm``, ``thresholds.nest_gap_mm``.
What is changed is given as a file would write it, in the unit of its name.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Any, Final

from catalog.color import swatch
from catalog.faults import did_you_mean
from catalog.fields import LARGEST
from catalog.goods import Swatch
from catalog.model import (
    Catalog,
    Edge,
    FreeRectangle,
    Hardware,
    Kind,
    Leather,
    Lot,
    Number,
    Panel,
    Pattern,
    Span,
    Thread,
    Threshold,
)  # fmt: skip
from catalog.units import UNITS
from catalog.vocabulary import CARRY_GROUPS, GRADES, MORE_CARRY_GROUPS

#: The files whose figures have a path, and the field of the catalog that holds them.
FILES: Final = MappingProxyType(
    {
        "thresholds": "thresholds",
        "kinds": "kinds",
        "leathers": "leathers",
        "lots": "lots",
        "threads": "threads",
        "edges": "edges",
        "hardware": "hardware",
        "typefaces": "typefaces",
        "foils": "foils",
        "patterns": "patterns",
        "carry-items": "carry_items",
        "workshop": "workshop",
        "labor": "labor",
    }
)
# Where a field is not held under the name that the file gives it, beside the unit at its end.
_HELD_AS: Final[Mapping[type, Mapping[str, str]]] = {
    Kind: {"thickness_held_mm": "held", "lot_drift_de00": "lot_drift_milli", "yield": "yield_ratio"},
    Lot: {"thickness_mm": "thickness", "color_de00": "drift_milli", "free_rectangles_mm": "rectangles"},
    Panel: {"thickness_mm": "thickness"},
    Hardware: {"grip_mm": "grip"},
    Pattern: {"hardware": "fixings"},
    Leather: {"srgb": "swatch"},
    Thread: {"srgb": "swatch"},
    Edge: {"srgb": "swatch"},
    Span: {"min": "min_um", "max": "max_um"},
}
# What the file groups under a name that is not held, and how it is held.
_HELD_WITHOUT: Final[Mapping[str, Mapping[str, str]]] = {
    "outline_mm": {"width": "width_mm", "height": "height_mm"},
    "carried": {each: each for each in ("cards", "notes", "business_cards", "passport_mm")},
}
_GROUPS: Final = (*CARRY_GROUPS, *MORE_CARRY_GROUPS)
_ENDINGS: Final = {"_mm": ("_um", "mm"), "_m": ("_um", "m"), "_dm2": ("_um2", "dm2"), "_ml": ("_ul", "ml")}
# Units of fields whose name does not end in one, or in another word for it.
_UNIT_OF: Final = {
    "min": "mm", "max": "mm", "color_de00": "de00", "lot_drift_de00": "de00", "strain_limit": "ratio", "yield": "ratio",
    "end_factor": "ratio", "edge_time_factor": "ratio", "stretch_percent": "percent", "rush_percent": "percent",
    "required_break_n": "N", "break_n": "N", "tensile_n_per_mm2": "N", "backlog_minutes": "min",
    "tex": "ratio", "per_piece": "min", "cut_panel": "min", "split_panel": "min", "skive_per_100_mm": "min",
    "glue_per_100_mm": "min", "prick_per_hole": "min", "hand_stitch": "min", "machine_stitch_per_100_mm": "min",
    "whip_stitch": "min", "edge_per_100_mm": "min", "monogram_setup": "min", "monogram_test_strike": "min",
    "monogram_letter": "min", "hardware_each": "min", "modification": "min",
    "bench_minutes_per_week": "min", "rush_minutes_per_week": "min", "rush_weeks": "weeks",
}  # fmt: skip


class FigureError(ValueError):
    """A path or a value that the catalog cannot have; ``str()`` says why."""


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure: its path, its unit (:data:`catalog.units.UNITS`; "" for a grade) and its value in base units."""

    path: str
    unit: str
    value: Number | str


def figure_at(catalog: Catalog, path: str) -> Figure:
    """Return the figure at a path. Raises FigureError where there is none."""
    file, steps = _split(path)
    noun, step = getattr(catalog, FILES[file]), ""
    for step in steps:
        noun = _inside(noun, step, path)
    if isinstance(noun, Threshold):
        return Figure(path, noun.unit, noun.value)
    if isinstance(noun, str) and noun in GRADES:
        return Figure(path, "", noun)
    if isinstance(noun, bool) or not isinstance(noun, int | Fraction):
        raise FigureError(f"{path} is no figure")
    return Figure(path, _unit(steps), noun)


def _inside(noun: Any, step: str, path: str) -> Any:
    if isinstance(noun, Threshold):
        raise FigureError(f"{path}: a threshold is one figure")
    if isinstance(noun, Mapping):
        return noun[_key(noun, step, path)]
    if isinstance(noun, tuple):
        return noun[_place(noun, step, path)]
    return getattr(noun, _attribute(noun, step, path))


def with_figures(catalog: Catalog, changes: Mapping[str, Any]) -> Catalog:
    """Return a catalog in which the figures at some paths are others.

    Args:
        catalog: it stays as it is.
        changes: values by path, as the file would write them: numbers in the unit of the name, a grade, a color,
            a range ``{min, max}``, a list of ``{along, across}`` for the free rectangles of a lot.

    Raises:
        FigureError: a path that the catalog lacks, or a value that cannot stand there.
    """
    for path, raw in changes.items():
        file, steps = _split(path)
        field = FILES[file]
        catalog = replace(catalog, **{field: _changed(getattr(catalog, field), steps, raw, path)})
        if file == "kinds":
            kinds = catalog.kinds
            leathers = {code: replace(each, kind=kinds[each.kind.code]) for code, each in catalog.leathers.items()}
            catalog = replace(catalog, leathers=leathers)
    return catalog


def _split(path: str) -> tuple[str, list[str]]:
    file, *steps = path.split(".")
    if file not in FILES:
        raise FigureError(f"no figure begins with '{file}'{did_you_mean(file, FILES)}")
    if file == "carry-items" and steps:  # held by code alone, whatever the group
        group, *steps = steps
        if group not in _GROUPS:
            raise FigureError(f"{path}: no group is called '{group}'{did_you_mean(group, _GROUPS)}")
    for within, names in _HELD_WITHOUT.items():
        if len(steps) > 1 and steps[-2] == within and steps[-1] in names:
            steps[-2:] = [names[steps[-1]]]
    if not steps:
        raise FigureError(f"{path} holds many figures; say which")
    return file, steps


def _changed(noun: Any, steps: list[str], raw: Any, path: str) -> Any:
    """Return a noun with the figure some steps down from it changed."""
    if not steps:
        return _put(noun, raw, path)
    step, *rest = steps
    changed = _changed(_inside(noun, step, path), rest, raw, path)
    if isinstance(noun, Mapping):
        return MappingProxyType({**noun, step: changed})
    if isinstance(noun, tuple):
        at = int(step)
        return (*noun[:at], changed, *noun[at + 1 :])
    return replace(noun, **{_attribute(noun, step, path): changed})


def _put(held: Any, raw: Any, path: str) -> Any:
    """Return what is to stand in the place of a figure, a grade, a range or a list."""
    if isinstance(held, Threshold):
        return replace(held, value=_number(held.value, raw, held.unit, path))
    if isinstance(held, Span):
        return _span(raw, path)
    if isinstance(held, Swatch):
        return _color(raw, path)
    if isinstance(held, tuple) and path.endswith("free_rectangles_mm"):
        return _rectangles(raw, path)
    if isinstance(held, str) and held in GRADES:
        if raw not in GRADES:
            raise FigureError(f"{path}: expected one of {', '.join(GRADES)}")
        return raw
    if isinstance(held, bool) or not isinstance(held, int | Fraction):
        raise FigureError(f"{path} is no figure")
    return _number(held, raw, _unit(path.split(".")[1:]), path)


def _color(raw: Any, path: str) -> Swatch:
    try:
        return swatch(str(raw))
    except ValueError as bad:
        raise FigureError(f"{path}: {bad}") from None


def _span(raw: Any, path: str) -> Span:
    if not isinstance(raw, Mapping) or set(raw) != {"min", "max"}:
        raise FigureError(f"{path}: expected {{min: ..., max: ...}}")
    low, high = (int(_number(0, raw[end], "mm", path)) for end in ("min", "max"))
    if low > high:
        raise FigureError(f"{path}: min is more than max")
    return Span(low, high)


def _rectangles(raw: Any, path: str) -> tuple[FreeRectangle, ...]:
    if not isinstance(raw, list) or not all(
        isinstance(each, Mapping) and set(each) == {"along", "across"} for each in raw
    ):
        raise FigureError(f"{path}: expected a list of {{along: ..., across: ...}}")
    sides = [(_number(0, each["along"], "mm", path), _number(0, each["across"], "mm", path)) for each in raw]
    return tuple(FreeRectangle(int(along), int(across)) for along, across in sides)


def _number(held: Any, raw: Any, unit: str, path: str) -> Number:
    """Return a number in base units, of the type of what it takes the place of."""
    if isinstance(raw, bool) or not isinstance(raw, int | Decimal | Fraction) or raw < 0:
        raise FigureError(f"{path}: expected a number, 0 or more")
    if raw > LARGEST:
        raise FigureError(f"{path}: {raw} is more than any workshop has; check the unit")
    exact = Fraction(raw) * UNITS[unit].per
    if isinstance(held, Fraction):
        return exact
    if exact.denominator != 1 and unit == "count":
        raise FigureError(f"{path}: expected a whole number")
    if exact.denominator != 1 and UNITS[unit].per > 1:
        raise FigureError(f"{path}: {raw} is finer than what is held here")
    return exact.numerator if exact.denominator == 1 else exact


def _key(noun: Mapping[str, Any], step: str, path: str) -> str:
    if step not in noun:
        raise FigureError(f"{path}: nothing is called '{step}' here{did_you_mean(step, noun)}")
    return step


def _place(noun: tuple[Any, ...], step: str, path: str) -> int:
    if not (step.isascii() and step.isdigit() and len(step) < 4 and int(step) < len(noun)):
        raise FigureError(f"{path}: '{step}' is no place in a list of {len(noun)}, counted from 0")
    return int(step)


def _attribute(noun: Any, step: str, path: str) -> str:
    """Return the attribute that holds what a file calls ``step``."""
    if not is_dataclass(noun):
        raise FigureError(f"{path}: nothing is called '{step}' here")
    held = {each.name for each in fields(noun)}
    known = _HELD_AS.get(type(noun), {})
    if step in known:
        return known[step]
    for ending, (inside, _) in _ENDINGS.items():
        if step.endswith(ending) and step.removesuffix(ending) + inside in held:
            return step.removesuffix(ending) + inside
    if step in held:
        return step
    raise FigureError(f"{path}: nothing is called '{step}' here{did_you_mean(step, [*_as_written(held), *known])}")


def _as_written(held: set[str]) -> list[str]:
    """Return the names of fields as the files write them."""
    found = []
    for name in sorted(held):
        endings = [
            (name.removesuffix(inside) + ending) for ending, (inside, _) in _ENDINGS.items() if name.endswith(inside)
        ]
        found += endings or [name]
    return found


def _unit(steps: list[str]) -> str:
    """Return the unit of the figure at the end of some steps; a plain count where no step names one."""
    for step in reversed(steps):
        if step in _UNIT_OF:
            return _UNIT_OF[step]
        for ending, (_, unit) in _ENDINGS.items():
            if step.endswith(ending):
                return unit
    return "count"
