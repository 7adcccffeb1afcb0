"""A spec as understood: JSON with codes as the catalog writes them, and its hash.

``match`` is kept. Nothing absent is written. The hash is SHA-256 over the canonical JSON of
RFC 8785, without ``reference`` and ``note``.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

from rules.piece import MATCH, Piece
from rules.spec import NO_CARRY, NO_PURPOSE, Blade, Carry, Monogram, Notebook, Purpose

_CANONICAL = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def mm(um: int) -> int | float:
    """Return micrometers as a JSON number of millimeters."""
    whole, rest = divmod(um, 1000)
    return um / 1000 if rest else whole


def plain_number(value: Any) -> int | float:
    """Return an exact number as a JSON number."""
    return int(value) if value == int(value) else float(value)


def understood(piece: Piece) -> dict[str, Any]:
    """Return the spec as understood, as a JSON object without absent fields."""
    spec, indexes = piece.spec, piece.indexes
    found: dict[str, Any] = {
        "reference": spec.reference,
        "note": spec.note,
        "pattern": indexes.patterns.code(spec.pattern),
        "parts": {
            part: _part(asked.side, None if asked.leather is None else indexes.leathers.code(asked.leather))
            for part, asked in spec.parts.items()
            if asked.leather is not None or asked.side is not None
        },
        "thread": _code_or_match(indexes.threads, spec.thread),
        "stitch": piece.stitch,
        "edge": _code_or_match(indexes.edges, spec.edge),
        "hardware": {slot: indexes.hardware.code(code) for slot, code in spec.hardware.items()},
        "sizes": {size: mm(um) for size, um in spec.sizes_um.items()},
        "monogram": None if spec.monogram is None else _monogram(piece, spec.monogram),
        "modifications": list(piece.modifications),
        "carry": None if spec.carry is NO_CARRY else _carry(piece, spec.carry),
        "purpose": None if spec.purpose is NO_PURPOSE else _purpose(piece, spec.purpose),
        "quantity": spec.quantity,
        "ship_to": None if spec.ship_to is None else piece.ship_to,
        "rush": spec.rush,
        "ready_by": None if spec.ready_by is None else spec.ready_by.isoformat(),
        "lots": {part: [indexes.lots.code(code) for code in codes] for part, codes in spec.lots.items()},
        "repeat_of": spec.repeat_of,
        "catalog_revision": spec.catalog_revision,
        "marks_ok": spec.marks_ok,
        "mixed_metals_ok": spec.mixed_metals_ok,
    }
    return _present(found)


def _part(side: str | None, leather: str | None) -> dict[str, str]:
    found = {"side": side or "grain"}
    return found if leather is None else {"leather": leather, **found}


def _present(found: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in found.items() if value is not None and value not in ({}, [])}


def _code_or_match(index: Any, given: str | None) -> str | None:
    if given is None:
        return None
    return MATCH if given.casefold() == MATCH else str(index.code(given))


def _monogram(piece: Piece, asked: Monogram) -> dict[str, Any]:
    return _present(
        {
            "text": asked.text,
            "method": asked.method,
            "typeface": None if asked.typeface is None else piece.indexes.typefaces.code(asked.typeface),
            "zone": asked.zone if piece.zone is None else piece.zone.code,
            "foil": None if asked.foil is None else piece.indexes.foils.code(asked.foil),
            "artwork": asked.artwork,
        }
    )


def _carry(piece: Piece, carry: Carry) -> dict[str, Any]:
    items, blade, cards = piece.indexes.carry_items, carry.blade, carry.business_cards
    passport = None
    if carry.passport:
        passport = {} if carry.passport_um is None else {"thickness_mm": mm(carry.passport_um)}
    found = _present(
        {
            "cards": carry.cards,
            "notes": [{"item": items.code(note.item), "count": note.count} for note in carry.notes],
            "business_cards": None if cards is None else {"item": items.code(cards.item), "count": cards.count},
            "blade": None if blade is None else _blade(blade),
            "tools": [{"item": items.code(tool)} for tool in carry.tools],
            "worn_in": carry.worn_in,
        }
    )
    # A booklet or a notebook of which nothing is known is asked for all the same.
    known = {"passport": passport, "notebook": None if carry.notebook is None else _notebook(piece, carry.notebook)}
    return found | {name: value for name, value in known.items() if value is not None}


def _notebook(piece: Piece, notebook: Notebook) -> dict[str, Any]:
    sizes = {"width_mm": notebook.width_um, "height_mm": notebook.height_um, "block_mm": notebook.block_um}
    found: dict[str, Any] = {name: mm(um) for name, um in sizes.items() if um is not None}
    return found if notebook.item is None else {"item": piece.indexes.carry_items.code(notebook.item), **found}


def _blade(blade: Blade) -> dict[str, Any]:
    width, thickness, length = mm(blade.width_um), mm(blade.thickness_um), mm(blade.length_um)
    return {"width_mm": width, "thickness_mm": thickness, "length_mm": length}


def _purpose(piece: Piece, purpose: Purpose) -> dict[str, Any]:
    return _present(
        {
            "use": piece.use,
            "claims": [piece.indexes.claims.code(claim) for claim in purpose.claims],
            "dog_kg": None if purpose.dog_kg is None else plain_number(purpose.dog_kg),
            "child_under_3": purpose.child_under_3 or None,
        }
    )


def spec_hash(spec: dict[str, Any]) -> str:
    """Return ``sha256:`` and the hash of a spec as understood."""
    kept = {name: value for name, value in spec.items() if name not in ("reference", "note")}
    return f"sha256:{hashlib.sha256(canonical(kept)).hexdigest()}"


def canonical(spec: dict[str, Any]) -> bytes:
    """Return canonical JSON (RFC 8785) of a spec as understood.

    Its names are ASCII, its whole numbers are ints and its others lie between 0.001 and
    10,000 with three decimals: there the standard library writes what RFC 8785 asks for. A test
    compares it with a reference implementation.
    """
    return _CANONICAL.encode(spec).encode()
