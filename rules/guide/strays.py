"""Choices that do not exist: codes that the catalog lacks, and slots that the pattern lacks.

No completion can mend them, so nothing could be chosen beside them. To answer all else they are taken out, and told of
by what a check says of them.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import replace
from datetime import date

from rules.check import judge
from rules.choices import Choice, choices_of
from rules.findings import Finding, findings_of
from rules.piece import Piece
from rules.shop import Shop
from rules.spec import NO_CARRY, Carry, Spec

_MODIFICATIONS = "/modifications/"


def strays_in(piece: Piece) -> tuple[Choice, ...]:
    """Return the choices of a piece whose code the catalog lacks, or whose slot the pattern lacks."""
    return tuple(each for each in choices_of(piece) if each.known is False or each.belongs is False)


def without(spec: Spec, strays: Iterable[Choice]) -> Spec:
    """Return a spec without the strays that stand in no slot: claims, what it carries, and lots."""
    at = {each.at for each in strays}
    if not at:
        return spec
    claims = tuple(claim for place, claim in enumerate(spec.purpose.claims) if f"/purpose/claims/{place}" not in at)
    lots = {
        part: kept
        for part, codes in spec.lots.items()
        if f"/lots/{part}" not in at
        and (kept := tuple(code for place, code in enumerate(codes) if f"/lots/{part}/{place}" not in at))
    }
    return replace(spec, purpose=replace(spec.purpose, claims=claims), carry=_carried(spec.carry, at), lots=lots)


def _carried(carry: Carry, at: Collection[str]) -> Carry:
    found = replace(
        carry,
        notes=tuple(note for place, note in enumerate(carry.notes) if f"/carry/notes/{place}/item" not in at),
        business_cards=None if "/carry/business_cards/item" in at else carry.business_cards,
        notebook=None if "/carry/notebook/item" in at else carry.notebook,
        tools=tuple(tool for place, tool in enumerate(carry.tools) if f"/carry/tools/{place}/item" not in at),
    )
    return NO_CARRY if found == NO_CARRY else found


def said_of_strays(
    shop: Shop, spec: Spec, today: date, strays: Collection[Choice], unheard: Collection[str] = ()
) -> tuple[Finding, ...]:  # fmt: skip
    """Return what a check of a spec says of its strays, and of choices that no value stands for.

    Args:
        shop: as it stands.
        spec: with its strays.
        today: the day.
        strays: of the spec, see :func:`strays_in`.
        unheard: pointers of choices that no value stands for.
    """
    if not strays and not unheard:
        return ()
    found = judge(shop, spec, today).findings
    return findings_of(each.said for each in found if each.severity == "refuse" and _is_of(each, strays, unheard))


def _is_of(finding: Finding, strays: Collection[Choice], unheard: Collection[str]) -> bool:
    choice = finding.said.choice
    if choice is not None and choice in strays:
        return True
    # A check counts modifications by their place in the spec; a guide names them by their code.
    modified = any(each.startswith(_MODIFICATIONS) for each in unheard)
    if modified and choice is not None and choice.at.startswith(_MODIFICATIONS):
        return choice.offered is False
    return any(each in unheard for each in finding.at)
