"""At the bench: panels are cut from lots, spoilt ones again; what is finished leaves with what it used up."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from math import floor
from typing import Any

from pydantic_core import from_json
from sqlalchemy import Row

from api.desk.history import add_entry
from api.desk.orders import needs_of_order, set_needs
from api.desk.rows import items_of, set_row, stock_row
from api.desk.shortage import settle_after_loss
from api.desk.stock import enter, fits, left_of_supply, rectangles_um
from api.errors import ProblemError, contradiction
from api.figures import um2
from api.house import House
from api.store.engine import Write
from api.store.stock import dumped
from api.store.tables import LOTS, ORDERS
from catalog.model import HeldPanel, Kind, Lot
from rules.layout import Rect
from rules.needs import Needs, Taken
from rules.offcut import left_after
from rules.stock import need_um2


def cut(house: House, write: Write, row: Row[Any], body: Mapping[str, Any], *, by: str) -> None:
    """Cut a part of an item from a lot, or a spoilt one again.

    What is left of the lot is what the entry states; where it states nothing, straight cuts are taken
    for granted, in a way that leaves room for what is held for others.

    Raises:
        ProblemError: nothing of that part is to be cut from that lot, or no straight cuts leave room
            for the others, so that what is left must be measured.
    """
    again = body["kind"] == "recut"
    _, needs = needs_of_order(write.connection, row)
    place = body["item"] - 1
    built = from_json(row.as_built)
    if place >= len(needs):
        raise contradiction("/item", "not_offered", f"an item from 1 to {len(needs)}")
    lot = stock_row(write.connection, LOTS, body["lot"])
    if lot is None:
        raise contradiction("/lot", "not_offered", "the code of a lot in stock")
    panels = _spoilt(built[place], body["part"]) if again else _panels(needs[place], body["part"], lot.code)
    if not panels:
        words = "nothing was cut of that part" if again else "nothing of it is to be cut from that lot; pin it first"
        raise contradiction("/part", "not_offered", words)
    parts = items_of(write.connection, row.id)[place]["check"]["spec"]["parts"]
    if parts[body["part"]]["leather"] != lot.leather:
        raise contradiction("/lot", "not_offered", "a lot of the leather that the part is of")
    if not again:
        needs[place] = _without(needs[place], body["part"], lot.code)
        set_needs(write, row, needs)
    shelf = house.shelves.read_anew(write.connection, write.revisions)
    kind = shelf.shop.catalog.leathers[lot.leather].kind
    taken = [HeldPanel(*size) for size in panels]
    took, left = _what_is_left(body, lot, taken, shelf.shop.catalog.lots.get(lot.code), kind, house.shelves.gap_um)
    entry = {"took_um2": took, "rectangles": left, "order": row.id, "item": body["item"], "part": body["part"]}
    if body.get("reason"):
        entry["reason"] = body["reason"]
    now = house.now()
    enter(write, "lot", lot.code, body["kind"], entry, at=now, by=by)
    write.stock += 1
    record = {
        "part": body["part"], "lot": lot.code, "leather": lot.leather, "at": now, "recut": again,
        "drift_milli": lot.drift_milli, "took_um2": took, "panels": [list(size) for size in panels],
        "thickness_um": [lot.thickness_min_um, lot.thickness_max_um],
    }  # fmt: skip
    built[place]["cuts"].append(record)
    done = row.state == "cut" or not any(each.panels for each in needs)
    set_row(write, ORDERS, row, as_built=dumped(built), state="cut" if done else "open")
    shown = {name: value for name, value in body.items() if name != "kind" and value is not None}
    add_entry(write, "order", row.id, at=now, by=by, kind=body["kind"], body=shown)
    settle_after_loss(house, write)


def _what_is_left(
    body: Mapping[str, Any], lot: Row[Any], taken: Sequence[HeldPanel], now: Lot | None, kind: Kind, gap_um: int
) -> tuple[int, list[list[int]]]:
    """Return the area that a cut took and the rectangles that it leaves, as measured or as straight cuts leave them."""
    # Rounded down: what stays must not fall short of what is held in it by a hair.
    took = floor(need_um2(taken, gap_um, kind))
    if body.get("area_left_dm2") is not None:
        took = lot.left_um2 - um2(body["area_left_dm2"])
        if took < 0:
            raise contradiction("/area_left_dm2", "too_large", "more than there was; count the lot first")
    if body.get("rectangles_left_mm") is None:
        return took, _straight(lot, taken, now, gap_um)
    left = rectangles_um(body["rectangles_left_mm"])
    fits(left, max(0, lot.left_um2 - took), "/rectangles_left_mm")
    return took, left


Size = tuple[int, int, bool, int]


def _panels(needs: Needs, part: str, lot: str) -> list[Size]:
    own = (each for each in needs.panels if (each.part, each.lot) == (part, lot))
    return _summed((each.along_um, each.across_um, each.turnable, each.count) for each in own)


def _spoilt(item: Mapping[str, Any], part: str) -> list[Size]:
    """Return the panels that were cut first for a part: those are what is cut again."""
    first = (record for record in item["cuts"] if record["part"] == part and not record["recut"])
    return _summed(tuple(size) for record in first for size in record["panels"])


def _summed(sizes: Iterable[Size]) -> list[Size]:
    """Return panels with those of one size together."""
    counts: Counter[tuple[int, int, bool]] = Counter()
    for along, across, turnable, count in sizes:
        counts[along, across, turnable] += count
    return [(*size, count) for size, count in sorted(counts.items())]


def _without(needs: Needs, part: str, lot: str) -> Needs:
    kept: Sequence[Taken] = [each for each in needs.panels if (each.part, each.lot) != (part, lot)]
    return replace(needs, panels=tuple(kept))


def _straight(lot: Row[Any], taken: Sequence[HeldPanel], now: Any, gap_um: int) -> list[list[int]]:
    """Return what straight cuts leave of a lot, with room for all that is held in it for others."""
    rects = [Rect(along, across) for along, across in from_json(lot.rectangles)]
    held = () if now is None else now.held
    left = left_after(rects, taken, held, gap_um)
    if left is None:
        raise ProblemError(
            "measures-missing", "say in rectangles_left_mm what is left of the lot, [along, across] the backbone in mm"
        )
    return [[each.along_um, each.across_um] for each in left]


def ship(house: House, write: Write, row: Row[Any], *, by: str) -> None:
    """Let an order leave: what it used up of thread, edge, foil and hardware is posted, the rest is free.

    Raises:
        ProblemError: not everything is cut.
    """
    _, needs = needs_of_order(write.connection, row)
    missing = sorted({(each.part, each.lot) for need in needs for each in need.panels})
    if missing:
        words = ", ".join(f"{part} from {lot}" for part, lot in missing[:5])
        raise ProblemError("wrong-state", f"not everything is cut yet: {words}", members={"state": row.state})
    now = house.now()
    used: Counter[str] = Counter()
    for need in needs:
        used.update(need.supplies)
    for code, amount in sorted(used.items()):
        left = left_of_supply(write.connection, code)
        if left is not None:
            # The bench may have used what the book no longer had: what is, is.
            enter(write, "supply", code, "use", {"used_base": min(amount, left), "order": row.id}, at=now, by=by)
    set_needs(write, row, needs, state="used")
    set_row(write, ORDERS, row, state="shipped")
    settle_after_loss(house, write)
    write.stock += 1
    write.backlog += 1
    built = [
        {"item": item["item"], "spec_hash": item["check"]["spec_hash"]} for item in items_of(write.connection, row.id)
    ]
    add_entry(write, "order", row.id, at=now, by=by, kind="ship", body={"items": built})
