"""Orders: a quote accepted, and its way from the open book to the door."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from pydantic_core import from_json
from sqlalchemy import Connection, Row, insert, select

from api.desk.examine import Examined, examine, to_agree
from api.desk.history import add_entry, entries_of
from api.desk.quotes import money_text, refusal, spec_in, standing_findings, stock_changed, total_of
from api.desk.repeats import known
from api.desk.rows import add_items, hold_of, is_cut, items_of, set_hold, set_item, set_row
from api.desk.signing import AWAITING, follow, missing_signs, signs_of
from api.desk.stages import SHORT, kept_spec, with_stage
from api.errors import ProblemError, contradiction
from api.house import House
from api.store.engine import Write
from api.store.shelf import Shelf
from api.store.stock import dumped, needs_in, needs_text
from api.store.tables import ORDERS, QUOTES
from catalog.model import Catalog, FreeRectangle
from rules.needs import Needs
from rules.spec import Spec
from rules.taking import REFUSED

TAKES: Final[Mapping[str, tuple[str, ...]]] = {
    "open": ("pin", "cut", "recut", "inspect", "ship", "amend", "cancel"),
    "cut": ("recut", "inspect", "ship"),
    "shipped": ("forget",),
    "cancelled": ("forget",),
}
#: Kinds of entries that decide something, so that whoever posts them must have read the record.
DECIDES: Final = ("pin", "amend", "cancel")


def make_order(
    house: House, write: Write, quote: Row[Any], payment: Mapping[str, Any], *, by: str
) -> tuple[str, list[str]]:
    """Turn a live quote into an order; return its id and the sign-offs that are missing (then no order was made).

    What others took meanwhile plays no part: the quote's own hold becomes the order's.

    Raises:
        ProblemError: nothing is set aside for the quote any more, or it was ordered already.
    """
    connection, shop = write.connection, house.shop
    items = items_of(connection, quote.id)
    if quote.state == "ordered":
        order = connection.execute(select(ORDERS.c.id).where(ORDERS.c.quote == quote.id)).scalar_one()
        raise ProblemError("wrong-state", f"this quote is order {order} already", members={"state": "ordered"})
    hold = hold_of(connection, quote.id)
    if hold.state != "live":
        slug = "stock-changed" if quote.state == "short" else "hold-lapsed"
        words = {
            "short": "what was set aside for it was lost; renew it or make another quote",
            "lapsed": "its time ran out",
            "withdrawn": "it was withdrawn",
        }
        members = _verdict_now(house, items)
        if quote.state == SHORT:
            members |= stock_changed(shop, house.clock.today())
        raise ProblemError(slug, words[quote.state], members=members)
    answers = with_stage([item["check"] for item in items], standing_findings(house, connection, shop, quote))
    now, needs = house.now(), needs_in(hold.needs)
    unread = {item["item"] for item in items if kept_spec(item["spec"]) is None}
    missing = missing_signs(write, shop, quote.id, answers, needs, unread, now=now, today=house.clock.today())
    if missing:
        set_row(write, QUOTES, quote, state=AWAITING)
        return "", missing
    number = write.next_number()
    order = f"O{number}"
    connection.execute(
        insert(ORDERS).values(
            id=order, number=number, quote=quote.id, client=quote.client, key=by, reference=quote.reference,
            state="open", created_at=now, currency=quote.currency, total_minor=quote.total_minor,
            ready_on=ready_on([item["check"] for item in items]), payment=dumped(dict(payment)),
            as_built=dumped([{"item": item["item"], "cuts": [], "measured": None} for item in items]),
            minutes=sum(each.minutes for each in needs), version=1,
        )
    )  # fmt: skip
    add_items(write, order, [item["spec"] for item in items], [item["check"] for item in items])
    set_hold(write, quote.id, kind="order", until=None)
    set_row(write, QUOTES, quote, state="ordered")
    add_entry(write, "quote", quote.id, at=now, by=by, kind="order", body={"order": order})
    add_entry(write, "order", order, at=now, by=by, kind="accept", body={"quote": quote.id, "payment": dict(payment)})
    write.backlog += 1
    return order, []


def _verdict_now(house: House, items: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    if any("letters" in (item["spec"].get("monogram") or {}) for item in items):
        return {}  # the customer's text was deleted: there is no spec to judge any more
    specs = [spec_in(item["spec"]) for item in items]
    answers = examine(house.shelves, house.shelves.current(), specs, house.clock.today()).answers
    first = next((answer for answer in answers if answer["outcome"] == REFUSED), answers[0])
    return {"check": first, "checks": list(answers)}


def ready_on(answers: Sequence[Mapping[str, Any]]) -> str | None:
    """Return the day on which the last of the items is ready."""
    return max((answer["promise"]["ready_on"] for answer in answers if answer["promise"]), default=None)


def order_record(connection: Connection, row: Row[Any]) -> dict[str, Any]:
    """Return an order as the owner sees it."""
    hold = hold_of(connection, row.quote)
    items, signs = items_of(connection, row.id), signs_of(connection, row.quote)
    needs = needs_in(hold.needs)
    for item in items:
        item["sign_offs"] = [sign for sign in signs if sign["item"] == item["item"]]
        item["to_cut"] = _to_cut(needs[item["item"] - 1])
    built = [_as_built(item, own) for item, own in zip(items, from_json(row.as_built), strict=True)]
    return {
        "id": row.id,
        "created_at": row.created_at,
        "state": row.state,
        "quote": row.quote,
        "reference": row.reference,
        "currency": row.currency,
        "total": money_text(row.total_minor, items[0]["check"]),
        "payment": from_json(row.payment),
        "ready_on": row.ready_on,
        "items": items,
        "hold": {"kind": hold.kind, "until": hold.until, "state": hold.state},
        "as_built": built,
        "entries": entries_of(connection, "order", row.id),
        "version": row.version,
    }


def _to_cut(needs: Needs) -> list[dict[str, Any]]:
    return [
        {"part": each.part, "lot": each.lot, "panel": each.panel, "along_mm": each.along_um / 1000,
         "across_mm": each.across_um / 1000, "pieces": each.count}
        for each in needs.panels
    ]  # fmt: skip


def _as_built(item: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a piece is made of: as ordered, with what the bench recorded."""
    spec = item["check"]["spec"]
    resolved = item["check"]["resolved"]
    found: dict[str, Any] = {
        "item": item["item"],
        "pattern": spec["pattern"],
        "parts": spec["parts"],
        "thread": resolved.get("thread") or spec.get("thread"),
        "edge": resolved.get("edge") or spec.get("edge"),
        "hardware": spec.get("hardware"),
        "cuts": own["cuts"],
        "measured": own["measured"],
    }
    return found


def needs_of_order(connection: Connection, row: Row[Any]) -> tuple[Row[Any], list[Needs]]:
    """Return an order's hold and what each item still takes."""
    hold = hold_of(connection, row.quote)
    return hold, list(needs_in(hold.needs))


def set_needs(write: Write, row: Row[Any], needs: Sequence[Needs], **values: Any) -> None:
    """Change what an order's hold keeps."""
    set_hold(write, row.quote, needs=needs_text(needs), **values)


def cancel(house: House, write: Write, row: Row[Any], body: Mapping[str, Any], *, by: str) -> None:
    """Cancel an order: all that is not cut or used is free again."""
    set_hold(write, row.quote, state="released")
    set_row(write, ORDERS, row, state="cancelled")
    write.stock += 1
    write.backlog += 1
    add_entry(write, "order", row.id, at=house.now(), by=by, kind="cancel", body={"reason": body.get("reason")})


def inspect(house: House, write: Write, row: Row[Any], body: Mapping[str, Any], *, by: str) -> None:
    """Record what was measured on a finished piece."""
    built = from_json(row.as_built)
    item = item_of(built, body)
    item["measured"] = {**(item["measured"] or {}), **body["measured"]}
    set_row(write, ORDERS, row, as_built=dumped(built))
    entry = {"item": body["item"], "measured": body["measured"]}
    add_entry(write, "order", row.id, at=house.now(), by=by, kind="inspect", body=entry)


def item_of(items: Sequence[dict[str, Any]], body: Mapping[str, Any]) -> dict[str, Any]:
    """Return the item that an entry names.

    Raises:
        ProblemError: there is none.
    """
    number: int = body["item"]
    if not 1 <= number <= len(items):
        raise contradiction("/item", "not_offered", f"an item from 1 to {len(items)}", says="there is no such item")
    return items[number - 1]


def _own_returned(house: House, write: Write, row: Row[Any]) -> Shelf:
    """Return the shelf as if nothing were set aside for an order."""
    shelf = house.shelves.read_anew(write.connection, write.revisions)
    holds = tuple(hold for hold in shelf.holds if hold.quote != row.quote)
    shop = shelf.base.workshop
    base = replace(shelf.base, workshop=replace(shop, backlog_minutes=shop.backlog_minutes - row.minutes))
    for item in from_json(row.as_built):
        for cut in item["cuts"]:
            if not cut["recut"]:
                base = put_back(base, cut)
    return house.shelves.made(shelf, base, holds)


def put_back(base: Catalog, cut: Mapping[str, Any]) -> Catalog:
    """Return the stock with cut panels back in their lot, each as a free rectangle of its own size."""
    lot = base.lots.get(cut["lot"])
    if lot is None:
        return base
    whole = [FreeRectangle(along, across) for along, across, _, count in cut["panels"] for _ in range(count)]
    back = replace(lot, left_um2=lot.left_um2 + cut["took_um2"] + 1, rectangles=(*lot.rectangles, *whole))
    return replace(base, lots={**base.lots, lot.code: back})


def change_items(
    house: House, write: Write, row: Row[Any], specs: Mapping[int, Spec], bodies: Mapping[int, Any]
) -> tuple[Examined, list[dict[str, Any]], dict[int, list[str]]]:
    """Judge an order anew with some items changed, its own hold given back, and set aside what it takes now.

    Items that stay keep their lots. Returns the verdicts, the items as they were, and the rules that each changed
    item needs an agreement to, of its check and of its quote. What was agreed before of such an item and is no longer
    said, as a note that is another now, is void.

    Raises:
        ProblemError: an item cannot be made so; nothing was changed.
    """
    connection = write.connection
    items = items_of(connection, row.id)
    hold, needs = needs_of_order(connection, row)
    granted = [_as_granted(item, needs[item["item"] - 1]) for item in items]
    asked = [known(house, specs.get(item["item"], own), row.client) for item, own in zip(items, granted, strict=True)]
    # Items that stay come first: a changed one must not take what they have.
    order = sorted(range(len(items)), key=lambda place: items[place]["item"] in specs)
    judged = examine(house.shelves, _own_returned(house, write, row), [asked[at] for at in order], house.clock.today())
    back = sorted(range(len(items)), key=lambda at: order[at])
    found = replace(judged, answers=tuple(judged.answers[at] for at in back), needs=())
    if not judged.refused:
        found = replace(found, needs=tuple(judged.needs[at] for at in back))
    if found.refused:
        raise refusal(found)
    built = from_json(row.as_built)
    uncut = [_uncut(own, item["cuts"]) for own, item in zip(found.needs, built, strict=True)]
    set_needs(write, row, uncut, state="live" if hold.state == "short" else hold.state)
    for item, answer in zip(items, found.answers, strict=True):
        if item["item"] in specs:
            set_item(write, row.id, item["item"], answer=answer, spec=bodies.get(item["item"], item["spec"]))
    write.stock += 1
    return found, items, _agreed(house, write, row, found, specs)


def _agreed(
    house: House, write: Write, row: Row[Any], found: Examined, changed: Container[int]
) -> dict[int, list[str]]:
    """Return the rules that changed items need an agreement to, and let go of agreements to what they were."""
    connection, shop = write.connection, found.shelf.shop
    quote = connection.execute(select(QUOTES).where(QUOTES.c.id == row.quote)).one()
    said = standing_findings(house, connection, shop, quote, items_of(connection, row.id))
    answers = with_stage(found.answers, said)
    follow(write, shop, row.quote, answers, changed)
    rules = {item: [each["rule"] for each in to_agree(answer)] for item, answer in enumerate(answers, 1)}
    return {item: own for item, own in rules.items() if item in changed}


def _uncut(needs: Needs, cuts: Sequence[Mapping[str, Any]]) -> Needs:
    """Return needs without the parts that are cut already."""
    done = {cut["part"] for cut in cuts}
    return replace(needs, panels=tuple(each for each in needs.panels if each.part not in done))


def _as_granted(item: Mapping[str, Any], needs: Needs) -> Spec:
    """Return an item's spec with the lots that it was given."""
    lots: dict[str, tuple[str, ...]] = {}
    for taken in needs.panels:
        lots[taken.part] = tuple(dict.fromkeys((*lots.get(taken.part, ()), taken.lot)))
    return replace(spec_in(item["spec"]), lots=lots)


def pin(house: House, write: Write, row: Row[Any], body: Mapping[str, Any], *, by: str) -> None:
    """Cut a part from another lot than the one it was given, if it can be made so."""
    items = items_of(write.connection, row.id)
    item = item_of(items, body)
    cuts = from_json(row.as_built)[body["item"] - 1]["cuts"]
    if any(cut["part"] == body["part"] for cut in cuts):
        raise ProblemError("wrong-state", "that part is cut already; recut it")
    _, needs = needs_of_order(write.connection, row)
    spec = _as_granted(item, needs[body["item"] - 1])
    cut_from = {cut["part"]: (cut["lot"],) for cut in cuts}
    pinned = replace(spec, lots={**cut_from, **spec.lots, body["part"]: (body["lot"],)})
    _, _, agreed = change_items(house, write, row, {body["item"]: pinned}, {})
    set_row(write, ORDERS, row)
    entry = {name: body[name] for name in ("item", "part", "lot", "reason")} | {"agreed": agreed[body["item"]]}
    add_entry(write, "order", row.id, at=house.now(), by=by, kind="pin", body=entry)


def amend(house: House, write: Write, row: Row[Any], body: Mapping[str, Any], *, by: str) -> None:
    """Change items of an order that is not cut: judged anew, with the difference in price.

    Whoever amends is of the workshop; the findings that need its agreement are recorded as agreed by them.
    """
    bodies = {each["item"]: each["spec"] for each in body["items"]}
    for number in bodies:
        item_of([{}] * len(from_json(row.as_built)), {"item": number})
    if is_cut(row):
        raise ProblemError("wrong-state", "a part of this order is cut already; cancel it or make another")
    found, before, agreed = change_items(house, write, row, {n: spec_in(each) for n, each in bodies.items()}, bodies)
    # An item that stays keeps the price that it was ordered at.
    answers = [
        answer if item["item"] in bodies else item["check"] for item, answer in zip(before, found.answers, strict=True)
    ]
    total = total_of(answers)
    minutes = sum(each.minutes for each in found.needs)
    set_row(write, ORDERS, row, total_minor=total, ready_on=ready_on(answers), minutes=minutes)
    entry = {
        "items": [
            {
                "item": item["item"],
                "before": item["check"]["spec_hash"],
                "after": answer["spec_hash"],
                "agreed": agreed[item["item"]],
            }
            for item, answer in zip(before, answers, strict=True)
            if item["item"] in bodies
        ],
        "difference": money_text(total - row.total_minor, answers[0]),
    }
    write.backlog += 1
    add_entry(write, "order", row.id, at=house.now(), by=by, kind="amend", body=entry)
