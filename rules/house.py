"""A workshop's own rules: ``house-rules.yaml`` in its folder, with tables kept in ``house-*.csv`` beside it.

They have the grammar and the words of the trade's book, and may name codes of the catalog, which the trade's may not.
The file is written by hand by whoever runs the bench, so it is taken for hostile until it is read: every size is
bounded before anything is built from it, and it is refused whole, with the place of each fault.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

from catalog.model import Catalog, Threshold
from catalog.strict_yaml import Document, Fault, attempt, suggest
from rules.conditions import Beside
from rules.csv_rows import read_csv
from rules.house_bounds import FILE, MOST_FAULTS, files_named, too_large, wrong_shapes
from rules.ir import Lookup, Rule, lookups_in
from rules.lookups import read_tables
from rules.nouns import Codes, codes_of

FAMILY: Final = "house"


@dataclass(frozen=True, slots=True)
class HouseTexts:
    """What a workshop adds to the trade's book: texts by file, and the codes that its rules may name."""

    texts: Mapping[str, str] = field(default_factory=dict)
    codes: Mapping[str, Codes] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class HouseRules:
    """The file of rules, read as far as its shape, and what its rules may name beside it."""

    document: Document
    beside: Beside

    @property
    def tables(self) -> Mapping[str, Lookup]:
        """The tables that give figures, by name."""
        return self.beside.tables


class Noted(list[Fault]):
    """Faults, up to a number that nobody reads to the end; then :class:`EnoughError` is raised."""

    def append(self, fault: Fault, /) -> None:
        """Keep a fault."""
        super().append(fault)
        if len(self) >= MOST_FAULTS:
            raise EnoughError

    def extend(self, faults: Iterable[Fault], /) -> None:
        """Keep some faults."""
        for fault in faults:
            self.append(fault)


class EnoughError(Exception):
    """Raised where there are more faults than anybody reads."""


def house_of(catalog: Catalog) -> HouseTexts:
    """Return what a catalog's folder holds of rules; its worked orders are no rules."""
    texts = {name: text for name, text in catalog.house.items() if name == FILE or name.endswith(".csv")}
    return HouseTexts(texts, codes_of(catalog) if texts else {})


def read_house(house: HouseTexts, thresholds: Mapping[str, Threshold], faults: list[Fault]) -> HouseRules | None:
    """Read the house's files up to its rules: sizes, shapes, tables. None where there is none or it has a fault.

    Raises:
        EnoughError: where there are more faults than anybody reads.
    """
    before = len(faults)
    if FILE not in house.texts:
        faults.extend(Fault(name, 1, 1, f"there is no {FILE} that could read this file") for name in house.texts)
        return None
    faults.extend(too_large(house.texts))
    if len(faults) > before:
        return None
    document = attempt(house.texts[FILE], FILE)
    faults.extend(document.faults)
    if document.faults:
        return None
    faults.extend(wrong_shapes(document))
    rows = _rows(house, document, faults)
    if len(faults) > before:
        return None
    tables = read_tables(document, thresholds, faults, Beside(house.codes, rows))
    return HouseRules(document, Beside(house.codes, rows, tables))


def unused_tables(house: HouseRules, rules: Iterable[Rule]) -> Iterator[Fault]:
    """Give a fault for each table that no rule looks a figure up in: whoever wrote it believes that one does."""
    used = {table.name for rule in rules for table in lookups_in(rule)}
    for name, table in house.tables.items():
        if table.name not in used:
            yield house.document.fault(("tables", name), f"no rule looks a figure up in {table.name}", at_key=True)


def _rows(house: HouseTexts, document: Document, faults: list[Fault]) -> dict[str, Document]:
    """Return the house's CSV files, noting those that nothing reads."""
    named = set(files_named(document))
    rows = {name: read_csv(text, name) for name, text in house.texts.items() if name != FILE}
    for name, each in rows.items():
        faults.extend(each.faults)
        if name not in named:
            near = suggest(name, named)
            hint = f"; {FILE} names {near!r}" if near else ""
            faults.append(Fault(name, 1, 1, f"no rule and no table takes its rows from this file{hint}"))
    return rows
