"""Sign-offs: the maker's recorded agreement to single findings, and what each of them covers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, Final

from pydantic_core import from_json
from sqlalchemy import Connection, Row, insert, or_, select, update

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
    connection = write.connection
    rows = connection.execute(select(SIGN_OFFS).where(SIGN_OFFS.c.quote == quote, SIGN_OFFS.c.state != "void")).all()
    kept = {(row.item, row.signature): row for row in rows}
    wanted = set()
    for item, (answer, need) in enumerate(zip(answers, needs, strict=True), 1):
        lots = dumped(list(need.lots))
        for finding in to_agree(answer):
            signature = signature_of(shop, answer, finding)
            old = kept.get((item, signature))
            if old is not None and (old.lots == lots or old.scope == UNTIL):
                wanted.add(old.id)
                connection.execute(update(SIGN_OFFS).where(SIGN_OFFS.c.id == old.id).values(finding=finding["id"]))
                continue
            wanted.add(_ask(write, quote, item, finding, signature, lots, now=now, today=today))
    for row in rows:
        if row.id not in wanted:
            set_row(write, SIGN_OFFS, row, state="void")


def _ask(
    write: Write, quote: str, item: int, finding: Mapping[str, Any], signature: str, lots: str, *, now: str, today: date
) -> str:
    standing = write.connection.execute(
        select(SIGN_OFFS)
        .where(
            SIGN_OFFS.c.signature == signature,
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
    about = {
        "quote": quote, "item": item, "finding": finding["id"], "rule": finding["rule"], "signature": signature,
        "lots": lots,
    }  # fmt: skip
    return _add(write, about, given, now)


def _add(write: Write, about: Mapping[str, Any], given: Mapping[str, Any], now: str) -> str:
    """Write a new sign-off; return its id."""
    number = write.next_number()
    own = {"id": f"S{number}", "number": number, "created_at": now, "version": 1}
    write.connection.execute(insert(SIGN_OFFS), {**about, **given, **own})
    return f"S{number}"


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


def missing_signs(write: Write, shop: Shop, quote: str, answers: Sequence[Mapping[str, Any]], *, now: str) -> list[str]:
    """Return the sign-offs that a quote still lacks.

    What was agreed under another wording of its rule is void, and asked anew.
    """
    connection = write.connection
    given = connection.execute(select(SIGN_OFFS).where(SIGN_OFFS.c.quote == quote, SIGN_OFFS.c.state == "given")).all()
    for row in given:
        answer = answers[row.item - 1]
        finding = next((each for each in answer["findings"] if each["id"] == row.finding), None)
        if finding is not None and finding["rule"] not in shop.book.rules:
            continue  # the edition in force has no such rule: there is nothing to agree to anew
        signature = None if finding is None else signature_of(shop, answer, finding)
        if finding is not None and signature != row.signature:
            set_row(write, SIGN_OFFS, row, state="void")
            about = {name: getattr(row, name) for name in ("quote", "item", "finding", "rule", "lots")}
            _add(write, {**about, "signature": signature}, _ASKED, now)
    rows = connection.execute(
        select(SIGN_OFFS.c.id).where(SIGN_OFFS.c.quote == quote, SIGN_OFFS.c.state.in_(("asked", "refused")))
    )
    return list(rows.scalars())
