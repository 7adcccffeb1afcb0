"""Measures of the lengths that a spec states, for the slip of writing inches where mm are asked for (CAT-09)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from catalog.model import Number
from rules.case import Case
from rules.choices import mm_text
from rules.inches import Length, least_um, lengths_of, may_be_inches, mm_of_inches
from rules.subjects import Scope
from rules.vocabulary import Group, Lister, number, subject


@dataclass(frozen=True)
class LengthUse(Scope):
    """A length that the spec states."""

    length: Length

    @property
    def at(self) -> tuple[str, ...]:
        """Its place in the spec."""
        return (self.length.at,)

    @property
    def subject(self) -> dict[str, Any]:
        """The name of the length."""
        return {"length": self.length.at.rsplit("/", 1)[1]}

    @property
    def words(self) -> dict[str, str]:
        """What it is, and what it comes to if it was inches."""
        given = self.length.um
        inches = f"Did you mean {mm_text(given)} inches? That is {mm_text(mm_of_inches(given))} mm."
        hint = inches if may_be_inches(self.piece, self.length) else "Please measure again, in mm."
        return {"what": self.length.words, "hint": hint}


def _of(*slots: str) -> Lister:
    def instances(case: Case, _: Group | None) -> Iterable[LengthUse]:
        return (LengthUse(case, each) for each in lengths_of(case.piece.spec) if each.slot in slots)

    return Lister(frozenset(slots), instances, only_with=slots[0])


@subject("length", "each length that the spec states", ("what", "hint"), listers=(_of("sizes"), _of("carry")))
def lengths(case: Case) -> Iterator[LengthUse]:
    """List the lengths of belts, leads, blades and notebooks, as far as they are stated."""
    return (LengthUse(case, each) for each in lengths_of(case.piece.spec))


@number("length.given", "mm", "length as it is stated", reads=["sizes", "carry"])
def given(use: LengthUse) -> int:
    """Return the figure as stated, um."""
    return use.length.um


@number("length.least", "mm", "the least that can be meant", reads=["sizes", "carry"])
def least(use: LengthUse) -> Number:
    """Return the least that can be meant in mm, um: whatever is shorter is likely to be in inches."""
    return least_um(use.piece, use.length)
