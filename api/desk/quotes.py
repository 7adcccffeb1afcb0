"""Quotes: a basket of specs, frozen and priced, with all that it takes set aside; all of it or nothing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Final

from sqlalchemy import Connection, Row, insert, update

from api.desk.examine import Examined, examine, to_agree
from api.desk.history import add_entry, entries_of
from api.desk.repeats import known
from api.desk.rows import add_items, check_takes, hold_of, items_of, set_hold, set_item, set_row
from api.desk.signing import ask_for, signs_of, state_by_signs
from api.desk.stages import Standing, priced_on, quote_findings, refused_by, with_stage
from api.errors import ProblemError
from api.figures import digits_of, minor_units, money
from api.house import House
from api.schemas.spec import SpecIn, to_spec
from api.store.engine import Write
from api.store.shelf import Shelf, stamp
from api.store.stock import Held, needs_in, needs_text
from api.store.tables import HOLDS, QUOTES
from rules.job import Job
from rules.shop import Shop
from rules.spec import Spec

CART_MINUTES: Final = 30
#: How often a cart's hold may begin anew; a shopper who is gone must not keep the last hide.
MOST_RENEWALS: Final = 3
#: How often a basket is judged anew because the stock moved meanwhile, before it is judged with the door shut.
MOST_TRIES: Final = 5
TAKES: Final[Mapping[str, tuple[str, ...]]] = {
    "held": ("renew", "withdraw"),
    "awaiting_sign_off": ("renew", "withdraw"),
    "short": ("renew", "withdraw"),
    "lapsed": ("renew", "forget"),
    "ordered": (),
    "withdrawn": ("forget",),
}


@dataclass(frozen=True, slots=True)
class Basket:
    """What a quote is asked for: specs as they were sent, how long to hold, who asks."""

    bodies: tuple[Mapping[str, Any], ...]
    kind: str
    reference: str | None
    client: str
    key: str

    @property
    def specs(self) -> tuple[Spec, ...]:
        """Return the specs in exact units."""
        return tuple(spec_in(body) for body in self.bodies)


def spec_in(body: Mapping[str, Any]) -> Spec:
    """Return a kept spec in exact units."""
    return to_spec(SpecIn.model_validate(body))


def total_of(answers: Iterable[Mapping[str, Any]]) -> int:
    """Return the total of verdicts in minor units."""
    return sum(minor_units(answer["price"]["total"]) for answer in answers)


def hold_until(house: House, kind: str, valid_until: str) -> str:
    """Return the moment at which a hold lapses: minutes for a cart, else the end of the last valid day there."""
    if kind == "cart":
        return stamp(house.clock.now() + timedelta(minutes=CART_MINUTES))
    day_after = date.fromisoformat(valid_until) + timedelta(days=1)
    return stamp(datetime.combine(day_after, time(), house.clock.zone).astimezone(UTC))


def settled(house: House, specs: Sequence[Spec], write: Write | None, before: Examined | None) -> Examined:
    """Return the verdicts on the shelf as it stands, or as a transaction sees it.

    Raises:
        ProblemError: an item cannot be made; where all could be a moment ago, the stock has changed.
    """
    shelf = house.shelf if write is None else house.shelves.read(write.connection, write.revisions)
    found = examine(house.shelves, shelf, specs, house.clock.today())
    if found.refused:
        raise refusal(found, changed=before is not None)
    return found


def refusal(found: Examined, *, changed: bool = False) -> ProblemError:
    """Return the error for a basket of which an item cannot be made."""
    first = found.first_refused
    members = {"checks": list(found.answers), "check": first}
    if changed:
        members |= stock_changed(found.shelf.shop, date.fromisoformat(first["as_of"]))
    slug = "stock-changed" if changed else "not-buildable"
    return ProblemError(slug, first["headline"], members=members)


def stock_changed(shop: Shop, today: date) -> dict[str, Any]:
    """Return what a problem says of the rules that speak where the stock changed since the check."""
    return {"rules": refused_by(shop, Job(today, lost=True))}


def is_current(write: Write, shelf: Shelf) -> bool:
    """Whether nothing of stock or backlog has changed since a shelf was read."""
    return write.revisions[:2] == shelf.revisions[:2]


def make_quote(house: House, write: Write, basket: Basket, found: Examined) -> tuple[str, Held]:
    """Write a quote with its items, its hold and the agreements that it needs; return its id and the hold."""
    number, now = write.next_number(), house.now()
    quote = f"Q{number}"
    valid_until = min(answer["valid_until"] for answer in found.answers)
    hold = Held(quote, number, found.needs, hold_until(house, basket.kind, valid_until))
    connection = write.connection
    connection.execute(
        insert(QUOTES),
        {
            "id": quote, "number": number, "client": basket.client, "key": basket.key, "reference": basket.reference,
            "state": "held", "created_at": now, "currency": found.answers[0]["price"]["currency"],
            "total_minor": total_of(found.answers),
            "valid_until": valid_until, "renewed": 0, "version": 1,
        },
    )  # fmt: skip
    connection.execute(
        insert(HOLDS),
        {
            "quote": quote, "number": number, "kind": basket.kind, "state": "live", "until": hold.until,
            "needs": needs_text(hold.needs),
        },
    )  # fmt: skip
    add_items(write, quote, basket.bodies, found.answers)
    standing = Standing("held", basket.kind, "live", hold.until, valid_until)
    items = [
        {"item": place, "spec": body, "check": answer}
        for place, (body, answer) in enumerate(zip(basket.bodies, found.answers, strict=True), 1)
    ]
    said = quote_findings(connection, found.shelf.shop, house.clock, standing, items)
    answers = with_stage(found.answers, said)
    if any(to_agree(answer) for answer in answers):
        ask_for(write, found.shelf.shop, quote, answers, found.needs, now=now, today=house.clock.today())
        state = state_by_signs(connection, quote)
        connection.execute(update(QUOTES).where(QUOTES.c.id == quote).values(state=state))
    held = {"hold": basket.kind, "until": hold.until}
    add_entry(write, "quote", quote, at=now, by=basket.key, kind="hold", body=held, first=True)
    write.stock += 1
    return quote, hold


def money_text(minor: int, check: Mapping[str, Any]) -> str:
    """Return an amount with as many digits as a verdict writes."""
    return money(minor, digits_of(check["price"]["total"]))


def standing_findings(
    house: House, connection: Connection, shop: Shop, row: Row[Any], items: Sequence[Mapping[str, Any]] | None = None
) -> list[dict[str, Any]]:
    """Return what the rules say of a quote as it stands, as the owner sees it; ``items``: what its order made of it."""
    hold = hold_of(connection, row.id)
    # What is set aside until it is cut is set aside no more once all is cut.
    to_cut = row.state != "ordered" or any(needs.panels for needs in needs_in(hold.needs))
    standing = Standing(row.state, hold.kind if to_cut else "none", hold.state, hold.until, row.valid_until)
    return quote_findings(connection, shop, house.clock, standing, items or items_of(connection, row.id))


def quote_record(house: House, connection: Connection, row: Row[Any]) -> dict[str, Any]:
    """Return a quote as the owner sees it."""
    hold = hold_of(connection, row.id)
    items, signs = items_of(connection, row.id), signs_of(connection, row.id)
    for item in items:
        item["sign_offs"] = [sign for sign in signs if sign["item"] == item["item"]]
    return {
        "id": row.id,
        "created_at": row.created_at,
        "state": row.state,
        "reference": row.reference,
        "currency": row.currency,
        "total": money_text(row.total_minor, items[0]["check"]),
        "valid_until": row.valid_until,
        "items": items,
        "hold": {"kind": hold.kind, "until": hold.until, "state": hold.state},
        "findings": standing_findings(house, connection, house.shelves.current().shop, row),
        "entries": entries_of(connection, "quote", row.id),
        "version": row.version,
    }


def post_entry(house: House, write: Write, row: Row[Any], body: Mapping[str, Any], *, by: str, free: bool) -> None:
    """Add an entry to a quote: renew, withdraw. ``free`` keys renew as often as they like.

    Raises:
        ProblemError: its state takes no such entry, the stock is gone, or the price is another now.
    """
    kind = body["kind"]
    check_takes("a quote", row, TAKES[row.state], kind)
    if kind == "renew":
        entry = _renew(house, write, row, free=free)
    else:
        entry = {"reason": body.get("reason")}
        set_hold(write, row.id, state="released")
        set_row(write, QUOTES, row, state="withdrawn")
        write.stock += 1
    add_entry(write, "quote", row.id, at=house.now(), by=by, kind=kind, body=entry)


def _renew(house: House, write: Write, row: Row[Any], *, free: bool) -> dict[str, Any]:
    connection = write.connection
    hold = hold_of(connection, row.id)
    if hold.kind == "cart" and not free and row.renewed >= MOST_RENEWALS:
        raise ProblemError("hold-lapsed", f"a cart is held anew {MOST_RENEWALS} times at most; make a new quote")
    today, items = house.clock.today(), items_of(connection, row.id)
    if hold.state == "live" and row.valid_until >= today.isoformat():
        until = hold_until(house, hold.kind, row.valid_until)
        set_hold(write, row.id, until=until)
        set_row(write, QUOTES, row, renewed=row.renewed + 1)
        write.stock += 1
        return {"until": until}
    return _grant_anew(house, write, row, hold, items)


def _grant_anew(
    house: House, write: Write, row: Row[Any], hold: Row[Any], items: Sequence[Mapping[str, Any]]
) -> dict[str, Any]:
    """Set aside again what is no longer set aside, or what has outlived its price."""
    connection, today = write.connection, house.clock.today()
    set_hold(write, row.id, state="released")
    shelf = house.shelves.read_anew(connection, write.revisions)
    specs = [known(house, spec_in(item["spec"]), row.client) for item in items]
    found = examine(house.shelves, shelf, specs, today)
    if found.refused:
        raise refusal(found, changed=True)
    total, valid_until = total_of(found.answers), row.valid_until
    if valid_until < today.isoformat():
        if total != row.total_minor:
            as_of = priced_on(valid_until, [item["check"] for item in items])
            aged = Job(today, as_of=as_of, valid_until=date.fromisoformat(valid_until))
            raise ProblemError(
                "price-changed",
                "the price of this quote stood until its last valid day",
                members={
                    "check": found.answers[0],
                    "checks": list(found.answers),
                    "rules": refused_by(shelf.shop, aged),
                },
            )
        valid_until = min(answer["valid_until"] for answer in found.answers)
    until = hold_until(house, hold.kind, valid_until)
    number = write.next_number()  # granted now, so it is the newest
    set_hold(write, row.id, state="live", number=number, until=until, needs=needs_text(found.needs))
    for item, answer in zip(items, found.answers, strict=True):
        kept = {**answer, "price": item["check"]["price"]} if valid_until == row.valid_until else answer
        set_item(write, row.id, item["item"], answer=kept)
    standing = Standing("held", hold.kind, "live", until, valid_until)
    said = quote_findings(connection, shelf.shop, house.clock, standing, items_of(connection, row.id))
    answers = with_stage(found.answers, said)
    ask_for(write, shelf.shop, row.id, answers, found.needs, now=house.now(), today=today)
    state = state_by_signs(connection, row.id)
    set_row(write, QUOTES, row, renewed=row.renewed + 1, valid_until=valid_until, state=state)
    write.stock += 1
    return {"until": until}
