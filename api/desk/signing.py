"""Sign-offs: the maker's recorded agreement to single findings, and what each of them covers."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from pydantic_core import from_json
from sqlalchemy import Connection, Row, insert, or_, select

from api.desk.examine import signature_of, to_agree
from api.desk.rows import set_row
from api.errors import ProblemError, contradiction
from api.store.engine import Write
from api.store.stock import dumped
from api.store.tables import QUOTES, SIGN_OFFS
from rules.needs import Needs
from rules.shop import Shop

#: States of a quote in which the maker may still decide.
AWAITING: Final = "awaiting_sign_off"
LIVE: Final = ("held", AWAITING, "short")
THIS_LOT: Final = "this_lot"
UNTIL: Final = "until"
#: What nobody has decided yet.
_ASKED: Final[Mapping[str, Any]] = {
    "state": "asked", "scope": None, "until": None, "note": None, "at": None, "by": None,
}  # fmt: skip


def ask_for(
    write: Write,
    shop: Shop,
    quote: str,
    answers: Sequence[Mapping[str, Any]],
    needs: Sequence[Needs],
    *,
    now: str,
    today: date,
) -> None:
    """Ask the maker for every agreement that a quote's verdicts need and that none given before covers.

    What was asked or given for findings that are no longer there, or have other figures, becomes void.
    """
    wanted, gone = _paired(shop, answers, _not_void(write.connection, quote))
    for each in wanted:
        lots = dumped(list(needs[each.item - 1].lots))
        if each.row is None:
            _ask(write, quote, each, lots, now=now, today=today)
        elif each.row.lots == lots or each.row.scope == UNTIL:
            _call(write, each)
        else:
            set_row(write, SIGN_OFFS, each.row, state="void")
            _ask(write, quote, each, lots, now=now, today=today)
    for row in gone:
        set_row(write, SIGN_OFFS, row, state="void")


def follow(
    write: Write, shop: Shop, quote: str, answers: Sequence[Mapping[str, Any]], changed: Container[int] | None = None
) -> None:
    """Let sign-offs name the findings of new verdicts by the ids that these have now.

    ``changed`` are the items that are others now: their sign-offs on what is no longer said become void, and those of
    all other items stay as they are. None: only names change, of any item.
    """
    wanted, gone = _paired(shop, answers, _not_void(write.connection, quote))
    for each in wanted:
        if each.row is not None and (changed is None or each.item in changed):
            _call(write, each)
    for row in gone:
        if changed is not None and row.item in changed:
            set_row(write, SIGN_OFFS, row, state="void")


@dataclass(frozen=True, slots=True)
class _Wanted:
    """A finding that needs an agreement, and the sign-off on it, if anybody asked."""

    item: int
    finding: Mapping[str, Any]
    signature: str
    row: Row[Any] | None


def _not_void(connection: Connection, quote: str) -> Sequence[Row[Any]]:
    return connection.execute(
        select(SIGN_OFFS).where(SIGN_OFFS.c.quote == quote, SIGN_OFFS.c.state != "void").order_by(SIGN_OFFS.c.number)
    ).all()


def _paired(
    shop: Shop, answers: Sequence[Mapping[str, Any]], rows: Sequence[Row[Any]]
) -> tuple[list[_Wanted], list[Row[Any]]]:
    """Return what verdicts want agreed, with the sign-off on each, and the sign-offs on what they no longer say.

    They go together by what the agreement is about: the id of a finding moves as soon as one before it is gone. Where
    the edition in force has no such rule, there is nothing to agree to anew, and a sign-off on it stays as it is.
    """
    left: dict[tuple[int, str], list[Row[Any]]] = {}
    for row in rows:
        left.setdefault((row.item, row.signature), []).append(row)
    wanted = []
    for item, answer in enumerate(answers, 1):
        for finding in to_agree(answer):
            if finding["rule"] not in shop.book.rules:
                continue
            signature = signature_of(shop, answer, finding)
            own = left.get((item, signature), [])
            found = next((each for each in own if each.finding == finding["id"]), own[0] if own else None)
            if found is not None:
                own.remove(found)
            wanted.append(_Wanted(item, finding, signature, found))
    return wanted, [row for own in left.values() for row in own if row.rule in shop.book.rules]


def _call(write: Write, wanted: _Wanted) -> None:
    """Let a sign-off name its finding by the id that it has now."""
    row, name = wanted.row, wanted.finding["id"]
    if row is not None and row.finding != name:
        set_row(write, SIGN_OFFS, row, finding=name)


def _ask(write: Write, quote: str, wanted: _Wanted, lots: str, *, now: str, today: date) -> None:
    standing = write.connection.execute(
        select(SIGN_OFFS)
        .where(
            SIGN_OFFS.c.signature == wanted.signature,
            SIGN_OFFS.c.state == "given",
            or_(
                (SIGN_OFFS.c.scope == THIS_LOT) & (SIGN_OFFS.c.lots == lots),
                (SIGN_OFFS.c.scope == UNTIL) & (SIGN_OFFS.c.until >= today.isoformat()),
            ),
        )
        .order_by(SIGN_OFFS.c.number)
        .limit(1)
    ).one_or_none()
    given: Mapping[str, Any] = _ASKED
    if standing is not None:
        given = {
            "state": "given", "scope": standing.scope, "until": standing.until, "note": f"as {standing.id}",
            "at": now, "by": standing.by,
        }  # fmt: skip
    number = write.next_number()
    about = {
        "id": f"S{number}", "number": number, "created_at": now, "version": 1, "quote": quote, "item": wanted.item,
        "finding": wanted.finding["id"], "rule": wanted.finding["rule"], "signature": wanted.signature, "lots": lots,
    }  # fmt: skip
    write.connection.execute(insert(SIGN_OFFS), {**about, **given})


def state_by_signs(connection: Connection, quote: str) -> str:
    """Return ``held`` where every agreement was given, else ``awaiting_sign_off``."""
    missing = connection.execute(
        select(SIGN_OFFS.c.id).where(SIGN_OFFS.c.quote == quote, SIGN_OFFS.c.state.in_(("asked", "refused"))).limit(1)
    ).one_or_none()
    return "held" if missing is None else AWAITING


def decide(write: Write, row: Row[Any], body: Mapping[str, Any], *, now: str, today: date, by: str) -> None:
    """Record the maker's word on one finding. The quote is held fast as soon as none is missing.

    Raises:
        ProblemError: it is void, or a scope and its date do not go together.
    """
    if row.state == "void":
        raise ProblemError("wrong-state", "this sign-off is void: the spec, the lot or the rule is another now")
    scope, until = body["scope"], body.get("until")
    if (scope == UNTIL) != (until is not None):
        fits = "a date, with the scope until and no other"
        raise contradiction("/until", "wrong_date", fits, says="scope and date do not go together")
    if until is not None and until < today.isoformat():
        raise contradiction("/until", "too_small", f"at least {today.isoformat()}", says="that date is past")
    connection = write.connection
    quote = connection.execute(select(QUOTES).where(QUOTES.c.id == row.quote)).one()
    if quote.state not in LIVE:
        raise ProblemError("wrong-state", f"the quote is {quote.state}", members={"state": quote.state})
    note = body.get("note")
    set_row(write, SIGN_OFFS, row, state=body["decision"], scope=scope, until=until, note=note, at=now, by=by)
    if quote.state != "short":
        state = state_by_signs(connection, row.quote)
        set_row(write, QUOTES, quote, state=state)


def sign_row(connection: Connection, quote: str, item: int, finding: str) -> Row[Any]:
    """Return the sign-off in force on a finding of a quote.

    Raises:
        ProblemError: there is none.
    """
    row = connection.execute(
        select(SIGN_OFFS)
        .where(SIGN_OFFS.c.quote == quote.upper(), SIGN_OFFS.c.item == item, SIGN_OFFS.c.finding == finding)
        .order_by(SIGN_OFFS.c.state == "void", SIGN_OFFS.c.number.desc())
        .limit(1)
    ).one_or_none()
    if row is None:
        raise ProblemError("not-found", "nothing is to be agreed there: no such quote, item or finding")
    return row


def sign_record(row: Row[Any]) -> dict[str, Any]:
    """Return a sign-off as the owner sees it."""
    return {
        "id": row.id,
        "created_at": row.created_at,
        "state": row.state,
        "quote": row.quote,
        "item": row.item,
        "finding": row.finding,
        "rule": row.rule,
        "scope": row.scope,
        "until": row.until,
        "lots": from_json(row.lots),
        "note": row.note,
        "at": row.at,
        "by": row.by,
    }


def signs_of(connection: Connection, quote: str) -> list[dict[str, Any]]:
    """Return a quote's sign-offs, oldest first."""
    rows = connection.execute(select(SIGN_OFFS).where(SIGN_OFFS.c.quote == quote).order_by(SIGN_OFFS.c.number))
    return [sign_record(row) for row in rows]


def missing_signs(
    write: Write,
    shop: Shop,
    quote: str,
    answers: Sequence[Mapping[str, Any]],
    needs: Sequence[Needs],
    unread: Container[int],
    *,
    now: str,
    today: date,
) -> list[str]:
    """Return the sign-offs that a quote still lacks.

    What is said since it was quoted, or under another wording of its rule, is asked for now; what was asked or given
    for what is no longer said becomes void. Of the items ``unread`` nobody knows what would be said.
    """
    wanted, gone = _paired(shop, answers, _not_void(write.connection, quote))
    for each in wanted:
        if each.row is None:
            _ask(write, quote, each, dumped(list(needs[each.item - 1].lots)), now=now, today=today)
        else:
            _call(write, each)
    for row in gone:
        if row.item not in unread:
            set_row(write, SIGN_OFFS, row, state="void")
    missing = (row.id for row in _not_void(write.connection, quote) if row.state != "given")
    return list(missing)
