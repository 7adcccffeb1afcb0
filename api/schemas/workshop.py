"""The workshop's public facts and its price list as JSON carries them."""

from __future__ import annotations

from pydantic import BaseModel, Field

from api.schemas.figures import Figure, Money


class WorkshopOut(BaseModel):
    """What a customer may know of the workshop."""

    code: str = Field(description="Code.")
    name: str = Field(description="Name.")
    currency: str = Field(description="ISO 4217 code of every amount.")
    vat_percent: Figure = Field(description="Tax within prices, in percent.")
    home_country: str = Field(description="Country (ISO 3166).")
    time_zone: str = Field(description="Time zone (IANA) of every date.")
    working_weekdays: list[str] = Field(description="Days on which it works.")
    rush_weeks: int = Field(description="Weeks promised for a rush order.")
    rush_percent: Figure = Field(description="Surcharge for a rush order, in percent.")
    quote_days: int = Field(description="Days for which a price is offered.")
    deposit_percent: Figure = Field(description="Deposit in percent of the total.")
    deposit_from: Money = Field(description="Total from which a deposit is due, in currency.")


class ModificationOut(BaseModel):
    """A small change that a customer may ask for."""

    code: str = Field(description="Code.", examples=["hidden_slot"])
    name: str = Field(description="Name.")


class CatalogOut(BaseModel):
    """The catalog at a glance."""

    revision: str = Field(description="Revision.", examples=["R12"])
    content_hash: str = Field(description="Hash of the catalog's files.")
    rule_book_hash: str = Field(description="Hash of the rule book.")
    workshop: WorkshopOut = Field(description="The workshop.")
    modifications: list[ModificationOut] = Field(description="Modifications.")
    uses: list[str] = Field(description="Uses that a spec may name.")
    claims: list[str] = Field(description="Claims that a spec may name; none of them is promised.")
    links: dict[str, str] = Field(description="Where the lists are, by name.")


class BreakOut(BaseModel):
    """A discount from a quantity on."""

    from_: int = Field(alias="from", description="Quantity from which it holds.")
    percent: Figure = Field(description="Percent off.")


class PointOut(BaseModel):
    """How totals are rounded up."""

    round: str = Field(description="Direction.")
    from_: Money = Field(alias="from", description="Amount from which step holds, in currency.")
    step: Money = Field(description="Rounded to a multiple of this, in currency.")
    step_below: Money = Field(description="Below from, rounded to a multiple of this, in currency.")


class SurchargeOut(BaseModel):
    """What is added to the price of a piece under a condition."""

    code: str = Field(description="Code of its line.", examples=["reverse_out"])
    says: str = Field(description="Its line in words; {count} stands for how many are charged.")
    amount: Money = Field(description="Once a piece, or for each one counted, in currency.")
    when: str = Field(description="The condition in words.")
    for_each: str | None = Field(None, description="What is counted; null: charged once a piece.")
    beyond: int = Field(description="How many of what is counted are free.")


class PriceListOut(BaseModel):
    """The price list, tax included."""

    currency: str = Field(description="ISO 4217 code of every amount.")
    bands: list[str] = Field(description="Price bands, cheapest first.")
    reference_band: str = Field(description="Band that other parts are held against.")
    base: dict[str, dict[str, Money]] = Field(
        description="Price by pattern and band of the outside leather; a missing cell is priced by hand."
    )
    part_share: dict[str, Figure] = Field(
        description="For another part: share of the gap between base of its band and of the reference band."
    )
    surcharges: list[SurchargeOut] = Field(description="Added where their condition holds, in the order of the lines.")
    quantity_breaks: list[BreakOut] = Field(description="Discounts by quantity.")
    price_point: PointOut = Field(description="Rounding.")
