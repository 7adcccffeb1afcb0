"""Lots and supplies: what came in, what is there, what went; each an entry that is never changed."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any, Final

from pydantic_core import from_json
from sqlalchemy import Connection, Row, func, insert, select, update

from api.desk.history import add_entry, entries_of
from api.desk.rows import lot_row, supply_row
from api.errors import ProblemError, contradiction
from api.figures import um2
from api.store.engine import Write
from api.store.stock import dumped
from api.store.tables import ENTRIES, LOTS, SUPPLIES
from catalog.model import Catalog, Lot
from catalog.stamps import stamp_um2
from catalog.units import DM2_UM2, number_in
from rules.ledger import LotBalance, SupplyBalance
from rules.needs import LAST_LOT

#: A mill's figure and a measured one may differ by this much before there is something to claim: half a quarter
#: foot, or 3 %. Common practice, no source.
CLAIM_UM2: Final = 12 * DM2_UM2 // 10
CLAIM_SHARE: Final = Fraction(3, 100)
#: Base units in one of what people count a supply in, and its name.
UNITS: Final[Mapping[str, tuple[int, str | None]]] = {
    "thread": (1_000_000, "m"),
    "foil": (1_000_000, "m"),
    "edge": (1_000, "ml"),
    "hardware": (1, "pieces"),
    "sorts": (1, None),
}
#: Lots that are numbered on; a name of more digits is a name and counts for nothing.
_NUMBERED: Final = re.compile(r"L([0-9]{1,9})", re.ASCII | re.IGNORECASE)
#: How quotes, orders and sign-offs are called: a letter and the number of the record.
_OF_RECORDS: Final = re.compile(r"[A-KM-Z][0-9]+", re.ASCII | re.IGNORECASE)


def left_of_supply(connection: Connection, code: str) -> int | None:
    """Return what is left of a supply in base units; None where nothing is used up."""
    left: int | None = connection.execute(select(SUPPLIES.c.left_base).where(SUPPLIES.c.code == code)).scalar()
    return left


def lot_balance(row: Row[Any]) -> LotBalance:
    """Return a lot's row as a balance."""
    rectangles = tuple((along, across) for along, across in from_json(row.rectangles))
    return LotBalance(row.left_um2, row.reserved_um2, row.thickness_min_um, row.thickness_max_um, rectangles, row.state)


def supply_balance(row: Row[Any]) -> SupplyBalance:
    """Return a supply's row as a balance."""
    sorts = None if row.sorts is None else {sign: (n, worn) for sign, (n, worn) in from_json(row.sorts).items()}
    return SupplyBalance(row.left_base, sorts, row.state)


def enter(write: Write, noun: str, code: str, kind: str, body: Mapping[str, Any], *, at: str, by: str) -> None:
    """Add an entry to a lot or a supply, and give its row the balance that follows from it."""
    if noun == "lot":
        lot = lot_balance(lot_row(write.connection, code)).after(kind, body)
        values = {
            "left_um2": lot.left_um2,
            "reserved_um2": lot.reserved_um2,
            "thickness_min_um": lot.thickness_min_um,
            "thickness_max_um": lot.thickness_max_um,
            "rectangles": dumped(lot.rectangles),
            "state": lot.state,
        }
        if kind == "count":
            values["counted_on"] = at[:10]
        write.connection.execute(update(LOTS).where(LOTS.c.code == code).values(version=LOTS.c.version + 1, **values))
    else:
        supply = supply_balance(supply_row(write.connection, code)).after(kind, body)
        values = {
            "left_base": supply.left_base,
            "sorts": None if supply.sorts is None else dumped(supply.sorts),
            "state": supply.state,
        }
        own = SUPPLIES.c.code == code
        write.connection.execute(update(SUPPLIES).where(own).values(version=SUPPLIES.c.version + 1, **values))
    add_entry(write, noun, code, at=at, by=by, kind=kind, body=body)


def rectangles_um(rectangles: Sequence[Sequence[float]]) -> list[list[int]]:
    """Return rectangles in um."""
    return [[round(along * 1000), round(across * 1000)] for along, across in rectangles]


def fits(rectangles: Sequence[Sequence[int]], area_um2: int, pointer: str) -> None:
    """Raise where rectangles are more than the area that they lie in."""
    total = sum(along * across for along, across in rectangles)
    if total > area_um2:
        words = (
            f"the rectangles make {number_in(total, 'dm2')} dm2, more than the {number_in(area_um2, 'dm2')} dm2 there"
        )
        raise contradiction(pointer, "too_large", words)


def _span(body: Mapping[str, Any]) -> dict[str, int]:
    span = body["thickness_mm"]
    low, high = round(span["min"] * 1000), round(span["max"] * 1000)
    if low > high:
        raise contradiction("/thickness_mm", "wrong_order", "min is at most max")
    return {"thickness_min_um": low, "thickness_max_um": high}


def receive_lot(write: Write, catalog: Catalog, body: Mapping[str, Any], *, at: str, by: str) -> str:
    """Take a lot into stock; return its code. A stamp that differs from what was measured becomes a claim.

    Raises:
        ProblemError: a field cannot be so; nothing was written.
    """
    known = {code.casefold(): code for code in catalog.leathers}
    leather = known.get(body["leather"].casefold())
    if leather is None:
        raise contradiction("/leather", "not_offered", "no leather of the catalog has this code")
    area, rectangles = um2(body["area_dm2"]), rectangles_um(body["rectangles_mm"])
    if not area:
        raise contradiction("/area_dm2", "too_small", "more than 0")
    fits(rectangles, area, "/rectangles_mm")
    entry: dict[str, Any] = {"left_um2": area, "reserved_um2": 0, **_span(body), "rectangles": rectangles}
    entry |= _claim(body, area)
    code = _new_code(write.connection, body.get("code"))
    _insert(write, code, {**body, "leather": leather}, entry)
    add_entry(write, "lot", code, at=at, by=by, kind="receive", body=entry)
    write.stock += 1
    return code


def _claim(body: Mapping[str, Any], area: int) -> dict[str, Any]:
    stamp, unit = body.get("mill_stamp"), body.get("stamp_unit")
    if (stamp is None) != (unit is None):
        raise contradiction("/stamp_unit", "missing", "a stamp and how it counts belong together")
    if stamp is None or unit is None:
        return {}
    try:
        stamped = stamp_um2(stamp, unit)
    except ValueError as bad:
        raise contradiction("/mill_stamp", "wrong_text", str(bad)) from None
    missing = stamped - area
    if abs(missing) <= CLAIM_UM2 or abs(missing) <= CLAIM_SHARE * stamped:
        return {}
    return {"claim": {"stamped_um2": round(stamped), "measured_um2": area, "missing_um2": round(missing)}}


def _new_code(connection: Connection, wanted: str | None) -> str:
    """Return the code of a new lot: one that nothing has had, and that no quote or order will be given later.

    Histories of all records share one space of ids, so a lot of the name of another record would block it.
    """
    taken = {code.casefold() for code in connection.execute(select(ENTRIES.c.record).distinct()).scalars()}
    if wanted is not None:
        if wanted.casefold() in taken or _OF_RECORDS.fullmatch(wanted):
            raise contradiction(
                "/code", "not_offered", "something has this code already or may get it; codes are for ever"
            )
        return wanted
    numbered = (_NUMBERED.fullmatch(code) for code in connection.execute(select(LOTS.c.code)).scalars())
    number = 1 + max((int(found[1]) for found in numbered if found), default=100)
    while f"l{number}" in taken:
        number += 1
    return f"L{number}"


def _insert(
    write: Write, code: str, lot: Mapping[str, Any], entry: Mapping[str, Any], parent: str | None = None
) -> None:
    place = 1 + (write.connection.execute(select(func.max(LOTS.c.place))).scalar() or 0)
    write.connection.execute(
        insert(LOTS).values(
            code=code, place=place, leather=lot["leather"], form=lot["form"], mill_stamp=lot.get("mill_stamp"),
            stamp_unit=lot.get("stamp_unit"), left_um2=entry["left_um2"], reserved_um2=0,
            thickness_min_um=entry["thickness_min_um"], thickness_max_um=entry["thickness_max_um"],
            rectangles=dumped(entry["rectangles"]), drift_milli=round(lot.get("color_de00", 0) * 1000),
            stamp_legible=lot.get("stamp_legible", False), grade=lot.get("grade", "A"), parent=parent, state="open",
            counted_on=None, version=1,
        )
    )  # fmt: skip


def post_lot_entry(write: Write, row: Row[Any], body: Mapping[str, Any], *, at: str, by: str) -> None:
    """Add an entry to a lot. What is there is always accepted; what cannot be is a fault."""
    kind = body["kind"]
    if row.state == "scrap" and kind != "count":
        raise ProblemError("wrong-state", "this lot was thrown away; count it if it is there after all")
    entry: dict[str, Any] = {"reason": body["reason"]} if body.get("reason") else {}
    area = row.left_um2
    if kind == "remnant":
        _cut_remnant(write, row, body, at=at, by=by)
        return
    if kind in {"measure", "count"}:
        if body.get("area_dm2") is not None:
            area = entry["left_um2"] = um2(body["area_dm2"])
        if body.get("thickness_mm") is not None:
            entry |= _span(body)
        if body.get("rectangles_mm") is not None:
            entry["rectangles"] = rectangles_um(body["rectangles_mm"])
            fits(entry["rectangles"], area, "/rectangles_mm")
    elif kind in {"cut", "recut"}:
        left = um2(body["area_left_dm2"])
        # More than the book had is what is, as a count would say it.
        entry |= {
            "took_um2": max(0, row.left_um2 - left),
            "left_um2": left,
            "rectangles": rectangles_um(body["rectangles_left_mm"]),
        }
        fits(entry["rectangles"], left, "/rectangles_left_mm")
    enter(write, "lot", row.code, kind, entry, at=at, by=by)
    write.stock += 1


def _cut_remnant(write: Write, row: Row[Any], body: Mapping[str, Any], *, at: str, by: str) -> None:
    area = um2(body["area_dm2"])
    if not 0 < area <= row.left_um2:
        raise contradiction(
            "/area_dm2", "too_large", f"more than 0, at most {number_in(row.left_um2, 'dm2')}, what is there"
        )
    own, left = rectangles_um(body["rectangles_mm"]), rectangles_um(body["rectangles_left_mm"])
    fits(own, area, "/rectangles_mm")
    fits(left, row.left_um2 - area, "/rectangles_left_mm")
    whole = {"thickness_min_um": row.thickness_min_um, "thickness_max_um": row.thickness_max_um}
    span = whole if body.get("thickness_mm") is None else _span(body)
    code = _new_code(write.connection, body.get("code"))
    entry = {"left_um2": area, "reserved_um2": 0, **span, "rectangles": own, "from": row.code}
    lot = {
        "leather": row.leather, "form": "remnant", "color_de00": row.drift_milli / 1000, "grade": row.grade,
        "stamp_legible": False,
    }  # fmt: skip
    _insert(write, code, lot, entry, row.code)
    add_entry(write, "lot", code, at=at, by=by, kind="receive", body=entry)
    taken = {"took_um2": area, "rectangles": left, "remnant": code}
    enter(write, "lot", row.code, "remnant", taken, at=at, by=by)
    write.stock += 1


def post_supply_entry(write: Write, row: Row[Any], body: Mapping[str, Any], *, at: str, by: str) -> None:
    """Add an entry to a supply."""
    kind, per = body["kind"], UNITS[row.noun][0]
    amount, sorts = body.get("amount"), body.get("sorts")
    if (row.noun == "sorts") != (amount is None) or (amount is None) == (sorts is None):
        wanted = "sorts" if row.noun == "sorts" else "amount"
        raise contradiction(f"/{wanted}", "missing", f"this supply is counted in {wanted}, and nothing else")
    if amount is not None and row.left_base is None:
        raise contradiction("/amount", "not_offered", "nothing of this is used up")
    base = 0 if amount is None else round(amount * 1000) * per
    if base % 1000:
        raise contradiction("/amount", "too_fine", "whole pieces")
    base //= 1000
    if kind == "use" and base > row.left_base:
        raise contradiction(
            "/amount", "too_large", f"at most {row.left_base / per:g}, what is there; or count it first"
        )
    names = {
        "receive": {"add_sorts": sorts} if amount is None else {"add_base": base},
        "count": {"sorts": sorts} if amount is None else {"left_base": base},
        "use": {"used_base": base},
        "wear": {"sorts": sorts},
    }
    if kind == "count" and any(worn > count for count, worn in (sorts or {}).values()):
        raise contradiction("/sorts", "too_large", "[all, of them worn]: no more worn than there are")
    if kind == "wear":
        _can_wear(supply_balance(row), sorts or {})
    entry = {**names[kind], **({"reason": body["reason"]} if body.get("reason") else {})}
    enter(write, "supply", row.code, kind, entry, at=at, by=by)
    write.stock += 1


def _can_wear(case: SupplyBalance, sorts: Mapping[str, int]) -> None:
    """Raise where more sorts are said to be worn than are good, or more to be put right than are worn."""
    for sign, more in sorts.items():
        count, worn = (case.sorts or {}).get(sign, (0, 0))
        if not 0 <= worn + more <= count:
            raise contradiction(
                "/sorts", "too_large", f"{sign}: {count} there, {worn} of them worn; or count them first"
            )


def lot_shown(row: Row[Any], held: Lot | None, *, last: bool) -> dict[str, Any]:
    """Return a lot; ``held`` is the lot with what is set aside in it, None where it is gone."""
    held_um2 = 0 if held is None else held.held_um2
    state = "scrap" if row.state == "scrap" else "held" if held_um2 else "last" if last else "open"
    return {
        "id": row.code,
        "state": state,
        "leather": row.leather,
        "form": row.form,
        "mill_stamp": row.mill_stamp,
        "stamp_unit": row.stamp_unit,
        "left_dm2": number_in(row.left_um2, "dm2"),
        "reserved_dm2": number_in(row.reserved_um2, "dm2"),
        "held_dm2": number_in(held_um2, "dm2"),
        "free_dm2": number_in(row.left_um2 - row.reserved_um2 - held_um2, "dm2"),
        "thickness_mm": {"min": number_in(row.thickness_min_um, "mm"), "max": number_in(row.thickness_max_um, "mm")},
        "rectangles_mm": [[number_in(each, "mm") for each in pair] for pair in from_json(row.rectangles)],
        "color_de00": number_in(row.drift_milli, "de00"),
        "stamp_legible": row.stamp_legible,
        "grade": row.grade,
        "parent": row.parent,
        "counted_on": row.counted_on,
    }


def is_last(catalog: Catalog, lot: Lot | None) -> bool:
    """Whether a lot is the last of a leather that will not come again."""
    if lot is None or catalog.leathers[lot.leather].status != LAST_LOT:
        return False
    return [each.code for each in catalog.lots_of(lot.leather) if each.left_um2] == [lot.code]


def supply_shown(row: Row[Any]) -> dict[str, Any]:
    """Return a supply."""
    per, unit = UNITS[row.noun]
    left = None if row.left_base is None else number_in(Fraction(row.left_base, per), "ratio")
    return {
        "id": row.code,
        "noun": row.noun,
        "state": row.state,
        "left": left,
        "unit": None if left is None else unit,
        "sorts": None if row.sorts is None else from_json(row.sorts),
    }


def with_history(connection: Connection, noun: str, shown: dict[str, Any]) -> dict[str, Any]:
    """Return a lot or a supply with its entries."""
    entries = entries_of(connection, noun, shown["id"])
    return {**shown, "created_at": entries[0]["at"], "entries": entries}
