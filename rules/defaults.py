"""Fill the gaps of a spec from the pattern's own defaults.

Purpose, the dog's weight, a measured length and a foil are never filled in: only the customer
knows them.
"""

from __future__ import annotations

from dataclasses import replace

from rules.choices import NEVER_FILLED
from rules.piece import Indexes
from rules.spec import PartChoice, Spec


def fill_gaps(spec: Spec, indexes: Indexes) -> tuple[Spec, tuple[str, ...]]:
    """Return the spec with its gaps filled, and JSON Pointers of what was filled, in order."""
    pattern = indexes.patterns.find(spec.pattern)
    if pattern is None:
        return spec, ()
    filled: list[str] = []
    parts = dict(spec.parts)
    for part, leather in pattern.default_parts.items():
        asked = parts.get(part)
        if asked is None or asked.leather is None:
            parts[part] = PartChoice(leather, None if asked is None else asked.side)
            filled.append(f"/parts/{part}")
    thread, edge = spec.thread, spec.edge
    if thread is None and pattern.default_thread is not None:
        thread = pattern.default_thread
        filled.append("/thread")
    if edge is None and pattern.default_edge is not None:
        edge = pattern.default_edge
        filled.append("/edge")
    hardware = dict(spec.hardware)
    for slot, code in pattern.default_hardware.items():
        if slot not in hardware and pattern.fixings[slot].required:
            hardware[slot] = code
            filled.append(f"/hardware/{slot}")
    sizes = dict(spec.sizes_um)
    for code, size in pattern.sizes.items():
        if code not in sizes and size.default_um is not None and code not in NEVER_FILLED:
            sizes[code] = size.default_um
            filled.append(f"/sizes/{code}")
    return replace(spec, parts=parts, thread=thread, edge=edge, hardware=hardware, sizes_um=sizes), tuple(filled)
