"""Measures of the lots that an item is cut from: how sure what is written of them is, and their papers.

Asked when a quote is made and before the knife (THK, STO, LAW). A check does not ask: the thickness that a lot is
said to have is the best that is known, and nobody measures before an order.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from catalog.model import Lot, Number
from rules.job import Item
from rules.subjects import Scope
from rules.vocabulary import number, stage_subject, truth, word

#: Species whose hides are bovine for customs (headings 4101, 4104, 4107; from memory).
BOVINE = frozenset({"cattle", "calf", "bison", "buffalo", "yak"})


@dataclass(frozen=True)
class LotUse(Scope):
    """A lot that some parts of an item are cut from."""

    lot: Lot
    used_in: tuple[str, ...]

    @property
    def parts(self) -> tuple[str, ...]:
        """The parts cut from it."""
        return self.used_in

    @property
    def subject(self) -> dict[str, Any]:
        """The lot."""
        return {"lot": self.lot.code}

    @property
    def params(self) -> dict[str, Any]:
        """Its leather."""
        return {"leather": self.lot.leather}

    @property
    def words(self) -> dict[str, str]:
        """The lot, its leather."""
        leather = self.piece.catalog.leathers[self.lot.leather]
        return {"lot": self.lot.code, "leather": leather.name}


@stage_subject("lot", "each lot that is cut from", ("lot", "leather"), stages=("quote", "cut"), has_case=True)
def each_lot(item: Item) -> Iterator[LotUse]:
    """List the lots of an item, each once."""
    parts: dict[str, list[str]] = {}
    lots: dict[str, Lot] = {}
    for part in item.case.piece.parts:
        for lot in item.case.lots_for(part):
            parts.setdefault(lot.code, []).append(part)
            lots[lot.code] = lot
    for code, lot in lots.items():
        yield LotUse(item.case, lot, tuple(parts[code]))


def _days_since(day: date | None, today: date) -> int | None:
    return None if day is None else (today - day).days


@number("lot.measured_ago", "days", "days since its thickness was measured", reads=())
def measured_ago(use: LotUse) -> int | None:
    """Return the days since the thickness was measured; None where nobody keeps book of it."""
    return _days_since(use.lot.care.measured_on, use.case.today)


@truth("lot.never_measured", "its thickness was never measured here", reads=())
def never_measured(use: LotUse) -> bool | None:
    """Whether the thickness is the mill's word alone."""
    return use.lot.care.never_measured


@truth("lot.damp", "it was measured damp", reads=())
def damp(use: LotUse) -> bool | None:
    """Whether it was damp, cased for carving say, when it was measured."""
    return use.lot.care.measured_damp


@number("lot.humidity", "percent", "humidity of the air when it was measured", reads=())
def humidity(use: LotUse) -> Number | None:
    """Return the relative humidity, percent."""
    return use.lot.care.humidity_percent


@number("lot.counted_ago", "days", "days since it was counted", reads=())
def counted_ago(use: LotUse) -> int | None:
    """Return the days since what is left was looked at; None where nobody keeps book of it."""
    return _days_since(use.lot.care.counted_on, use.case.today)


@truth("lot.bovine", "it is a bovine hide", reads=())
def bovine(use: LotUse) -> bool:
    """Whether the hide is bovine."""
    return use.piece.catalog.leathers[use.lot.leather].kind.species in BOVINE


@word(
    "lot.forest_statement",
    "statement on deforestation",
    reads=(),
    levels=("not_asked", "stated", "missing"),
)
def forest_statement(use: LotUse) -> str | None:
    """Return whether a supplier's statement is asked for and there; None where nobody keeps book of it."""
    care = use.lot.care
    if care.forest_asked is None:
        return None
    if not care.forest_asked:
        return "not_asked"
    return "missing" if care.forest_statement is None else "stated"
