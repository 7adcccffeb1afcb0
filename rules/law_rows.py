"""The dated rows of the law file behind a finding, and what is said once one is past its review.

Nothing here is legal advice: a row points the owner to the local authority or a licensed adviser, and a row that
should have been looked at again says so wherever it speaks.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any, Final

from catalog.model import Kind, LawRow
from rules.case import Case
from rules.piece import Piece
from rules.subjects import Instance

ABROAD: Final = "abroad"
ANYWHERE: Final = "any"
_ASK: Final = "Please ask the local authority or a licensed adviser."


def covers(row: LawRow, piece: Piece) -> bool:
    """Whether a row's destination is where the piece goes; a country's row covers its regions."""
    to, country = piece.ship_to, piece.ship_to.partition("-")[0]
    if row.destination == ANYWHERE:
        return True
    if row.destination == ABROAD:
        return country != piece.catalog.workshop.home_country.upper()
    return row.destination.upper() in (to, country)


def of_region(row: LawRow, piece: Piece) -> bool:
    """Whether a row is of a region of a country that is named without its region."""
    country, _, region = row.destination.upper().partition("-")
    return bool(region) and piece.ship_to == country


def rows_behind(rule: str, instance: Instance) -> list[LawRow]:
    """Return the rows that a rule's word on an instance rests on, the one to be reviewed first before the others.

    Those of the destination, else those of its regions. Of what the instance is not told, species and tannage of
    leathers elsewhere in the piece, nothing is asked. What is said of the data itself rests on none.
    """
    case: Case | None = instance.case
    if case is None:
        return []
    piece = case.piece
    own = [row for row in piece.catalog.law_of(rule) if _concerns(row, instance)]
    found = [row for row in own if covers(row, piece)] or [row for row in own if of_region(row, piece)]
    return sorted(found, key=lambda row: (row.review_by, row.code))


def _concerns(row: LawRow, instance: Instance) -> bool:
    kind = getattr(instance, "kind", None)
    species = kind.species if isinstance(kind, Kind) else instance.subject.get("species")
    if row.species is not None and species not in (None, row.species):
        return False
    return not row.tannages or not isinstance(kind, Kind) or kind.tannage in row.tannages


def told_with(rows: Sequence[LawRow], today: date) -> dict[str, Any]:
    """Return what a finding carries of the rows behind it: the first, whose law it is, its days; {} without rows."""
    if not rows:
        return {}
    first = rows[0]
    return {
        "law_row": first.code,
        "jurisdiction": first.jurisdiction,
        "checked_on": first.checked_on.isoformat(),
        "review_by": first.review_by.isoformat(),
        "past_review": first.past_review(today),
    }


def with_review(message: str, rows: Sequence[LawRow], today: date) -> str:
    """Return a customer's sentence, which says first if the row behind it is past its review."""
    if not rows or not rows[0].past_review(today):
        return message
    return f"Law note past its review date ({rows[0].review_by.isoformat()}): {message} {_ASK}"


def with_review_at_bench(message: str, rows: Sequence[LawRow], today: date) -> str:
    """Return a sentence for the bench, which names the rows that are past their review."""
    late = [row for row in rows if row.past_review(today)]
    if not late:
        return message
    named = ", ".join(f"{row.code}, review by {row.review_by.isoformat()}" for row in late)
    return f"Past its review date ({named}): {message} Local law decides; look at the row again. {_ASK}"
