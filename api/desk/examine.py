"""A basket held against the stock: item after item, each against what the ones before it leave."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from typing import Any, Final

from pydantic_core import to_json

from api.store.shelf import Shelf, Shelves
from rules.check import checked
from rules.needs import Needs
from rules.shop import Shop
from rules.spec import Spec
from rules.taking import REFUSED, Taking

SIGN_OFF: Final = "sign_off"


@dataclass(frozen=True, slots=True)
class Examined:
    """The verdicts on the items of a basket and what each takes; no needs where one is refused."""

    shelf: Shelf
    answers: tuple[dict[str, Any], ...]
    needs: tuple[Needs, ...]

    @property
    def refused(self) -> bool:
        """Whether any item cannot be made."""
        return any(answer["outcome"] == REFUSED for answer in self.answers)

    @property
    def first_refused(self) -> dict[str, Any]:
        """Return the verdict on the first item that cannot be made."""
        return next(answer for answer in self.answers if answer["outcome"] == REFUSED)


def examine(shelves: Shelves, shelf: Shelf, specs: Sequence[Spec], today: date) -> Examined:
    """Judge items one after another; each leaves less for the next.

    Since each layout is joint with the panels of all holds and of the items before, the needs of a
    basket that is not refused lie together.
    """
    taking, answers, needs = Taking(shelf.shop, shelves.without), [], []
    for spec in specs:
        answer, verdict = checked(taking.shop, spec, today=today)
        answers.append(answer)
        if verdict.outcome != REFUSED:
            needs.append(taking.take(verdict))
    return Examined(shelf, tuple(answers), tuple(needs))


def to_agree(answer: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the findings of a verdict that need the maker's agreement."""
    return [finding for finding in answer["findings"] if finding["severity"] == SIGN_OFF]


_LOTS: Final = ("lot", "lots")


def signature_of(shop: Shop, answer: Mapping[str, Any], finding: Mapping[str, Any]) -> str:
    """Return what an agreement is about, as a hash: the rule as it is worded now, the place and the figures.

    Lots are left out: an agreement says itself whether it is for one lot alone. So is what is measured at a stage after
    the check, which grows with every day: the maker agreed to be past the limit, not to one day of it.
    """
    at_stage = "item" in finding
    facts = [
        shop.book.describe(finding["rule"]),
        answer["spec"]["pattern"],
        finding["at"],
        {name: value for name, value in finding["subject"].items() if name not in _LOTS},
        None if at_stage else finding["measured"],
        finding["limit"],
        {name: value for name, value in finding["params"].items() if name not in _LOTS},
    ]
    return sha256(to_json(facts)).hexdigest()
