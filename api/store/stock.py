"""The stock as nouns: rows of lots and supplies laid over the catalog, and live holds set aside from them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from pydantic_core import from_json, to_json
from sqlalchemy import Connection, Row, func, insert, select, update

from api.store.engine import Write
from api.store.tables import ENTRIES, HOLDS, LOTS, ORDERS, STANDING, SUPPLIES, UNDER_WAY
from catalog.goods import NO_CARE
from catalog.model import Catalog, FreeRectangle, Lot, Span, Typeface
from rules.needs import SUPPLY_FIELDS, Needs, less, needs_from, with_retired

OPENING: Final = "opening"


@dataclass(frozen=True, slots=True)
class Held:
    """What one live hold keeps: its quote, its place in the order of granting, what each item needs, until when."""

    quote: str
    number: int
    needs: tuple[Needs, ...]
    until: str | None


def dumped(value: Any) -> str:
    """Return a value as JSON text for a column."""
    return to_json(value).decode()


def on_the_shelf(connection: Connection, catalog: Catalog) -> Catalog:
    """Return the catalog with what lots and supplies hold, nothing set aside.

    A last lot that is used up retires its leather. Open orders join the backlog.
    """
    lots = {row.code: _lot(row, catalog) for row in connection.execute(select(LOTS).order_by(LOTS.c.place))}
    found = replace(catalog, lots={code: lot for code, lot in lots.items() if lot is not None})
    supplies: dict[str, dict[str, Row[Any]]] = {}
    for row in connection.execute(select(SUPPLIES)):
        supplies.setdefault(row.noun, {})[row.code] = row
    for noun, fields in SUPPLY_FIELDS.items():
        own = getattr(catalog, fields.nouns)
        rows = supplies.get(noun, {})
        stocked = {code: _left(each, fields.left, rows.get(code)) for code, each in own.items()}
        changed: dict[str, Any] = {fields.nouns: stocked}
        found = replace(found, **changed)
    cases = supplies.get("sorts", {})
    faces = {code: _cased(face, cases.get(code)) for code, face in catalog.typefaces.items()}
    minutes = connection.execute(
        select(func.coalesce(func.sum(ORDERS.c.minutes), 0)).where(ORDERS.c.state.in_(UNDER_WAY))
    ).scalar_one()
    shop = catalog.workshop
    return with_retired(
        replace(found, typefaces=faces, workshop=replace(shop, backlog_minutes=shop.backlog_minutes + int(minutes)))
    )


def with_unknown_lots(connection: Connection, catalog: Catalog, base: Catalog) -> Catalog:
    """Return a stock with the lots that a catalog's files name and the store has never had, as they would come in."""
    known = set(connection.execute(select(LOTS.c.code)).scalars())
    new = {code: lot for code, lot in catalog.lots.items() if code not in known}
    return replace(base, lots={**base.lots, **new}) if new else base


def live_holds(connection: Connection) -> tuple[Held, ...]:
    """Return the live holds in the order of granting."""
    rows = connection.execute(select(HOLDS).where(HOLDS.c.state == "live").order_by(HOLDS.c.number))
    return tuple(Held(row.quote, row.number, needs_in(row.needs), row.until) for row in rows)


def first_short(connection: Connection) -> str | None:
    """Return the moment at which the first hold lapses that is short."""
    return connection.execute(select(func.min(HOLDS.c.until)).where(HOLDS.c.state == "short")).scalar()


def needs_in(text: str) -> tuple[Needs, ...]:
    """Return the needs in a hold's column."""
    return tuple(map(needs_from, from_json(text)))


def needs_text(needs: Iterable[Needs]) -> str:
    """Return needs as a hold's column has them."""
    return dumped([each.as_json() for each in needs])


def set_aside(catalog: Catalog, holds: Iterable[Held], gap_um: int) -> Catalog:
    """Return the catalog with what holds keep set aside."""
    return less(catalog, [needs for hold in holds for needs in hold.needs], gap_um)


def _lot(row: Any, catalog: Catalog) -> Lot | None:
    """Return a row as a lot; None for one thrown away, or of a leather that the catalog no longer has."""
    if row.state == "scrap" or row.leather not in catalog.leathers:
        return None
    return Lot(
        code=row.code,
        leather=row.leather,
        form=row.form,
        mill_stamp=row.mill_stamp,
        stamp_unit=row.stamp_unit,
        left_um2=row.left_um2,
        reserved_um2=row.reserved_um2,
        thickness=Span(row.thickness_min_um, row.thickness_max_um),
        rectangles=tuple(FreeRectangle(along, across) for along, across in from_json(row.rectangles)),
        drift_milli=row.drift_milli,
        stamp_legible=row.stamp_legible,
        grade=row.grade,
        care=NO_CARE if (known := catalog.lots.get(row.code)) is None else known.care,
    )


def _left(noun: Any, name: str, row: Any) -> Any:
    """Return a supply with what its row has left; out of stock where the row says so."""
    if row is None:
        return noun
    found = replace(noun, **{name: row.left_base})
    return replace(found, status=row.state) if hasattr(noun, "status") else found


def _cased(face: Typeface, row: Any) -> Typeface:
    if row is None or row.sorts is None:
        return face
    cases = from_json(row.sorts)
    return replace(
        face,
        sorts={sign: count for sign, (count, _) in cases.items()},
        worn={sign: worn for sign, (_, worn) in cases.items() if worn},
    )


def seed(write: Write, catalog: Catalog, at: str) -> None:
    """Fill an empty store with the catalog's figures, each as an opening entry; the first edition counts the change."""
    lots, supplies = _opening_lots(catalog), _opening_supplies(catalog)
    connection = write.connection
    if lots:
        connection.execute(insert(LOTS), lots)
    if supplies:
        connection.execute(insert(SUPPLIES), supplies)
    entries = [_opening("lot", row, at) for row in lots] + [_opening("supply", row, at) for row in supplies]
    if entries:
        connection.execute(insert(ENTRIES), entries)
    connection.execute(update(STANDING).values(seeded_from=catalog.workshop.catalog_revision))


def add_unknown_supplies(write: Write, catalog: Catalog, at: str) -> bool:
    """Open supplies that the catalog gained since the store was seeded; return whether there were any."""
    known = set(write.connection.execute(select(SUPPLIES.c.code)).scalars())
    new = [row for row in _opening_supplies(catalog) if row["code"] not in known]
    if new:
        write.connection.execute(insert(SUPPLIES), new)
        write.connection.execute(insert(ENTRIES), [_opening("supply", row, at) for row in new])
    return bool(new)


def add_unknown_lots(write: Write, catalog: Catalog, at: str) -> list[str]:
    """Take in the lots that the catalog's files name and the store has never had; return their codes."""
    known = set(write.connection.execute(select(LOTS.c.code)).scalars())
    rows = [row for row in _opening_lots(catalog) if row["code"] not in known]
    if rows:
        last = write.connection.execute(select(func.coalesce(func.max(LOTS.c.place), -1))).scalar_one()
        for place, row in enumerate(rows, 1 + int(last)):
            row["place"] = place
        write.connection.execute(insert(LOTS), rows)
        write.connection.execute(insert(ENTRIES), [_opening("lot", row, at) for row in rows])
    return [row["code"] for row in rows]


def is_new(connection: Connection) -> bool:
    """Whether the catalog's figures were never taken over."""
    seeded: str = connection.execute(select(STANDING.c.seeded_from)).scalar_one()
    return not seeded


def _opening_lots(catalog: Catalog) -> list[dict[str, Any]]:
    return [
        {
            "code": lot.code,
            "place": place,
            "leather": lot.leather,
            "form": lot.form,
            "mill_stamp": lot.mill_stamp,
            "stamp_unit": lot.stamp_unit,
            "left_um2": lot.left_um2,
            "reserved_um2": lot.reserved_um2,
            "thickness_min_um": lot.thickness.min_um,
            "thickness_max_um": lot.thickness.max_um,
            "rectangles": dumped([[each.along_um, each.across_um] for each in lot.rectangles]),
            "drift_milli": lot.drift_milli,
            "stamp_legible": lot.stamp_legible,
            "grade": lot.grade,
            "parent": None,
            "state": "open",
            "counted_on": None,
            "version": 1,
        }
        for place, lot in enumerate(catalog.lots.values())
    ]


def _opening_supplies(catalog: Catalog) -> list[dict[str, Any]]:
    rows = [
        {
            "code": code,
            "noun": noun,
            "left_base": getattr(each, fields.left),
            "sorts": None,
            "state": getattr(each, "status", "active"),
            "version": 1,
        }
        for noun, fields in SUPPLY_FIELDS.items()
        for code, each in getattr(catalog, fields.nouns).items()
    ]
    for code, face in catalog.typefaces.items():
        signs = dict.fromkeys([*map(chr, range(ord("A"), ord("Z") + 1)), *face.extra_signs, *face.sorts, *face.worn])
        cases = {sign: [face.sorts.get(sign, face.sorts_per_letter), face.worn.get(sign, 0)] for sign in signs}
        rows.append(
            {
                "code": code,
                "noun": "sorts",
                "left_base": None,
                "sorts": dumped(cases),
                "state": "active",
                "version": 1,
            }
        )
    return rows


#: What an opening entry says of a lot or a supply: all from which its balance begins.
_OPENED: Final = {
    "lot": ("left_um2", "reserved_um2", "thickness_min_um", "thickness_max_um", "rectangles"),
    "supply": ("left_base", "sorts", "state"),
}


def _opening(noun: str, row: Mapping[str, Any], at: str) -> dict[str, Any]:
    code = row["code"]
    body = {name: row[name] for name in _OPENED[noun]}
    for name in ("rectangles", "sorts"):
        if body.get(name) is not None:
            body[name] = from_json(body[name])
    return {
        "id": f"{code}.1",
        "noun": noun,
        "record": code,
        "number": 1,
        "at": at,
        "by": OPENING,
        "kind": "receive",
        "body": dumped(body),
    }
