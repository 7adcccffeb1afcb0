"""What came of a list in all: how many rows of each outcome and rule, and what would be short for all of them."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from fractions import Fraction
from typing import Any

import numpy as np

from api.figures import figure, money
from api.lists.judging import Answered
from api.visibility import OWNER_RULES, Caller
from rules.asked import asked_um2
from rules.best import Measure, Selection
from rules.brief import Brief, Fired
from rules.bulk import Briefs
from rules.case import Case
from rules.sheet import Kept
from rules.shop import Shop
from rules.table import Table
from rules.taking import REFUSED

_STOCK = "STO-"


class Tally:
    """Counts rows as they come."""

    def __init__(self, shop: Shop) -> None:
        """Begin with none; ``shop`` has the stock at the beginning."""
        self._shop = shop
        self.rows = 0
        self.empty = 0
        self.unreadable = 0
        self.outcomes: Counter[str] = Counter()
        self.rules: Counter[tuple[str, str]] = Counter()
        self._asked_um2: defaultdict[str, Fraction] = defaultdict(Fraction)
        self._total_minor = 0
        self._ran_out: dict[str, int] = {}

    def add(self, answered: Answered) -> None:
        """Count a row."""
        self.rows += 1
        brief, verdict = answered.brief, answered.verdict
        if answered.asked.error is not None:
            self.unreadable += 1
        elif brief is None or verdict is None:
            self.empty += 1
        else:
            self.add_brief(brief)
            self.ask(verdict.case, brief)
            for code in answered.ran_out:
                self._ran_out.setdefault(code, answered.asked.number)

    def add_brief(self, brief: Brief) -> None:
        """Count a verdict."""
        self.outcomes[brief.outcome] += 1
        self.rules.update(brief.fired)
        if brief.outcome != REFUSED:
            self._total_minor += brief.total_minor or 0

    def add_briefs(self, briefs: Briefs, table: Table, kept: Kept) -> None:
        """Count the verdicts on the rows of a table."""
        words, totals = briefs.words, np.maximum(briefs.totals, 0)
        self.rows += table.rows
        asking = np.zeros(len(words.values), dtype=bool)
        counts = np.bincount(words.codes, minlength=len(words.values)).tolist()
        for place, (word, count) in enumerate(zip(words.values, counts, strict=True)):
            self.outcomes[word.outcome] += count
            for each in word.fired:
                self.rules[each] += count
            asking[place] = _asks(word.fired)
        sold = np.array([word.outcome != REFUSED for word in words.values], dtype=bool)[words.codes]
        self._total_minor += int(totals[sold].sum())
        for leather, need in asked_um2(self._shop, table, np.flatnonzero(asking[words.codes]), kept).items():
            self._asked_um2[leather] += need

    def ask(self, case: Case, brief: Brief) -> None:
        """Count what a row asks of each leather, unless something other than stock stands in its way."""
        if _asks(brief.fired):
            for leather in case.piece.cut_from:
                self._asked_um2[leather] += case.holding(leather).need_um2

    @property
    def short(self) -> list[dict[str, Any]]:
        """Return the leathers of which all rows together would need more than is free, dm2; the worst first."""
        catalog = self._shop.catalog
        found = []
        for leather, asked in sorted(self._asked_um2.items()):
            free = sum(max(0, lot.free_um2) for lot in catalog.lots_of(leather))
            if asked > free:
                found.append((asked - free, leather, asked, free))
        return [
            {
                "leather": leather,
                "asked_dm2": figure(asked, "dm2"),
                "free_dm2": figure(free, "dm2"),
                "short_dm2": figure(missing, "dm2"),
            }
            for missing, leather, asked, free in sorted(found, key=lambda each: (-each[0], each[1]))
        ]

    def as_json(self, caller: Caller, selection: Selection | None, maximize: Measure) -> dict[str, Any]:
        """Return the summary as a class of keys may see it. How much is free is for the workshop."""
        shop = self._shop.catalog.workshop
        hidden = OWNER_RULES if caller < Caller.OWNER else frozenset()
        rules = [
            {"rule": rule, "severity": severity, "rows": count}
            for (rule, severity), count in sorted(self.rules.items(), key=lambda each: (-each[1], each[0]))
            if rule not in hidden
        ]
        found: dict[str, Any] = {
            "rows": self.rows,
            "buildable": self.outcomes["buildable"],
            "sign_off": self.outcomes["sign_off"],
            "refused": self.outcomes[REFUSED],
            "unreadable": self.unreadable,
            "empty": self.empty,
            "total": self._money(self._total_minor),
            "currency": shop.currency,
            "rules": rules,
            "ran_out": [{"code": code, "row": row} for code, row in self._ran_out.items()],
        }
        if caller >= Caller.STAFF:
            found["short"] = self.short
        if selection is not None:
            value, bound = selection.value, selection.bound
            figures = {"value": value, "bound": bound, "gap": selection.gap}
            shown = figures if maximize == "count" else {name: self._money(minor) for name, minor in figures.items()}
            found["best"] = {"maximize": maximize, **shown, "proven": selection.proven}
        return found

    def _money(self, minor: int) -> str:
        return money(minor, self._shop.catalog.workshop.minor_digits)


def _asks(fired: Iterable[Fired]) -> bool:
    """Whether nothing but the stock stands in the way."""
    return all(rule.startswith(_STOCK) for rule, severity in fired if severity == "refuse")
