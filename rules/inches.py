"""Lengths that a spec states, and what they come to where they were written in inches."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any, Final

from catalog.model import Number
from rules.piece import Piece
from rules.spec import Notebook, Spec

#: An inch is 25.4 mm, exactly.
_UM_PER_INCH: Final = 25_400
_LONG: Final = {"waist_to_hole_mm": "length from buckle fold to middle hole", "length_mm": "length"}


@dataclass(frozen=True, slots=True)
class Length:
    """A length that a spec states, um.

    ``at`` is its JSON Pointer, ``slot`` what it belongs to, ``words`` what to call it. ``long``: a strap's, of which
    a figure in inches has two digits. Widths of straps, lugs and blades, and thicknesses, are none: a few mm may be
    meant there.
    """

    at: str
    slot: str
    words: str
    um: int
    long: bool


def lengths_of(spec: Spec) -> Iterator[Length]:
    """Give the lengths of belts, leads, blades and notebooks that a spec states."""
    for size, um in spec.sizes_um.items():
        if size in _LONG:
            yield Length(f"/sizes/{size}", "sizes", _LONG[size], um, long=True)
    if (blade := spec.carry.blade) is not None:
        yield Length("/carry/blade/length_mm", "carry", "length of the blade", blade.length_um, long=False)
    if (notebook := spec.carry.notebook) is not None:
        for name, side in (("width", notebook.width_um), ("height", notebook.height_um)):
            if side is not None:
                yield Length(f"/carry/notebook/{name}_mm", "carry", f"{name} of the notebook", side, long=False)


def least_um(piece: Piece, length: Length) -> Number:
    """Return the least that can be meant in mm, um: straps are longer than what is carried, in inches too."""
    return piece.threshold("inch_long_below_mm" if length.long else "inch_below_mm")


def may_be_inches(piece: Piece, length: Length) -> bool:
    """Whether a length is too short to be meant in mm and long enough to be meant in inches."""
    return piece.threshold("inch_from_mm") <= length.um < least_um(piece, length)


def mm_of_inches(um: int) -> int:
    """Return micrometers where a figure of mm was written in inches: half even to a whole one."""
    return round(Fraction(um * _UM_PER_INCH, 1000))


def in_inches(spec: Spec, length: Length) -> tuple[dict[str, Any], Spec]:
    """Return the spec with a length of its own taken for inches, and the merge patch that makes it so."""
    um = mm_of_inches(length.um)
    field, carry = length.at.rsplit("/", 1)[1], spec.carry
    figure = um / 1000 if um % 1000 else um // 1000
    if length.slot == "sizes":
        return {"sizes": {field: figure}}, replace(spec, sizes_um={**spec.sizes_um, field: um})
    noun = length.at.split("/")[2]
    change: dict[str, Any] = {"carry": {noun: {field: figure}}}
    if noun == "blade" and carry.blade is not None:
        return change, replace(spec, carry=replace(carry, blade=replace(carry.blade, length_um=um)))
    notebook = carry.notebook or Notebook()
    notebook = replace(notebook, width_um=um) if field == "width_mm" else replace(notebook, height_um=um)
    return change, replace(spec, carry=replace(carry, notebook=notebook))
