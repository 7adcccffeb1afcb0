"""After a loss: which holds still lie in what is there, which move to other lots, which are short."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from sqlalchemy import Row, select, update

from api.desk.examine import Examined, examine, signature_of, to_agree
from api.desk.history import add_entry
from api.desk.quotes import spec_in
from api.desk.repeats import known
from api.desk.rows import hold_of, is_cut, items_of, set_hold, set_item
from api.desk.signing import AWAITING, UNTIL, ask_for, follow, state_by_signs
from api.desk.stages import Standing, quote_findings, with_stage
from api.house import House
from api.store.engine import Write
from api.store.shelf import Shelf
from api.store.stock import Held, needs_text
from api.store.tables import ORDERS, QUOTES, SIGN_OFFS
from catalog.model import Catalog
from rules.needs import lie_together
from rules.stock import Warehouse

_LOT: Final = "lot"


def keep_or_lose(stock: Catalog, holds: Sequence[Held], gap_um: int) -> tuple[list[Held], list[Held]]:
    """Return the holds that lie in a stock together, the oldest first, and those that do not."""
    warehouse = Warehouse(gap_um)
    if lie_together(stock, [needs for hold in holds for needs in hold.needs], warehouse):
        return list(holds), []
    kept: list[Held] = []
    lost: list[Held] = []
    for hold in sorted(holds, key=lambda each: each.number):
        beside = [needs for each in (*kept, hold) for needs in each.needs]
        (kept if lie_together(stock, beside, warehouse) else lost).append(hold)
    return kept, lost


def settle_after_loss(house: House, write: Write) -> list[str]:
    """Move the holds that no longer lie to other lots; return the quotes of those that cannot: they are short.

    A hold moves only if its pieces come out without a finding that the maker has not agreed to, and
    nothing of it is cut yet. If there is no room beside the others, newer ones give way.
    """
    shelf = house.shelves.read_anew(write.connection, write.revisions)
    kept, lost = keep_or_lose(shelf.base, shelf.holds, house.shelves.gap_um)
    short = []
    while lost:
        hold = lost.pop(0)
        moved = _moved(house, write, hold, kept, shelf)
        older = [each for each in kept if each.number < hold.number]
        if moved is None and len(older) < len(kept):
            moved = _moved(house, write, hold, older, shelf)
            if moved is not None:
                newer = [each for each in kept if each.number > hold.number]
                kept, pushed = keep_or_lose(shelf.base, [*older, moved, *newer], house.shelves.gap_um)
                lost = sorted([*lost, *pushed], key=lambda each: each.number)
                continue
        if moved is None:
            _declare_short(house, write, hold)
            short.append(hold.quote)
        else:
            kept.append(moved)
    return short


def _moved(house: House, write: Write, hold: Held, kept: Sequence[Held], now: Shelf) -> Held | None:
    connection = write.connection
    order = connection.execute(select(ORDERS).where(ORDERS.c.quote == hold.quote)).one_or_none()
    if order is not None and is_cut(order):
        return None
    record = hold.quote if order is None else order.id
    items = items_of(connection, record)
    shelf = house.shelves.made(now, now.base, tuple(kept))
    quote = connection.execute(select(QUOTES).where(QUOTES.c.id == hold.quote)).one()
    specs = [known(house, spec_in(item["spec"]), quote.client) for item in items]
    found = examine(house.shelves, shelf, specs, house.clock.today())
    # What waits for the maker's word anyway may wait for another word.
    if found.refused:
        return None
    answers = _with_stage(house, write, quote, hold, items, found)
    if not (quote.state == AWAITING or _is_agreed(write, hold.quote, found, answers)):
        return None
    for item, answer in zip(items, found.answers, strict=True):
        # The price and the day promised stand; only where it is cut from is new.
        shown = {**answer, "price": item["check"]["price"], "promise": item["check"]["promise"]}
        set_item(write, record, item["item"], answer=shown)
    set_hold(write, hold.quote, needs=needs_text(found.needs))
    if quote.state == AWAITING:
        today = house.clock.today()
        ask_for(write, found.shelf.shop, hold.quote, answers, found.needs, now=house.now(), today=today)
        state = state_by_signs(connection, hold.quote)
        connection.execute(update(QUOTES).where(QUOTES.c.id == hold.quote).values(state=state))
    else:
        follow(write, found.shelf.shop, hold.quote, answers)
    _tell(house, write, hold.quote, order, "move", {"stock": [list(needs.lots) for needs in found.needs]})
    return Held(hold.quote, hold.number, found.needs, hold.until)


def _with_stage(
    house: House, write: Write, quote: Row[Any], hold: Held, items: Sequence[Mapping[str, Any]], found: Examined
) -> Sequence[Mapping[str, Any]]:
    """Return new verdicts with what the rules say of the quote if it is cut so."""
    kind = hold_of(write.connection, hold.quote).kind
    standing = Standing(quote.state, kind, "live", hold.until, quote.valid_until)
    moved = [{**item, "check": answer} for item, answer in zip(items, found.answers, strict=True)]
    said = quote_findings(write.connection, found.shelf.shop, house.clock, standing, moved)
    return with_stage(found.answers, said)


def _is_agreed(write: Write, quote: str, found: Examined, answers: Sequence[Mapping[str, Any]]) -> bool:
    """Whether every finding of new verdicts that needs an agreement has one that is not for a lot alone.

    Of what the rules say of the quote only what is about its lots can be new: the rest was agreed as it is.
    """
    asked = [
        (item, finding)
        for item, answer in enumerate(answers, 1)
        for finding in to_agree(answer)
        if "item" not in finding or _LOT in finding["subject"]
    ]
    if not asked:
        return True
    rows = write.connection.execute(
        select(SIGN_OFFS).where(SIGN_OFFS.c.quote == quote, SIGN_OFFS.c.state == "given", SIGN_OFFS.c.scope == UNTIL)
    )
    given = {(row.item, row.signature) for row in rows}
    shop = found.shelf.shop
    return all((item, signature_of(shop, answers[item - 1], finding)) in given for item, finding in asked)


def _declare_short(house: House, write: Write, hold: Held) -> None:
    connection = write.connection
    order = connection.execute(select(ORDERS).where(ORDERS.c.quote == hold.quote)).one_or_none()
    set_hold(write, hold.quote, state="short")
    if order is None:
        connection.execute(update(QUOTES).where(QUOTES.c.id == hold.quote).values(state="short"))
    _tell(house, write, hold.quote, order, "short", {})


def _tell(house: House, write: Write, quote: str, order: Row[Any] | None, kind: str, body: dict[str, Any]) -> None:
    """Write it into the history of the record that is alive, whose version moves on."""
    table, noun, record = (QUOTES, "quote", quote) if order is None else (ORDERS, "order", order.id)
    write.connection.execute(update(table).where(table.c.id == record).values(version=table.c.version + 1))
    add_entry(write, noun, record, at=house.now(), by="stock", kind=kind, body=body)
