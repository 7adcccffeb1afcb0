"""The next edition: what it would do to what is open and in stock, and putting it in force, all of it or nothing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection, select

from api.desk.rows import items_of
from api.desk.signing import LIVE
from api.store.editions import add_edition, edition_row, files_of
from api.store.engine import Write
from api.store.stock import add_unknown_lots, add_unknown_supplies, live_holds, on_the_shelf, with_unknown_lots
from api.store.tables import ENTRIES, LOTS, ORDERS, QUOTES, SUPPLIES, UNDER_WAY
from catalog.model import Catalog
from rules.needs import SUPPLY_FIELDS, short_lots, short_supplies
from rules.shop import Shop
from rules.stock import warehouse_of

#: Nouns that a kept spec names, by the catalog's field.
_NOUNS: Final = {
    "pattern": "patterns", "leather": "leathers", "thread": "threads", "edge": "edges", "hardware": "hardware",
    "typeface": "typefaces", "foil": "foils", "modification": "modifications",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Draft:
    """Files that are to be in force, their shop, and the edition against which they are shown."""

    files: Mapping[str, str]
    shop: Shop
    base: int

    @property
    def token(self) -> str:
        """Return what whoever puts it in force must name: other files or another edition in force make another."""
        return f'"{self.base}-{self.shop.catalog.content_hash.removeprefix("sha256:")[:32]}"'


@dataclass(frozen=True, slots=True)
class Obstacle:
    """Something in use that would be gone: what it is, its code, who uses it, what would do."""

    noun: str
    code: str
    used_by: tuple[str, ...]
    says: str

    def as_json(self) -> dict[str, Any]:
        """Return it as JSON."""
        return {"noun": self.noun, "code": self.code, "used_by": list(self.used_by), "says": self.says}


def files_in_force(connection: Connection, number: int) -> dict[str, str]:
    """Return the files of an edition that is there; {} for 0, before the first."""
    row = edition_row(connection, number)
    return {} if row is None else files_of(row)


def with_changes(files: Mapping[str, str], changes: Mapping[str, str | None]) -> dict[str, str]:
    """Return files with some of them replaced, or left out where the change is None."""
    return {
        name: text.replace("\r\n", "\n") for name, text in {**files, **changes}.items() if text is not None
    }  # line ends as files of the folder are read, so that the same content has the same hash


def obstacles(connection: Connection, old: Catalog | None, new: Catalog) -> list[Obstacle]:
    """Return what stands in the way of a new catalog: what open records name, stock and holds need, and it lacks.

    ``old`` None: the one in force cannot be read.
    """
    return [
        *_another_workshop(connection, old, new),
        *_named_and_gone(connection, new),
        *_stock_without_leather(connection, new),
        *_supplies_changed(connection, new),
        *_codes_taken(connection, new),
        *_holds_that_do_not_lie(connection, new),
    ]


def _another_workshop(connection: Connection, old: Catalog | None, new: Catalog) -> Iterator[Obstacle]:
    known = set(connection.execute(select(QUOTES.c.currency).distinct()).scalars())
    for currency in sorted(known if old is None else {*known, old.workshop.currency}):
        if currency != new.workshop.currency:
            says = "all that is quoted and ordered is in this currency; another needs a store of its own"
            yield Obstacle("currency", currency, (), says)


def _named_and_gone(connection: Connection, new: Catalog) -> Iterator[Obstacle]:
    users: dict[tuple[str, str], list[str]] = {}
    known = {noun: {code.casefold() for code in getattr(new, field)} for noun, field in _NOUNS.items()}
    for record, noun, code in _names(connection):
        if code.casefold() not in known[noun]:
            users.setdefault((noun, code), []).append(record)
    for (noun, code), records in sorted(users.items()):
        says = "open quotes or orders name it; keep it until they are over"
        if noun == "leather":
            says += ", as retired if nobody is to choose it any more"
        yield Obstacle(noun, code, tuple(dict.fromkeys(records)), says)


def _names(connection: Connection) -> Iterator[tuple[str, str, str]]:
    """Give every code that an open quote or order names: record, noun, code."""
    quotes = connection.execute(select(QUOTES.c.id).where(QUOTES.c.state.in_(LIVE)).order_by(QUOTES.c.number))
    orders = connection.execute(select(ORDERS.c.id).where(ORDERS.c.state.in_(UNDER_WAY)).order_by(ORDERS.c.number))
    for record in [*quotes.scalars().all(), *orders.scalars().all()]:
        for item in items_of(connection, record):
            check = item["check"]
            spec, resolved = check["spec"], check["resolved"]
            monogram = spec.get("monogram") or {}
            found: list[tuple[str, Any]] = [
                ("pattern", spec["pattern"]),
                *(("leather", part.get("leather")) for part in spec["parts"].values()),
                ("thread", resolved.get("thread") or spec.get("thread")),
                ("edge", resolved.get("edge") or spec.get("edge")),
                *(("hardware", code) for code in (spec.get("hardware") or {}).values()),
                ("typeface", monogram.get("typeface")),
                ("foil", monogram.get("foil")),
                *(("modification", code) for code in spec.get("modifications") or ()),
            ]
            yield from ((record, noun, code) for noun, code in found if code)


def _stock_without_leather(connection: Connection, new: Catalog) -> Iterator[Obstacle]:
    lots: dict[str, list[str]] = {}
    rows = connection.execute(
        select(LOTS.c.code, LOTS.c.leather).where(LOTS.c.state == "open", LOTS.c.left_um2 > 0).order_by(LOTS.c.place)
    )
    for row in rows:
        if row.leather not in new.leathers:
            lots.setdefault(row.leather, []).append(f"lot {row.code}")
    for leather, own in sorted(lots.items()):
        says = "lots of it are in stock; keep it as retired, or scrap them first"
        yield Obstacle("leather", leather, tuple(own), says)


def _supplies_changed(connection: Connection, new: Catalog) -> Iterator[Obstacle]:
    nouns = {fields.nouns: noun for noun, fields in SUPPLY_FIELDS.items()} | {"typefaces": "sorts"}
    kept = {row.code: row.noun for row in connection.execute(select(SUPPLIES.c.code, SUPPLIES.c.noun))}
    for field, noun in nouns.items():
        for code in getattr(new, field):
            if kept.get(code, noun) != noun:
                yield Obstacle(noun, code, (f"supply {code}",), f"the store has a supply of this code: {kept[code]}")


def _codes_taken(connection: Connection, new: Catalog) -> Iterator[Obstacle]:
    """Give new lots and supplies whose code something else has: histories of all records share one space of ids."""
    lots = set(connection.execute(select(LOTS.c.code)).scalars())
    supplies = set(connection.execute(select(SUPPLIES.c.code)).scalars())
    taken = {row.record: row.noun for row in connection.execute(select(ENTRIES.c.record, ENTRIES.c.noun).distinct())}
    fields = [*(fields.nouns for fields in SUPPLY_FIELDS.values()), "typefaces"]
    coming = [("lot", code) for code in new.lots if code not in lots]
    coming += [("supply", code) for field in fields for code in getattr(new, field) if code not in supplies]
    for noun, code in coming:
        if code in taken:
            user = f"{taken[code]} {code}"
            yield Obstacle(noun, code, (user,), "something has this code already; codes are for ever")
        taken[code] = noun


def _holds_that_do_not_lie(connection: Connection, new: Catalog) -> Iterator[Obstacle]:
    base = with_unknown_lots(connection, new, on_the_shelf(connection, new))
    holds = live_holds(connection)
    needs = [each for hold in holds for each in hold.needs]

    def users(codes: Iterable[str]) -> tuple[str, ...]:
        wanted = set(codes)
        return tuple(
            f"quote {hold.quote}"
            for hold in holds
            if wanted & {code for each in hold.needs for code in (*each.lots, *each.supplies)}
        )

    warehouse = warehouse_of(new)
    there = [each for each in needs if all(_has_leather(base, lot) for lot in each.lots)]
    for code in short_lots(base, there, warehouse):
        says = "what is set aside in it would no longer lie in it; cut it, move it by pin, or keep gaps and yields"
        yield Obstacle("lot", code, users([code]), says)
    for code, _, _ in short_supplies(base, needs):
        yield Obstacle("supply", code, users([code]), "it is set aside, and would no longer be there")


def _has_leather(base: Catalog, lot: str) -> bool:
    return lot in base.lots and base.lots[lot].leather in base.leathers


def put_in_force(write: Write, draft: Draft, *, at: str, by: str, note: str | None) -> tuple[int, list[str]]:
    """Put files in force with the end of this transaction; return the number, and the lots that came in with them.

    Whoever calls has seen to the token and to :func:`obstacles`.
    """
    catalog = draft.shop.catalog
    lots = add_unknown_lots(write, catalog, at)
    add_unknown_supplies(write, catalog, at)
    return add_edition(write, draft.files, catalog.content_hash, at=at, by=by, note=note), lots


def notes_on(connection: Connection, old: Catalog, new: Catalog) -> list[str]:
    """Return what whoever puts files in force should know of them, in sentences."""
    found = []
    if old.content_hash == new.content_hash:
        found.append("the files are those that are in force")
    elif old.workshop.catalog_revision == new.workshop.catalog_revision:
        revision = new.workshop.catalog_revision
        found.append(f"catalog_revision is still {revision}; answers tell editions apart by their number")
    rows = {row.code: row.state for row in connection.execute(select(LOTS.c.code, LOTS.c.state))}
    coming = [code for code in new.lots if code not in rows]
    there = {code for code, state in rows.items() if state == "open"}
    if coming:
        found.append(f"lots that come into stock: {', '.join(coming)}")
    gone = [code for code in old.lots if code in there and code not in new.lots]
    if gone:
        found.append(f"lots that the files lack stay in stock until they are scrapped: {', '.join(gone)}")
    moved = [code for code, lot in new.lots.items() if code in old.lots and lot != old.lots[code] and code in there]
    if moved:
        found.append(f"lots whose figures in the files changed keep those of the store; count them: {', '.join(moved)}")
    supplies = _supplies_restated(connection, old, new)
    if supplies:
        named = ", ".join(supplies)
        found.append(
            f"supplies whose figures or status in the files changed keep those of the store; count them: {named}"
        )
    return found


def _supplies_restated(connection: Connection, old: Catalog, new: Catalog) -> list[str]:
    """Return the supplies of the store of which the files now say another figure or status."""
    kept = set(connection.execute(select(SUPPLIES.c.code)).scalars())
    restated = []
    for fields in SUPPLY_FIELDS.values():
        before, now = getattr(old, fields.nouns), getattr(new, fields.nouns)
        for code in now.keys() & before.keys() & kept:
            names = [fields.left, *(["status"] if hasattr(now[code], "status") else [])]
            if any(getattr(before[code], name) != getattr(now[code], name) for name in names):
                restated.append(code)
    return sorted(restated)
