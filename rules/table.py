"""A table of specs of one pattern, column by column: for each slot its different values, and each row's.

What many rows have in common is then worked out once (:mod:`rules.columns`).
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from catalog.model import Pattern
from rules.piece import Indexes
from rules.spec import PartChoice, Spec

Codes = NDArray[np.intp]


#: What stands for a note in a row: rules read whether there is one, not what it says.
NOTED: Final = "noted"


def part_slot(part: str) -> str:
    """Return the name of a part's column."""
    return f"part:{part}"


def _foreign(spec: Spec, pattern: Pattern) -> Hashable:
    return tuple((part, asked) for part, asked in spec.parts.items() if part not in pattern.parts)


#: The columns of a table beside those of its parts. What no rule reads is left out.
COLUMNS: Final[Mapping[str, Callable[[Spec, Pattern], Any]]] = MappingProxyType(
    {
        "thread": lambda spec, _: spec.thread,
        "stitch": lambda spec, _: spec.stitch,
        "edge": lambda spec, _: spec.edge,
        "hardware": lambda spec, _: tuple(spec.hardware.items()),
        "sizes": lambda spec, _: tuple(spec.sizes_um.items()),
        "monogram": lambda spec, _: spec.monogram,
        "modifications": lambda spec, _: spec.modifications,
        "carry": lambda spec, _: spec.carry,
        "purpose": lambda spec, _: spec.purpose,
        "quantity": lambda spec, _: spec.quantity,
        "ship_to": lambda spec, _: spec.ship_to,
        "rush": lambda spec, _: spec.rush,
        "ready_by": lambda spec, _: spec.ready_by,
        "named": lambda spec, _: tuple((part, tuple(codes)) for part, codes in spec.lots.items()),
        "repeat": lambda spec, _: spec.repeats,
        "revision": lambda spec, _: spec.catalog_revision,
        "marks_ok": lambda spec, _: spec.marks_ok,
        "mixed_metals_ok": lambda spec, _: spec.mixed_metals_ok,
        "foreign": _foreign,
        "note": lambda spec, _: spec.noted,
    }
)


@dataclass(frozen=True, slots=True)
class Column:
    """The different values of a slot, and for each row the place of its value among them."""

    values: Sequence[Any]
    codes: Codes


@dataclass(frozen=True)
class Table:
    """Specs of one pattern. ``columns``: one for each of :data:`COLUMNS` and each part of the pattern."""

    pattern: Pattern
    columns: Mapping[str, Column]
    rows: int

    def value(self, slot: str, row: int) -> Any:
        """Return a row's value of a slot."""
        column = self.columns[slot]
        return column.values[column.codes[row]]

    def spec(self, row: int) -> Spec:
        """Return a row as a spec."""
        own = ((part, self.value(part_slot(part), row)) for part in self.pattern.parts)
        parts: dict[str, PartChoice] = {part: asked for part, asked in own if asked is not None}
        return Spec(
            pattern=self.pattern.code,
            parts=parts | dict(self.value("foreign", row)),
            thread=self.value("thread", row),
            stitch=self.value("stitch", row),
            edge=self.value("edge", row),
            hardware=dict(self.value("hardware", row)),
            sizes_um=dict(self.value("sizes", row)),
            monogram=self.value("monogram", row),
            modifications=self.value("modifications", row),
            carry=self.value("carry", row),
            purpose=self.value("purpose", row),
            quantity=self.value("quantity", row),
            ship_to=self.value("ship_to", row),
            rush=self.value("rush", row),
            ready_by=self.value("ready_by", row),
            lots=dict(self.value("named", row)),
            repeats=self.value("repeat", row),
            catalog_revision=self.value("revision", row),
            marks_ok=self.value("marks_ok", row),
            mixed_metals_ok=self.value("mixed_metals_ok", row),
            note=NOTED if self.value("note", row) else None,
        )


def tables_of(specs: Sequence[Spec], indexes: Indexes) -> tuple[list[tuple[Table, Codes]], list[int]]:
    """Return specs as one table a pattern, with the places of its rows; and the places without a known pattern."""
    places: dict[str, list[int]] = {}
    loose: list[int] = []
    for place, spec in enumerate(specs):
        pattern = indexes.patterns.find(spec.pattern)
        if pattern is None:
            loose.append(place)
        else:
            places.setdefault(pattern.code, []).append(place)
    found = []
    for code, own in places.items():
        pattern = indexes.catalog.patterns[code]
        found.append((_table(pattern, [specs[place] for place in own]), np.array(own, dtype=np.intp)))
    return found, loose


def _table(pattern: Pattern, specs: Sequence[Spec]) -> Table:
    columns = {slot: _column([value_of(spec, pattern) for spec in specs]) for slot, value_of in COLUMNS.items()}
    for part in pattern.parts:
        columns[part_slot(part)] = _column([spec.parts.get(part) for spec in specs])
    return Table(pattern, columns, len(specs))


def _column(values: Sequence[Any]) -> Column:
    places: dict[Any, int] = {}
    codes = np.fromiter((places.setdefault(value, len(places)) for value in values), np.intp, len(values))
    return Column(tuple(places), codes)
