"""What the rules say after a check: of a quote as it stands, and before the knife and the parcel of an order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from fractions import Fraction
from hashlib import sha256
from typing import Any, Final, Literal, cast

from pydantic import ValidationError
from sqlalchemy import Connection, select

from api.clock import Clock
from api.desk.examine import SIGN_OFF
from api.schemas.spec import SpecIn, to_spec
from api.store.stock import OPENING
from api.store.tables import ENTRIES
from rules.ir import Stage
from rules.job import HoldKind, Item, Job, SeenOn
from rules.shop import Shop
from rules.spec import Spec
from rules.stages import StageFinding, case_of, findings_at

#: States of a quote in which its price may still be taken, so that its age matters.
_OPEN: Final = ("held", "awaiting_sign_off", "short", "lapsed")
#: States of a hold of which nothing is left to take: its quote was withdrawn, its order shipped or canceled.
_OVER: Final = ("released", "used")
#: What a rule reads that looks at the note: an agreement to one note is none to the next.
_NOTED: Final = "piece.noted"
_WEIGHT: Final = "weight_g"
_LIVE: Final = "live"
_WITHDRAWN: Final = "withdrawn"
SHORT: Final = "short"
BenchStage = Literal["cut", "pack"]


@dataclass(frozen=True, slots=True)
class Standing:
    """How a quote stands: its state, what is set aside, until when, the last day of its price."""

    state: str
    hold: str
    hold_state: str
    until: str | None
    valid_until: str


def quote_findings(
    connection: Connection, shop: Shop, clock: Clock, quote: Standing, items: Sequence[Mapping[str, Any]]
) -> list[dict[str, Any]]:
    """Return what the rules say of a quote, as the owner sees it; ``items`` have item, spec and check."""
    today = clock.today()
    is_open = quote.state in _OPEN
    if not is_open and (quote.state == _WITHDRAWN or quote.hold_state in _OVER):
        return []  # it is over, and nothing is to be told or agreed to any more
    checks = [item["check"] for item in items]
    lots = [_lots_of_check(check) for check in checks]
    seen = seen_on(connection, lots, clock.zone)
    own = tuple(
        Item(item["item"], case_of(shop, spec, given, today, seen), price=item["check"]["price"])
        for item, given in zip(items, lots, strict=True)
        if (spec := kept_spec(item["spec"])) is not None
    )
    job = Job(
        today,
        own,
        hold=cast(HoldKind, quote.hold if quote.hold_state == _LIVE else "none"),
        until=_in_words(quote.until, clock),
        lost=quote.state == SHORT if is_open else None,
        as_of=priced_on(quote.valid_until, checks) if is_open else None,
        valid_until=date.fromisoformat(quote.valid_until) if is_open else None,
    )
    notes = {item["item"]: item["spec"].get("note") for item in items}
    return [_with_note(found, notes.get(found.item or 0)) for found in findings_at(shop, "quote", job)]


def priced_on(valid_until: str, checks: Sequence[Mapping[str, Any]]) -> date:
    """Return the day on which the price of a quote was worked out; ``checks`` are the verdicts on its items.

    A verdict may be younger than its price, for one that is held anew keeps it. So the day is reckoned back from the
    last valid day, by the days for which a price stood when the verdict was made.
    """
    stood = min(date.fromisoformat(each["valid_until"]) - date.fromisoformat(each["as_of"]) for each in checks)
    return date.fromisoformat(valid_until) - stood


def _with_note(found: StageFinding, note: str | None) -> dict[str, Any]:
    shown = found.as_json()
    if note and _NOTED in found.reads:
        digest = sha256(note.encode("utf-8", "surrogatepass")).hexdigest()
        shown["params"] = {**shown["params"], "note_sha256": digest}
    return shown


def _in_words(moment: str | None, clock: Clock) -> str:
    """Return a moment as people at the workshop read it."""
    if moment is None:
        return ""
    return datetime.fromisoformat(moment).astimezone(clock.zone).strftime("%Y-%m-%d %H:%M %Z")


def _lots_of_check(check: Mapping[str, Any]) -> dict[str, list[str]]:
    lots: dict[str, list[str]] = {}
    for cut in check["cut_from"]:
        lots.setdefault(cut["part"], []).append(cut["lot"])
    return lots


def with_stage(answers: Sequence[Mapping[str, Any]], findings: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Return verdicts with those findings of a quote beside their own that ask for the maker's agreement.

    What is about the quote as a whole asks for none: an old price is renewed, not agreed to.
    """
    found: list[Mapping[str, Any]] = []
    for number, answer in enumerate(answers, 1):
        own = [each for each in findings if each["item"] == number and each["severity"] == SIGN_OFF]
        found.append({**answer, "findings": [*answer["findings"], *own]})
    return found


def refused_by(shop: Shop, job: Job) -> list[str]:
    """Return the ids of the rules that speak of a quote as a whole, for the problem that says the same."""
    return [found.said.rule for found in findings_at(shop, "quote", job) if found.item is None]


def kept_spec(body: Mapping[str, Any]) -> Spec | None:
    """Return a kept spec in exact units; one whose letters were deleted has no monogram to speak of.

    None where it is of a time when specs were written otherwise: a record stays readable whatever comes.
    """
    forgotten = "letters" in (body.get("monogram") or {})
    own = {name: value for name, value in body.items() if not (forgotten and name == "monogram")}
    try:
        return to_spec(SpecIn.model_validate(own))
    except ValidationError:
        return None


def seen_on(connection: Connection, lots: Sequence[Mapping[str, Sequence[str]]], zone: tzinfo) -> dict[str, SeenOn]:
    """Return on what days of the workshop's lots, codes by part and item, were last measured and counted there.

    Whoever takes a lot in measures it; what the catalog opened the book with nobody measured then.
    """
    codes = sorted({code for given in lots for own in given.values() for code in own})
    if not codes:
        return {}
    rows = connection.execute(
        select(ENTRIES.c.record, ENTRIES.c.kind, ENTRIES.c.at)
        .where(
            ENTRIES.c.noun == "lot",
            ENTRIES.c.record.in_(codes),
            ENTRIES.c.kind.in_(("receive", "measure", "count")),
            ENTRIES.c.by != OPENING,
        )
        .order_by(ENTRIES.c.record, ENTRIES.c.number)
    )
    found: dict[str, SeenOn] = {}
    for row in rows:
        day, before = datetime.fromisoformat(row.at).astimezone(zone).date(), found.get(row.record, SeenOn())
        found[row.record] = SeenOn(
            before.measured if row.kind == "count" else day, before.counted if row.kind == "measure" else day
        )
    return found


def checklist(
    connection: Connection, shop: Shop, clock: Clock, order: Mapping[str, Any], stage: BenchStage
) -> dict[str, Any]:
    """Return the lines of an order's checklist as the owner sees them, the worst first.

    Before the knife only what is still to be cut is looked at; an order that is over has nothing left to do.
    """
    built = {own["item"]: own for own in order["as_built"]}
    lots = [_lots_of_order(item, built[item["item"]]) for item in order["items"]]
    seen, today = seen_on(connection, lots, clock.zone), clock.today()
    items = tuple(
        Item(
            item["item"],
            case_of(shop, spec, given, today, seen),
            record=order["id"],
            weight_g=_weight(built[item["item"]]),
        )
        for item, given in zip(order["items"], lots, strict=True)
        if (spec := kept_spec(item["spec"])) is not None
    )
    over = order["state"] in ("shipped", "cancelled")
    found = [] if over else findings_at(shop, cast(Stage, stage), Job(today, items))
    if stage == "cut":
        to_cut = {item["item"]: item["to_cut"] for item in order["items"]}
        found = [each for each in found if each.item is None or _waits(each, to_cut[each.item])]
    return {
        "order": order["id"],
        "stage": stage,
        "state": order["state"],
        "as_of": today.isoformat(),
        "lines": [each.as_json() for each in found],
    }


def _waits(found: StageFinding, to_cut: Sequence[Mapping[str, Any]]) -> bool:
    """Whether what a finding is about is still to be cut: its lot, else one of its parts, else anything at all."""
    lot, parts = found.said.subject.get("lot"), found.said.parts
    if lot is not None:
        return any(each["lot"] == lot for each in to_cut)
    return any(not parts or each["part"] in parts for each in to_cut)


def _lots_of_order(item: Mapping[str, Any], built: Mapping[str, Any]) -> dict[str, list[str]]:
    """Return the lots of each part: those that it was cut from, and those that it is still to be cut from.

    What was cut again is of the lot that it was cut from last: all that was cut of the part before was spoilt.
    """
    lots: dict[str, list[str]] = {}
    for each in (*built["cuts"], *item["to_cut"]):
        own = lots.setdefault(each["part"], [])
        if each.get("recut"):
            own.clear()
        if each["lot"] not in own:
            own.append(each["lot"])
    return lots


def _weight(built: Mapping[str, Any]) -> Fraction | None:
    """Return what a piece weighed when it was inspected, g."""
    weighed = (built["measured"] or {}).get(_WEIGHT)
    return None if weighed is None else Fraction(round(weighed * 1000), 1000)
