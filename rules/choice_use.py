"""The subject "choice": one slot of the spec or one code named in it (CAT, EDG-02, MON-08)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from catalog.model import Pattern
from rules.case import Case
from rules.choices import LISTS, Choice, List, choices_of
from rules.subjects import Scope
from rules.vocabulary import Group, Lister, subject


@dataclass(frozen=True)
class ChoiceUse(Scope):
    """One slot of the spec or one code named in it."""

    choice: Choice

    @property
    def at(self) -> tuple[str, ...]:
        """The slot."""
        return (self.choice.at,)

    @property
    def subject(self) -> dict[str, Any]:
        """The noun."""
        return {"what": self.choice.what}

    @property
    def params(self) -> dict[str, Any]:
        """What was given, the nearest code, what is allowed."""
        choice = self.choice
        found = {"given": choice.given or None, "nearest": choice.nearest, "default": choice.default}
        return {name: value for name, value in found.items() if value is not None} | (
            {"allowed": list(choice.allowed)} if choice.allowed else {}
        )

    @property
    def words(self) -> dict[str, str]:
        """Given, nearest, allowed, default, and the noun in words."""
        choice = self.choice
        hint = f" Did you mean {choice.nearest}?" if choice.nearest else ""
        allowed = f" Possible: {', '.join(choice.allowed)}." if choice.allowed else ""
        return {
            "given": choice.given, "what": choice.words, "hint": hint, "allowed": allowed,
            "pattern": "this piece" if self.piece.pattern is None else self.piece.pattern.name,
        }  # fmt: skip


def _lister(each: List) -> Lister:
    def instances(case: Case, group: Group | None) -> Iterable[ChoiceUse]:
        return (ChoiceUse(case, choice) for choice in each.listed(case.piece, group or ()))

    groups = _each_part_alone if each.by_part else None
    return Lister(each.reads, instances, groups, own=each.by_part, only_with=each.only_with)


def _each_part_alone(pattern: Pattern, _: Iterable[Group]) -> Iterable[Group]:
    return ((part,) for part in pattern.parts)


@subject(
    "choice",
    "each choice and code of the spec",
    ("given", "what", "hint", "allowed", "pattern"),
    listers=tuple(_lister(each) for each in LISTS),
)
def each_choice(case: Case) -> Iterator[ChoiceUse]:
    """List every choice of the spec."""
    return (ChoiceUse(case, choice) for choice in choices_of(case.piece))
