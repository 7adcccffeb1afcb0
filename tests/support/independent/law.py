"""Rows of the law file that refuse: species by destination, and which rules have a row there (LAW)."""

from __future__ import annotations

from support.independent.data import Context
from support.independent.parts import Option

from catalog.model import LawRow


def covers(told: Context, row: LawRow) -> bool:
    """Whether a row is in force where the piece goes; the row of a country covers its regions."""
    country = told.ship_to.partition("-")[0]
    if row.destination == "any":
        return True
    if row.destination == "abroad":
        return country != told.catalog.workshop.home_country.upper()
    return row.destination.upper() in (told.ship_to, country)


def has_row(told: Context, rule: str) -> bool:
    """Whether the law file has a row of a rule for the destination."""
    return any(row.rule == rule and covers(told, row) for row in told.catalog.law_rows.values())


def sold_there(told: Context, option: Option) -> bool:
    """LAW-01: whether the leather's species may be sold where the piece goes."""
    return not any(
        row.rule == "LAW-01" and row.severity == "refuse" and row.species == option.leather.kind.species
        for row in told.catalog.law_rows.values()
        if covers(told, row)
    )
