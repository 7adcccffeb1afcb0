"""Wish lists to measure with: CSV files of rows, no two of which ask the same; the same at each run."""

from __future__ import annotations

import csv
import random
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import Any, Final

from api.lists.columns import COLUMNS
from catalog.model import Number, Pattern
from measure.workshop import TODAY, demo, drawn
from rules.check import judge
from rules.echo import spec_hash, understood
from rules.shop import Shop
from rules.spec import Carry, Monogram, PartChoice, Purpose, Spec
from rules.themes import known_good

Cells = dict[str, str]
#: One in so many rows has letters, one in so many a reference of its own.
_LETTERED: Final = 8
_REFERRED: Final = 4
_LETTERS: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_QUANTITIES: Final = (1, 1, 1, 2, 3)


def write_list(kind: str, rows: int, path: Path) -> None:
    """Write a list as CSV with every column of the template.

    Args:
        kind: ``range``: what a shop offers, of each pattern the values of each slot that alone do not get its usual
            spec refused, in any combination. ``spread``: random specs, on every theme.
        rows: How many rows.
        path: Where to.
    """
    given = _range(demo()) if kind == "range" else _spread()
    with path.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file)
        out.writerow(COLUMNS)
        for cells in islice(given, rows):
            out.writerow([cells.get(name, "") for name in COLUMNS])


def _spread() -> Iterator[Cells]:
    seen: set[str] = set()
    for spec in drawn("spread"):
        cells = cells_of(spec)
        if cells is not None and (key := spec_hash(understood(demo().piece(spec)))) not in seen:
            seen.add(key)
            yield cells


def _range(shop: Shop) -> Iterator[Cells]:
    """Give rows without end: a pattern, a value for each slot, and letters and references now and then."""
    draw = random.Random("range")
    ranges = [found for pattern in shop.catalog.patterns.values() if (found := _range_of(shop, pattern)) is not None]
    seen: set[tuple[str, ...]] = set()
    number = 0
    while True:
        own = draw.choice(ranges)
        cells = own.drawn(draw)
        key = tuple(cells.values())
        if key in seen:
            continue
        seen.add(key)
        number += 1
        if draw.randrange(_REFERRED) == 0:
            cells["reference"] = f"web-{number:07}"
        yield cells


@dataclass(frozen=True)
class _Range:
    """A pattern's usual spec, and for each slot the cells of its values."""

    usual: Cells
    ways: list[list[Cells]]
    lettered: list[Cells]

    def drawn(self, draw: random.Random) -> Cells:
        cells = dict(self.usual)
        for way in self.ways:
            cells |= draw.choice(way)
        if self.lettered and draw.randrange(_LETTERED) == 0:
            initials = "".join(draw.sample(_LETTERS, draw.choice((2, 3, 3))))
            cells |= {**draw.choice(self.lettered), "mono_text": initials}
        return cells


def _range_of(shop: Shop, pattern: Pattern) -> _Range | None:
    catalog, usual = shop.catalog, replace(known_good(pattern), quantity=1)

    def offered(specs: Iterator[Spec]) -> list[Spec]:
        return [spec for spec in specs if judge(shop, spec, TODAY).outcome != "refused"]

    if not offered(iter([usual])):
        return None
    sides = ("grain", "flesh")
    ways = [
        offered(
            replace(usual, parts={**usual.parts, part: PartChoice(code, side)})
            for code in catalog.leathers
            for side in sides
        )
        for part in pattern.parts
    ]
    ways += [
        offered(replace(usual, thread=code) for code in catalog.threads),
        offered(replace(usual, edge=code) for code in catalog.edges),
        offered(replace(usual, modifications=codes) for codes in [(), *((code,) for code in pattern.modifications)]),
        [replace(usual, quantity=quantity) for quantity in _QUANTITIES],
    ]
    lettered = offered(
        replace(usual, monogram=Monogram("AB", method, face, zone))
        for method in ("blind", "ink", "laser")
        for face in catalog.typefaces
        for zone in pattern.zones
    )
    base = _said(usual)
    changed = [[_changes(base, _said(spec)) for spec in way] for way in ways]
    return _Range(base, changed, [_changes(base, _said(spec)) for spec in lettered])


def _changes(base: Cells, cells: Cells) -> Cells:
    return {name: text for name, text in cells.items() if base.get(name) != text} | {
        name: "" for name in base if name not in cells
    }


def _said(spec: Spec) -> Cells:
    cells = cells_of(spec)
    if cells is None:
        raise ValueError(f"no columns say all of the usual {spec.pattern}")
    return cells


def cells_of(spec: Spec) -> Cells | None:
    """Return a spec as cells by column; None where no column says some of it."""
    found: dict[str, Any] = {"pattern": spec.pattern}
    for part, asked in spec.parts.items():
        found |= {part: asked.leather, f"{part}_side": asked.side}
    for name in (
        "thread",
        "stitch",
        "edge",
        "quantity",
        "ship_to",
        "ready_by",
        "catalog_revision",
        "reference",
        "note",
    ):
        found[name] = getattr(spec, name)
    found |= {**spec.hardware, "modifications": " ".join(spec.modifications), "rush": spec.rush or None}
    found |= {size: _mm(um) for size, um in spec.sizes_um.items()}
    found |= {f"{part}_lots": " ".join(codes) for part, codes in spec.lots.items()}
    if spec.monogram is not None:
        found |= {f"mono_{name}": getattr(spec.monogram, name) or None for name in Monogram.__slots__}
    carry, purpose = _carried(spec.carry), _purpose(spec.purpose)
    if carry is None or not (found | carry).keys() <= COLUMNS.keys():
        return None
    return {name: _text(value) for name, value in (found | carry | purpose).items() if value not in (None, "")}


def _carried(carry: Carry) -> dict[str, Any] | None:
    if carry.passport and carry.passport_um is None:
        return None  # there is no column for a passport of unknown thickness
    cards, blade = carry.business_cards, carry.blade
    return {
        "cards": carry.cards,
        "notes": " ".join(f"{note.item}:{note.count}" for note in carry.notes),
        "passport_thickness_mm": _mm(carry.passport_um),
        **({} if cards is None else {"business_card": cards.item, "business_cards": cards.count}),
        **({} if blade is None else {f"blade_{each}_mm": _mm(getattr(blade, f"{each}_um")) for each in _BLADE}),
    }


_BLADE: Final = ("width", "thickness", "length")


def _purpose(purpose: Purpose) -> dict[str, Any]:
    return {
        "use": purpose.use,
        "claims": " ".join(purpose.claims),
        "dog_kg": purpose.dog_kg,
        "child_under_3": purpose.child_under_3 or None,
    }


def _mm(um: Number | None) -> str | None:
    return None if um is None else f"{um // 1000}.{um % 1000:03}".rstrip("0").rstrip(".")


_TEXTS: Final[Mapping[type, Callable[[Any], str]]] = {bool: lambda value: "yes" if value else "no"}


def _text(value: Any) -> str:
    return _TEXTS.get(type(value), str)(value)
