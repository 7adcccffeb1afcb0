"""Measures of the law file: dated rows by species, tannage and destination (LAW).

Nothing here is legal advice: a row points the owner to the local authority or a licensed
adviser.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from catalog.model import LawRow
from catalog.vocabulary import TANNAGES
from rules.case import Case
from rules.law_rows import covers, of_region
from rules.piece import Piece
from rules.subjects import PartScope, Scope, Whole, pointers
from rules.vocabulary import number, subject, truth, word, words


@dataclass(frozen=True)
class SpeciesUse(Scope):
    """A species in the piece, and the parts made of it."""

    species: str
    used_in: tuple[str, ...]

    @property
    def at(self) -> tuple[str, ...]:
        """The parts made of it."""
        return pointers(self.used_in)

    @property
    def subject(self) -> dict[str, Any]:
        """The species."""
        return {"species": self.species}

    @property
    def params(self) -> dict[str, Any]:
        """The rows that apply, with their dates."""
        rows = [row for row in _rows_of(self) if covers(row, self.piece) or of_region(row, self.piece)]
        return {
            "ship_to": self.piece.ship_to,
            "law_rows": [
                {"row": row.code, "source": row.source, "checked_on": row.checked_on.isoformat()} for row in rows
            ],
        }

    @property
    def words(self) -> dict[str, str]:
        """Species, destination, what the first notice says."""
        notice = next((row.says for row in _rows_of(self, "LAW-13")), "")
        return {"species": self.species, "destination": self.piece.ship_to, "notice": notice}


@subject(
    "species", "each species in the piece", ("species", "destination", "notice"), reads=["species"], shows=["ship_to"]
)
def each_species(case: Case) -> Iterator[SpeciesUse]:
    """List the species of the parts, each once."""
    found: dict[str, list[str]] = {}
    for part in case.piece.parts.values():
        if part.kind is not None:
            found.setdefault(part.kind.species, []).append(part.code)
    for species, parts in found.items():
        yield SpeciesUse(case, species, tuple(parts))


def _rows_of(use: SpeciesUse, rule: str | None = None) -> list[LawRow]:
    catalog = use.piece.catalog
    rows = catalog.law_rows.values() if rule is None else catalog.law_of(rule)
    return [row for row in rows if row.species == use.species]


@word("species.name", "species", reads=["species"], noun="species")
def species_name(use: SpeciesUse) -> str:
    """Return the species."""
    return use.species


@word(
    "species.ban",
    "what the law file says of the species there",
    reads=["law", "species", "ship_to"],
    levels=("none", "region_unknown", "banned"),
)
def ban(use: SpeciesUse) -> str:
    """Return banned, region_unknown (a region of the country named bans it), or none."""
    rows = [row for row in _rows_of(use, "LAW-01") if row.severity == "refuse"]
    if any(covers(row, use.piece) for row in rows):
        return "banned"
    return "region_unknown" if any(of_region(row, use.piece) for row in rows) else "none"


@truth("species.papers", "papers may be needed on the way", reads=["law", "species", "ship_to"])
def papers(use: SpeciesUse) -> bool:
    """Whether a row on papers covers the destination."""
    return any(covers(row, use.piece) for row in _rows_of(use, "LAW-02"))


@truth("species.disclosed", "the species is to be disclosed", reads=["law", "species", "ship_to"])
def disclosed(use: SpeciesUse) -> bool:
    """Whether a row asks that customers are told."""
    return any(covers(row, use.piece) for row in _rows_of(use, "LAW-13"))


@truth("part.reported_tannage", "a report on the tannage is needed on skin", reads=["law", "leather", "ship_to"])
def reported_tannage(part: PartScope) -> bool:
    """Whether a row on tannage covers the part's leather."""
    rows = part.piece.catalog.law_of("LAW-03")
    return any(part.kind.tannage in row.tannages and covers(row, part.piece) for row in rows)


@word("part.tannage", "tannage", reads=["leather"], levels=TANNAGES)
def tannage(part: PartScope) -> str:
    """Return the kind's tannage."""
    return part.kind.tannage


@words("piece.law_rows", "rules with a law row for the destination", reads=["law", "ship_to"])
def law_rows(whole: Whole) -> frozenset[str]:
    """Return the rule ids that have a row covering the destination."""
    rows = whole.piece.catalog.law_rows.values()
    return frozenset(row.rule for row in rows if covers(row, whole.piece))


@number("piece.smallest_fitting", "mm", "size of the smallest piece of hardware", reads=["hardware"])
def smallest_fitting(whole: Whole) -> int | None:
    """Return the smallest nominal size, um; None without hardware."""
    sizes = [hardware.size_um for hardware in whole.piece.hardware.values()]
    return min(sizes) if sizes else None


@truth("piece.personalized", "the piece is personalized or made to measure", reads=["monogram", "sizes"])
def personalized(whole: Whole) -> bool:
    """Whether letters are set or a measured length is cut."""
    return is_personalized(whole.piece)


def is_personalized(piece: Piece) -> bool:
    """Whether letters are set or a measured length is cut, rather than options picked."""
    return piece.spec.monogram is not None or piece.size_um("waist_to_hole_mm") is not None


@dataclass(frozen=True)
class ClaimUse(Scope):
    """A claim that the shop is asked to make."""

    place: int
    claim: str

    @property
    def at(self) -> tuple[str, ...]:
        """Its place in the list."""
        return (f"/purpose/claims/{self.place}",)

    @property
    def words(self) -> dict[str, str]:
        """The claim."""
        return {"claim": self.claim.replace("_", " ")}


@subject("claim", "each claim asked for", ("claim",), reads=["purpose"], only_with="purpose")
def each_claim(case: Case) -> Iterator[ClaimUse]:
    """List the claims that the law file knows."""
    for place, claim in enumerate(case.piece.spec.purpose.claims):
        known = case.piece.indexes.claims.code(claim)
        if known in case.piece.catalog.claims:
            yield ClaimUse(case, place, known)


@word(
    "claim.grade",
    "what the law file says of the claim",
    reads=["law", "purpose"],
    levels=("fine", "sign_off", "refuse"),
)
def claim_grade(use: ClaimUse) -> str:
    """Return the law file's word."""
    return use.piece.catalog.claims[use.claim]


@word("part.reports", "reports on harmful substances", reads=["leather"], levels=("on_file", "missing"))
def reports(part: PartScope) -> str | None:
    """Return whether the supplier's reports are on file; None where nobody keeps book of them."""
    return part.kind.reports
