"""A check's answer as JSON carries it: every field with its meaning and unit.

Fields that a caller's key may not see are left out or null; :mod:`api.visibility` says which.
"""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from api.schemas.bases import Out
from api.schemas.figures import Figure, IsoDate, Money, Ratio

Outcome = Literal["refused", "sign_off", "buildable"]
Severity = Literal["refuse", "sign_off", "advise", "notice"]
Bound = Literal["max", "min", "between", "equal", "none"]
Measured = Figure | str | None


class Remedy(Out):
    """A change that was checked and removes the finding without a worse one."""

    change: dict[str, Any] = Field(description="Merge patch (RFC 7396) to the spec.")
    outcome: Outcome = Field(description="The outcome after the change.")
    total: Money | None = Field(None, description="The total after the change, in the answer's currency.")
    says: str = Field(description="The change in words.")


class Alternative(Remedy):
    """A nearby spec with a better outcome, each checked."""

    distance: Figure = Field(description="How far it is from the spec; smaller is nearer.")


class Finding(Out):
    """One rule's word on the spec."""

    id: str = Field(description="Name of the finding within this answer.", examples=["f1"])
    rule: str = Field(description="Id of the rule.", examples=["STK-01"])
    severity: Severity = Field(
        description="refuse: cannot be built so. sign_off: the maker must agree first. Others inform."
    )
    at: list[str] = Field(description="Where in the spec: JSON Pointers.", examples=[["/parts/outside"]])
    subject: dict[str, Any] = Field(description="What it is about: a panel, a seam, a lot, a letter.")
    measured: Measured = Field(None, description="The figure found, in unit.")
    limit: Measured | list[Measured] = Field(
        None,
        description="The figure allowed, in unit; two figures for between. A figure at its limit passes.",
    )
    bound: Bound | None = Field(None, description="How the limit bounds the figure; none where nothing is measured.")
    off_by: Measured = Field(None, description="How far past the limit, in unit.")
    unit: str | None = Field(None, description="Unit of measured, limit and off_by.", examples=["mm"])
    caused_by: str | None = Field(None, description="Id of the finding that explains this one.")
    message: str = Field(description="For the customer.")
    bench_message: str | None = Field(None, description="For the bench, with lots.")
    params: dict[str, Any] = Field(description="The values from which the messages are made.")
    remedies: list[Remedy] = Field(description="Changes that remove it, nearest first.")
    source: str | None = Field(None, description="Where the rule or its limit comes from.")


class PriceLine(Out):
    """One line of the price of a piece."""

    code: str = Field(description="Kind of line.", examples=["base"])
    what: str = Field(description="The line in words.")
    amount: Money = Field(description="Amount per piece, in currency; may be below zero.")


class Tax(Out):
    """Tax within the total."""

    rate: Ratio = Field(description="Rate as a fraction.", examples=["0.20"])
    included: Money = Field(description="Tax within the total, in currency.")
    basis: str = Field(description="Whose rate it is.", examples=["home"])


class Price(Out):
    """The price. Lines sum to each; each x quantity = total."""

    currency: str = Field(description="ISO 4217 code.", examples=["EUR"])
    firm: bool = Field(description="Whether it can be ordered at this price.")
    why_not_firm: str | None = Field(None, description="Why not.")
    lines: list[PriceLine] = Field(description="Lines per piece.")
    each: Money | None = Field(None, description="Price of one piece with tax, in currency.")
    quantity: int = Field(description="Pieces.")
    total: Money | None = Field(None, description="each x quantity, in currency.")
    tax: Tax | None = Field(None, description="Tax within the total.")
    deposit: Money | None = Field(None, description="Due with the order, in currency.")


class Cut(Out):
    """What a part would be cut from."""

    part: str = Field(description="Part.")
    lot: str = Field(description="Lot.")
    pieces: int = Field(description="Panels cut from it.")
    area_dm2: Figure = Field(description="Area taken, with yield, in dm2.")
    thickness_mm: Figure = Field(description="Thickness of the lot as used, in mm.")
    left_after_dm2: Figure | None = Field(None, description="Free area left afterwards, in dm2, if it fits.")
    proof: str | None = Field(None, description="How it was shown to fit.", examples=["layout"])


class Figures(Out):
    """Figures of the piece as it would be built."""

    closed_thickness_mm: Figure | None = Field(None, description="Thickness when closed and filled, in mm.")
    thread_m: Figure | None = Field(None, description="Thread for all pieces, in m.")
    edge_ml: Figure | None = Field(None, description="Edge finish for all pieces, in ml.")
    stack_mm: dict[str, Figure] | None = Field(None, description="Thickness of each seam's stack, in mm.")
    spine_mm: Figure | None = Field(None, description="Thickness of the stack at the spine, in mm.")
    minutes: Figure | None = Field(None, description="Bench minutes of the order.")
    cost: Money | None = Field(None, description="What a piece costs the workshop, in the currency of the price.")
    margin_percent: Figure | None = Field(None, description="Margin on the net price, in percent.")


class RatedFor(Out):
    """What a load-bearing piece is rated for."""

    use: str | None = Field(None, description="The use named.")
    required_n: Figure | None = Field(None, description="Load that it must bear before it breaks, in N.")
    strap_breaks_at_n: Figure | None = Field(None, description="Load at which the strap is taken to break, in N.")
    note: str = Field(description="What it is not for.")


class Resolved(Out):
    """What match came to."""

    thread: str | None = Field(None, description="Code of the thread; null where match was not asked for.")
    edge: str | None = Field(None, description="Code of the edge; null where match was not asked for.")


class Promise(Out):
    """When it can be ready."""

    ready_on: IsoDate | None = Field(None, description="Date of hand-over: a working day, the edge dry.")
    weeks: int | None = Field(None, description="Weeks at the bench's pace.")


class Withdrawal(Out):
    """Whether a buyer at a distance may withdraw. A pointer to check, no legal advice."""

    ground: str | None = Field(None, description="What kind of choice the spec is.", examples=["options_only"])
    law_row: str | None = Field(None, description="Code of the law row.")
    checked_on: IsoDate | None = Field(None, description="When the row was last checked.")
    review_by: IsoDate | None = Field(None, description="Until when the row is taken as it is.")


class Revisions(Out):
    """What the answer was based on: same spec, revisions and date give the same bytes."""

    edition: int | None = Field(None, description="Number of the edition of the workshop's files.", examples=[1])
    catalog: str = Field(description="Catalog revision.", examples=["R12"])
    rule_book: str = Field(description="Hash of the rule book.")
    price_list: str | None = Field(None, description="Hash of the price list.")
    stock: int | None = Field(None, description="Revision of the stock.")
    backlog: int | None = Field(None, description="Revision of the bench's backlog.")


class Explained(Out):
    """One rule's word on the spec, whether it found something or not."""

    rule: str = Field(description="Id of the rule.", examples=["STK-01"])
    kind: str = Field(description="fail (refuses), review (sign-off), informational, pass, notApplicable or open.")
    looked_at: int = Field(description="How many panels, seams or the like it was judged on.")
    subject: dict[str, Any] | None = Field(
        None, description="What decided: the worst of them, of equals the one nearest to its limit."
    )
    measured: Measured = Field(None, description="The figure found there, in unit.")
    limit: Measured | list[Measured] = Field(None, description="The figure allowed, in unit; two for between.")
    bound: Bound | None = Field(None, description="How the limit bounds the figure.")
    unit: str | None = Field(None, description="Unit of measured, limit and room.", examples=["mm"])
    room: Measured = Field(None, description="How far the figure is from its limit, in unit.")


class Sign(Out):
    """One sign of the monogram as it is set."""

    sign: str = Field(description="The sign, exactly as given.")
    name: str = Field(description="Its name in Unicode, to be read out.", examples=["latin capital letter a"])
    asked: int = Field(description="How often the sign has come up to here.")
    in_type: bool | None = Field(None, description="Whether the typeface has it; null while the typeface is open.")
    good: int | None = Field(None, description="Good pieces of type in the case.")
    worn: int | None = Field(None, description="Worn pieces of type.")


class Repeat(Out):
    """What is known of the order that a spec repeats."""

    order: str | None = Field(description="Its id, where it is yours and was cut; lots are then compared (COL-03).")
    not_repeatable_because: list[str] = Field(description="What stands in the way today; empty where it can be made.")


class CheckAnswer(Out):
    """A spec held against the rules and the stock."""

    outcome: Outcome = Field(
        description="refused: some finding refuses. sign_off: the maker must agree first. buildable: neither."
    )
    complete: bool = Field(description="Whether nothing that the pattern needs is missing.")
    headline: str = Field(description="The first finding in one line, at most 120 characters.")
    spec: dict[str, Any] = Field(description="The spec as understood: codes as the catalog writes them.")
    resolved: Resolved = Field(description="What match was resolved to.")
    filled: list[str] = Field(description="Slots filled from the pattern's defaults: JSON Pointers.")
    spec_hash: str = Field(description="SHA-256 over the canonical form (RFC 8785) of spec without reference and note.")
    findings: list[Finding] = Field(description="Worst first, causes before effects.")
    price: Price | None = Field(None, description="The price; null while a part is missing or has no price.")
    cut_from: list[Cut] | None = Field(None, description="What it would be cut from, by part.")
    figures: Figures = Field(description="Figures of the piece; null where something needed is missing.")
    rated_for: RatedFor | None = Field(None, description="What a load-bearing piece is rated for.")
    alternatives: list[Alternative] = Field(description="Nearby specs with a better outcome, nearest first.")
    promise: Promise | None = Field(None, description="When it can be ready.")
    withdrawal: Withdrawal | None = Field(None, description="Right of withdrawal.")
    revisions: Revisions = Field(description="What the answer was based on.")
    as_of: IsoDate = Field(description="The date of the check.")
    valid_until: IsoDate | None = Field(None, description="Until when the price is offered.")
    repeat: Repeat | None = Field(None, description="Where the spec repeats an earlier order.")
    explained: list[Explained] | None = Field(None, description="With explain=all: every rule's word, by id.")
    read_back: list[Sign] | None = Field(None, description="With explain=all: the monogram, sign by sign.")
