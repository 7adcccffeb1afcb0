"""What is told of a row: the cells beside the caller's own, or a line of JSON."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from api.desk.repeats import with_repeat
from api.figures import figure, money
from api.lists.columns import ANSWERS, LOTS, TOOK, RowError
from api.lists.judging import Answered, Mode
from api.visibility import OWNER_RULES, Caller, view
from catalog.model import Catalog
from rules.brief import Brief, Fired
from rules.bulk import Briefs
from rules.check import answer_of
from rules.needs import SUPPLY_FIELDS, Needs
from rules.stock import need_um2
from rules.table import Codes

#: The unit in which a supply is told, by noun, and the unit of the catalog's figures.
_UNITS: Final[Mapping[str, tuple[str, str]]] = {
    "thread": ("m", "m"), "edge": ("ml", "ml"), "foil": ("m", "m"), "hardware": ("count", "pieces"),
}  # fmt: skip
Took = list[dict[str, Any]]


def columns_of(mode: Mode, caller: Caller) -> tuple[str, ...]:
    """Return the names of our columns in a mode, for a class of keys."""
    return (*ANSWERS, *(() if mode == "independent" else TOOK), *(LOTS if caller >= Caller.STAFF else ()))


class Teller:
    """Tells of rows to one class of keys."""

    def __init__(self, mode: Mode, caller: Caller, catalog: Catalog, gap_um: int, today: date) -> None:
        """Keep who is told, and the stock at the beginning."""
        self._caller = caller
        self._mode = mode
        self._catalog = catalog
        self._gap_um = gap_um
        self._as_of = today.isoformat()
        self.columns = columns_of(mode, caller)
        self._blank = ("",) * len(self.columns)

    def cells(self, answered: Answered) -> tuple[str, ...]:
        """Return our cells of a row as text; none says anything where the row is empty."""
        error, brief = answered.asked.error, answered.brief
        if error is not None:
            return self._error(error)
        return self._blank if brief is None else self.of_brief(brief, answered)

    def _error(self, error: RowError) -> tuple[str, ...]:
        return tuple(str(error) if name == "qf_error" else "" for name in self.columns)

    def of_brief(self, brief: Brief, answered: Answered | None = None) -> tuple[str, ...]:
        """Return our cells of a row that was judged."""
        found = [
            brief.outcome,
            brief.headline,
            self.rules(brief.fired),
            *self._price(brief.total_minor),
            _day(brief.ready_on),
            self._as_of,
            "",
        ]
        if self._mode != "independent":
            assert answered is not None, "what a row took is known"
            found += [_took_text(self.took(answered.needs)), "; ".join(answered.ran_out)]
        if self._caller >= Caller.STAFF:
            found.append(_lots(brief.lots))
        return tuple(found)

    def of_briefs(self, briefs: Briefs) -> list[NDArray[np.object_]]:
        """Return our cells of rows that were judged in the mode independent, column by column."""
        minor, places = np.unique(briefs.totals, return_inverse=True)
        prices = [self._price(None if each < 0 else each) for each in minor.tolist()]
        words, rows = briefs.words, len(briefs.totals)
        found = [
            _spread([word.outcome for word in words.values], words.codes),
            _spread(briefs.headlines.values, briefs.headlines.codes),
            _spread([self.rules(word.fired) for word in words.values], words.codes),
            *(_spread([price[place] for price in prices], places) for place in range(2)),
            _spread([_day(day) for day in briefs.ready_on.values], briefs.ready_on.codes),
            np.full(rows, self._as_of, dtype=object),
            np.full(rows, "", dtype=object),
        ]
        if self._caller >= Caller.STAFF:
            found.append(_spread([_lots(lots) for lots in briefs.lots.values], briefs.lots.codes))
        return found

    def _price(self, minor: int | None) -> tuple[str, str]:
        shop = self._catalog.workshop
        return ("", "") if minor is None else (money(minor, shop.minor_digits), shop.currency)

    def rules(self, fired: Iterable[Fired]) -> str:
        """Return the ids of the rules that fired, each once, the worst first."""
        hidden = OWNER_RULES if self._caller < Caller.OWNER else frozenset()
        return " ".join(dict.fromkeys(rule for rule, _ in fired if rule not in hidden))

    def took(self, needs: Needs | None) -> Took:
        """Return what a row takes, by code: leather by area with waste, not by lot."""
        return [] if needs is None else list(self._took(needs))

    def _took(self, needs: Needs) -> Iterator[dict[str, Any]]:
        lots, leathers = self._catalog.lots, self._catalog.leathers
        for leather in dict.fromkeys(lots[taken.lot].leather for taken in needs.panels):
            panels = [taken.held for taken in needs.panels if lots[taken.lot].leather == leather]
            area = need_um2(panels, self._gap_um, leathers[leather].kind)
            yield {"code": leather, "amount": figure(area, "dm2"), "unit": "dm2"}
        for noun, fields in SUPPLY_FIELDS.items():
            base, unit = _UNITS[noun]
            for code, amount in sorted(getattr(needs, fields.need).items()):
                yield {"code": code, "amount": figure(amount, base), "unit": unit}

    def line(self, answered: Answered) -> dict[str, Any]:
        """Return a row as JSON: its number, the verdict as a single check gives it, what it took."""
        asked, verdict, shop = answered.asked, answered.verdict, answered.shop
        found: dict[str, Any] = {"row": asked.number, "check": None, "error": None}
        if asked.error is not None:
            found["error"] = {"pointer": asked.error.column, "detail": asked.error.reason}
        elif verdict is not None and shop is not None:
            found["check"] = view(with_repeat(answer_of(shop, verdict), verdict.case.piece.spec), self._caller)
        if self._mode != "independent":
            found |= {"took": self.took(answered.needs), "ran_out": list(answered.ran_out)}
        return found


def _day(day: date | None) -> str:
    return "" if day is None else day.isoformat()


def _lots(lots: Mapping[str, tuple[str, ...]]) -> str:
    return " ".join(f"{part}:{','.join(codes)}" for part, codes in lots.items())


def _spread(values: Sequence[str], codes: Codes) -> NDArray[np.object_]:
    return np.array(values, dtype=object)[codes]


def _took_text(took: Took) -> str:
    return "; ".join(f"{each['code']} {each['amount']:g} {each['unit']}" for each in took)
