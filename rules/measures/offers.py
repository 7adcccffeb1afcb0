"""Measures of a quote: how long it is set aside, how old its price is, deposit, discount, letters read back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, ClassVar

from rules.job import Item, Job
from rules.subjects import Plain, Scope
from rules.vocabulary import number, stage_subject, truth, word

#: Shown for a space, so that nobody overlooks one.
MIDDLE_DOT = "\u00b7"


@dataclass(frozen=True)
class Offer(Plain):
    """A quote as a whole. It has no case: what it is about are its items."""

    job: Job
    case: ClassVar[None] = None

    @property
    def at(self) -> tuple[str, ...]:
        """The whole of it."""
        return ("",)

    @property
    def subject(self) -> dict[str, Any]:
        """The quote."""
        return {"quote": True}

    @property
    def params(self) -> dict[str, Any]:
        """The moment at which the hold lapses."""
        return {"until": self.job.until or None}

    @property
    def words(self) -> dict[str, str]:
        """Until when it is set aside, and the last day of its price."""
        valid = self.job.valid_until
        return {"until": self.job.until, "valid_until": "" if valid is None else valid.isoformat()}


@stage_subject("offer", "the quote as a whole", ("until", "valid_until"), stages=("quote",), has_case=False)
def the_offer(job: Job) -> Iterator[Offer]:
    """List the quote."""
    yield Offer(job)


@word("offer.hold", "what is set aside, and for how long", reads=(), levels=("none", "cart", "quote", "order"))
def hold(offer: Offer) -> str | None:
    """Return cart, quote, order, or none where nothing is set aside."""
    return offer.job.hold


@truth("offer.lost", "what could be set aside no longer can", reads=())
def lost(offer: Offer) -> bool | None:
    """Whether the stock changed so that what was buildable is not there any more."""
    return offer.job.lost


@number("offer.age", "days", "days since the price was worked out", reads=())
def age(offer: Offer) -> int | None:
    """Return the days since the check; None where the price is agreed for good."""
    return None if offer.job.as_of is None else (offer.job.today - offer.job.as_of).days


@number("offer.validity", "days", "days for which the price stands", reads=())
def validity(offer: Offer) -> int | None:
    """Return the days from the check to the last day of its price."""
    job = offer.job
    return None if job.as_of is None or job.valid_until is None else (job.valid_until - job.as_of).days


@dataclass(frozen=True)
class PricedItem(Scope):
    """An item of a quote with its price."""

    item: Item

    @property
    def at(self) -> tuple[str, ...]:
        """How many were asked for."""
        return ("/quantity",)

    @property
    def words(self) -> dict[str, str]:
        """Deposit with its currency, what the discount is called, how many pieces."""
        price = self.item.price or {}
        named = next((line["what"] for line in _breaks(self.item)), "")
        return {
            "deposit": f"{price.get('deposit', '')} {price.get('currency', '')}".strip(),
            "discount": named,
            "quantity": str(self.piece.quantity),
        }


def _breaks(item: Item) -> list[Any]:
    return [line for line in (item.price or {}).get("lines", ()) if line["code"] == "quantity_break"]


@stage_subject(
    "item", "each item with its price", ("deposit", "discount", "quantity"), stages=("quote",), has_case=True
)
def each_item(item: Item) -> Iterator[PricedItem]:
    """List the item, where it has a price."""
    if item.price is not None:
        yield PricedItem(item.case, item)


@truth("item.deposit_asked", "a deposit is asked for", reads=())
def deposit_asked(use: PricedItem) -> bool | None:
    """Whether part of the price is due before the work begins."""
    deposit = (use.item.price or {}).get("deposit")
    return None if deposit is None else any(sign in "123456789" for sign in str(deposit))


@truth("item.discounted", "a discount for the quantity is taken off", reads=())
def discounted(use: PricedItem) -> bool:
    """Whether the price has a line for the quantity."""
    return bool(_breaks(use.item))


@dataclass(frozen=True)
class Inscription(Scope):
    """The letters of an item exactly as they will be struck."""

    text: str

    @property
    def at(self) -> tuple[str, ...]:
        """The text."""
        return ("/monogram/text",)

    @property
    def params(self) -> dict[str, Any]:
        """The letters as they were asked for."""
        return {"text": self.text}

    @property
    def words(self) -> dict[str, str]:
        """The letters with each space made visible."""
        return {"letters": self.text.replace(" ", MIDDLE_DOT)}


@stage_subject("inscription", "the letters as they will be struck", ("letters",), stages=("quote",), has_case=True)
def the_inscription(item: Item) -> Iterator[Inscription]:
    """List the letters, if any are asked for."""
    monogram = item.case.piece.spec.monogram
    if monogram is not None:
        yield Inscription(item.case, monogram.text)


@number("inscription.signs", "count", "signs that will be struck", reads=())
def signs(use: Inscription) -> int:
    """Return how many signs are struck; a space is none."""
    return len(use.text.replace(" ", ""))
