"""What can still be chosen, as JSON carries it."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field, StringConstraints

from api.schemas.answer import Finding, Measured, Revisions
from api.schemas.bases import In, Out
from api.schemas.figures import IsoDate, Money
from api.schemas.spec import SpecIn

State = Literal["open", "sign_off", "closed"]
_EMPTY = r"^/(monogram|modifications|hardware/[A-Za-z0-9_.-]{1,40})$"
EmptySlot = Annotated[str, StringConstraints(max_length=50, pattern=_EMPTY)]


class ChoicesIn(SpecIn):
    """A spec of which as much is chosen as is chosen, and what is to stay empty."""

    model_config = ConfigDict(extra="forbid", title="PartialSpec")

    left_out: Annotated[list[EmptySlot], Field(max_length=20)] | None = Field(
        None,
        description="Slots that are to stay empty, by JSON Pointer: /monogram, /modifications (nothing beyond what is"
        " chosen), /hardware/ and a place. A spec itself cannot tell empty from open. Of a slot that the spec fills it"
        " says nothing.",
        examples=[["/monogram"]],
    )


class ChoicesQuery(In):
    """What is answered beside the states and the cheapest totals."""

    figures: Literal["all"] | None = Field(
        None, description="all: also the dearest totals and how many specs there are."
    )


class Reason(Out):
    """A rule that stands in the way, in its own sentence."""

    rule: str = Field(description="Id of the rule.", examples=["STK-01"])
    says: str = Field(description="For the customer.")
    measured: Measured = Field(None, description="Staff: the figure found, in unit.")
    limit: Measured | list[Measured] = Field(None, description="Staff: the figure allowed, in unit; two for between.")
    unit: str | None = Field(None, description="Staff: unit of measured and limit.", examples=["mm"])
    bench_message: str | None = Field(None, description="Staff: for the bench, with lots.")


class OptionOut(Out):
    """One value that a slot may take, all other choices kept."""

    value: Any = Field(
        description="What the next request has at the slot's pointer; of a part its leather and side; of"
        " /modifications one more for the list. null: nothing there; left_out says so by its pointer, of"
        " /monogram/method by /monogram. What a request leaves out is open."
    )
    state: State = Field(
        description="open: some buildable completion uses it. sign_off: only with the maker's agreement. closed: none."
    )
    cheapest: Money | None = Field(
        None, description="Total of the cheapest completion, in the answer's currency; null where exact is false."
    )
    dearest: Money | None = Field(None, description="With figures=all: the total of the dearest one.")
    completions: str | None = Field(
        None,
        description="With figures=all: how many specs use it, as a decimal text, for there may be more than a number"
        " in JSON holds. Lots and letters are not told apart.",
        pattern=r"^[0-9]+$",
    )
    because: list[Reason] | None = Field(
        None,
        description="Only where it is closed: few rules that close it. Empty where no rule does but what else is chosen"
        " of the same monogram: foil colors beside blind letters, nothing beside letters.",
    )


class SlotOut(Out):
    """One thing to choose."""

    slot: str = Field(description="JSON Pointer into the spec.", examples=["/parts/outside"])
    chosen: Any = Field(description="What the spec says of it; null where it is open or to stay empty.")
    options: list[OptionOut] = Field(description="Every value that it may take, closed ones too.")


class WayOut(Out):
    """A change after which the choices stand together."""

    change: dict[str, Any] = Field(description="A merge patch (RFC 7396) of the spec as it was sent.")
    state: State = Field(description="open or sign_off: what the changed choices come to.")
    says: str = Field(description="The change in words.", examples=["Black goat for the inside"])
    cheapest: Money = Field(description="Total of the cheapest spec that it leads to.")
    distance: float = Field(description="How far in color it lies, CIEDE2000, summed.")


class Conflict(Out):
    """Choices that do not stand together."""

    choices: list[list[str]] = Field(
        description="All smallest sets of choices that clash, as JSON Pointers; an empty set where the order's own"
        " facts, what it is to carry say, leave nothing."
    )
    rules: list[Reason] = Field(description="What the rules at work say of the first of them.")
    ways_out: list[WayOut] = Field(
        description="What would do instead: fewest choices changed first, then nearest in color, then cheapest; none"
        " that is nearer is left out. Empty where the order's own facts leave nothing."
    )


class ChoicesAnswer(Out):
    """What can still be chosen where some is."""

    buildable: bool = Field(description="Whether some buildable spec keeps every choice made: state is open.")
    state: State = Field(description="The same of the choices made, with what the maker must agree to told apart.")
    exact: bool = Field(description="false: the pattern is too entangled for prices; states hold all the same.")
    currency: str = Field(description="ISO 4217 code of the totals.", examples=["EUR"])
    quantity: int = Field(description="Pieces that the totals are of.")
    slots: list[SlotOut] = Field(
        description="Every slot of the pattern in a fixed order. Where the pattern is unknown /pattern alone, each as"
        " it stands for one piece with nothing chosen."
    )
    needed: list[str] = Field(
        description="JSON Pointers of what a check would still ask for, facts that are no slot too, the weight of a dog"
        " say. Empty: the spec is complete as it stands, whatever may be added.",
        examples=[["/parts/inside", "/thread"]],
    )
    conflict: Conflict | None = Field(description="Where the choices made clash: which, and by which rules.")
    findings: list[Finding] = Field(
        description="What a check says of choices that do not exist. The slots are answered as if they had not been"
        " made."
    )
    revisions: Revisions = Field(description="What the answer was based on.")
    as_of: IsoDate = Field(description="The date of the answer.")
