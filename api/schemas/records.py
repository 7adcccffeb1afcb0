"""Quotes, orders and sign-offs as JSON carries them."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, Field, StringConstraints

from api.schemas.answer import CheckAnswer
from api.schemas.bases import In, Out
from api.schemas.figures import (
    Area,
    Code,
    Day,
    IsoDate,
    Line,
    Measure,
    Millimeters,
    Money,
    Prose,
    Slot,
    WholeNumber,
)
from api.schemas.spec import SpecIn, keyed
from api.schemas.stages import StageFinding

MOST_ITEMS = 20
MOST_RECTANGLES = 50
RecordId = Annotated[str, StringConstraints(pattern=r"^[A-Za-z][0-9]{1,15}$", max_length=16)]
ItemNumber = Annotated[int, Field(ge=1, le=MOST_ITEMS), WholeNumber]
Amount = Annotated[str, StringConstraints(pattern=r"^[0-9]{1,12}(\.[0-9]{1,3})?$", max_length=16)]
Rectangle = Annotated[list[Millimeters], Field(min_length=2, max_length=2)]
Rectangles = Annotated[list[Rectangle], Field(max_length=MOST_RECTANGLES)]


class QuoteItemIn(In):
    """One item of a basket."""

    spec: SpecIn = Field(description="A complete spec.")


class QuoteIn(In):
    """What is to be frozen, priced and set aside, all of it or nothing."""

    items: Annotated[list[QuoteItemIn], Field(min_length=1, max_length=MOST_ITEMS)] = Field(
        description="The specs, in the order in which they are given stock."
    )
    hold: Literal["cart", "quote"] = Field(
        "cart",
        description="cart: set aside for 30 minutes. quote: to the end of valid_until, by the workshop.",
    )
    reference: Line | None = Field(None, description="The caller's own name for it; the first spec's if absent.")


class RenewIn(In):
    """Set aside anew, or for longer."""

    kind: Literal["renew"] = Field(description="What happened.")


class WithdrawIn(In):
    """Give back what is set aside."""

    kind: Literal["withdraw"] = Field(description="What happened.")
    reason: Prose | None = Field(None, description="Why, in words.")


class ForgetIn(In):
    """Delete the customer's own text: note, reference, letters of a monogram."""

    kind: Literal["forget"] = Field(description="What happened.")


QuoteEntryIn = Annotated[RenewIn | WithdrawIn | ForgetIn, Field(discriminator="kind")]


class PaymentIn(In):
    """What the caller's payment service said; recorded as told, never judged."""

    reference: Line | None = Field(None, description="The payment's own name.")
    state: Literal["none", "authorized", "paid"] = Field(description="How far the payment is.")
    amount: Amount | None = Field(None, description="Amount in the quote's currency.")


class OrderIn(In):
    """A quote to be accepted."""

    quote: RecordId = Field(description="Id of the quote.", examples=["Q12"])
    payment: PaymentIn = Field(description="What the caller's payment service said.")


class PinIn(In):
    """Cut a part from another lot than the one it was given."""

    kind: Literal["pin"] = Field(description="What happened.")
    item: ItemNumber = Field(description="Number of the item, from 1.")
    part: Slot = Field(description="Key of the part.")
    lot: Code = Field(description="Code of the lot.")
    reason: Prose = Field(description="Why, in words.")


class CutIn(In):
    """What was cut from a lot for a part; what is left of it is stated, or worked out by straight cuts."""

    kind: Literal["cut"] = Field(description="What happened.")
    item: ItemNumber = Field(description="Number of the item, from 1.")
    part: Slot = Field(description="Key of the part.")
    lot: Code = Field(description="Code of the lot.")
    rectangles_left_mm: Rectangles | None = Field(None, description="What is left: [along, across] the backbone, mm.")
    area_left_dm2: Area | None = Field(None, description="Area left, dm2.")
    reason: Prose | None = Field(None, description="Why, in words.")


class RecutIn(CutIn):
    """A spoilt part cut again."""

    kind: Literal["recut"] = Field(description="What happened.")  # type: ignore[assignment]  # the tag that tells the two apart
    reason: Prose = Field(description="Why, in words.")


class InspectIn(In):
    """What was measured on a finished piece."""

    kind: Literal["inspect"] = Field(description="What happened.")
    item: ItemNumber = Field(description="Number of the item, from 1.")
    measured: dict[Slot, Measure] = Field(
        max_length=20,
        description="Figures by name, the unit in the name: closed_thickness_mm.",
        json_schema_extra=keyed,
    )


class ShipIn(In):
    """It leaves the workshop."""

    kind: Literal["ship"] = Field(description="What happened.")


class AmendItemIn(In):
    """An item as it is to be now."""

    item: ItemNumber = Field(description="Number of the item, from 1.")
    spec: SpecIn = Field(description="The spec as it is to be now.")


class AmendIn(In):
    """Change items of an order that is not cut yet."""

    kind: Literal["amend"] = Field(description="What happened.")
    items: Annotated[list[AmendItemIn], Field(min_length=1, max_length=MOST_ITEMS)] = Field(
        description="The items to be changed, each as it is to be now."
    )


class CancelIn(In):
    """Give the order up; what is not cut is free again."""

    kind: Literal["cancel"] = Field(description="What happened.")
    reason: Prose | None = Field(None, description="Why, in words.")


OrderEntryIn = Annotated[
    PinIn | CutIn | RecutIn | InspectIn | ShipIn | AmendIn | CancelIn | ForgetIn, Field(discriminator="kind")
]


class SignOffIn(In):
    """The maker's word on one finding of one item of a quote."""

    quote: RecordId = Field(description="Id of the quote.")
    item: ItemNumber = Field(description="Number of the item, from 1.")
    finding: Code = Field(
        description="Id of the finding in the item's check or in the quote's findings.", examples=["f1"]
    )
    decision: Literal["given", "refused"] = Field("given", description="What the maker says.")
    note: Prose | None = Field(None, description="A word on it, for the workshop.")
    scope: Literal["this_item", "this_lot", "until"] = Field(
        "this_item",
        description="this_item: here alone. this_lot: wherever the same finding comes from the same lots. until:"
        " wherever the same finding comes, to a date.",
    )
    until: Day | None = Field(None, description="The last day, with the scope until.")


class Entry(Out):
    """One line of a record's history."""

    id: str = Field(description="Its id.")
    at: str = Field(description="Moment, UTC.")
    by: str | None = Field(None, description="Id of the key, or what acted by itself.")
    kind: str = Field(description="What happened.")


class SignOff(Out):
    """The maker's word on one finding, or the question for it."""

    id: str = Field(description="Its id.")
    created_at: str = Field(description="Moment at which it was made, UTC.")
    state: Literal["asked", "given", "refused", "void"] = Field(description="Where it stands.")
    quote: str = Field(description="Id of the quote.")
    item: int = Field(description="Number of the item, from 1.")
    finding: str = Field(description="Id of the finding in the item's check or in the quote's findings.")
    rule: str = Field(description="Id of the rule.")
    scope: str | None = Field(None, description="How far the agreement reaches.")
    until: IsoDate | None = Field(None, description="The last day of the agreement.")


class Hold(Out):
    """What is set aside."""

    kind: Literal["cart", "quote", "order"] = Field(description="For how long: a cart, a quote, an order.")
    until: str | None = Field(None, description="Moment at which it lapses, UTC; null: until it is cut.")
    state: Literal["live", "short", "lapsed", "released", "used"] = Field(description="Where it stands.")


class RecordItem(Out):
    """One item: the spec as sent, the verdict at the time, the agreements that it needs."""

    item: int = Field(description="Number of the item, from 1.")
    spec: dict[str, Any] = Field(description="The spec as it was sent.")
    check: CheckAnswer = Field(description="The verdict at the time.")
    sign_offs: list[SignOff] = Field(description="The agreements that it needs.")


class Quote(Out):
    """A basket frozen and priced, with all that it takes set aside."""

    id: str = Field(examples=["Q12"], description="Its id.")
    created_at: str = Field(description="Moment at which it was made, UTC.")
    state: Literal["held", "awaiting_sign_off", "short", "ordered", "lapsed", "withdrawn"] = Field(
        description="Where it stands."
    )
    reference: str | None = Field(None, description="The caller's own name for it.")
    currency: str = Field(description="ISO 4217.")
    total: Money = Field(description="What all items cost.")
    valid_until: IsoDate = Field(description="Last day on which the price stands.")
    hold: Hold = Field(description="What is set aside for it, and until when.")
    items: list[RecordItem] = Field(description="Its items, in the order in which they were sent.")
    findings: list[StageFinding] = Field(description="What the rules say of it now, beside the checks; worst first.")
    entries: list[Entry] = Field(description="Oldest first.")


class Order(Out):
    """A quote accepted."""

    id: str = Field(examples=["O13"], description="Its id.")
    created_at: str = Field(description="Moment at which it was made, UTC.")
    state: Literal["open", "cut", "shipped", "cancelled"] = Field(description="Where it stands.")
    quote: str = Field(description="Id of the quote.")
    reference: str | None = Field(None, description="The caller's own name for it.")
    currency: str = Field(description="ISO 4217.")
    total: Money = Field(description="What all items cost.")
    payment: dict[str, Any] = Field(description="What the caller's payment service said.")
    ready_on: IsoDate | None = Field(None, description="The day on which the last item is ready.")
    hold: Hold = Field(description="What is set aside for it, and until when.")
    items: list[RecordItem] = Field(description="Its items, in the order in which they were sent.")
    as_built: list[dict[str, Any]] = Field(description="What each piece is made of, with what the bench recorded.")
    entries: list[Entry] = Field(description="Oldest first.")


class Summary(Out):
    """A record in a list."""

    id: str = Field(description="Its id.")
    created_at: str = Field(description="Moment at which it was made, UTC.")
    state: str = Field(description="Where it stands.")


class SummaryList(BaseModel):
    """Records in the order in which they were made."""

    items: list[Summary] = Field(description="The entries of the list.")
    next: str | None = Field(description="The id to send as after for the rest; null at the end.")


class SignOffList(BaseModel):
    """Sign-offs in the order in which they were asked for."""

    items: list[SignOff] = Field(description="The entries of the list.")
    next: str | None = Field(description="The id to send as after for the rest; null at the end.")


class ListQuery(In):
    """Which records."""

    reference: Line | None = Field(None, description="Only those with this reference.")
    after: RecordId | None = Field(None, description="Only those made after this one.")
    limit: Annotated[int, Field(ge=1, le=100)] = Field(50, description="How many at most.")


class SignOffQuery(In):
    """Which sign-offs."""

    state: Literal["asked", "given", "refused", "void"] | None = Field(None, description="Only those in this state.")
    after: RecordId | None = Field(None, description="Only those asked for after this one.")
    limit: Annotated[int, Field(ge=1, le=100)] = Field(50, description="How many at most.")
