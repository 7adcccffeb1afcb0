"""Remedies: changes that were re-checked before they are offered.

Each is a merge patch (RFC 7396). A gap gets the pattern's default, an unknown code the nearest
one, a slot that the pattern lacks is dropped; for all else the specs one change away are tried,
nearest in color first. A remedy removes its finding and adds none that is worse than what it
removes. The number of re-checks is bounded (:data:`MOST_RECHECKS`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from rules.choices import Choice
from rules.echo import mm
from rules.evaluate import OUTCOMES
from rules.findings import Finding
from rules.ir import SEVERITIES
from rules.money import money
from rules.neighbors import Neighbor, neighbors_of
from rules.pricing import priced
from rules.shop import Shop
from rules.spec import PartChoice, Spec

if TYPE_CHECKING:
    from rules.check import Verdict

#: At most so many specs are judged again for the remedies of one check.
MOST_RECHECKS = 30
#: No further spec is judged once so many steps of lot searches were taken: some specs are dear.
MOST_WORK = 400
#: At most so many are tried for one finding, and so many offered.
TRIES_EACH = 6
OFFERED_EACH = 2
Recheck = Callable[[Spec], "Verdict"]
Change = tuple[dict[str, Any], Spec, str]
Set = tuple[dict[str, Any], Spec]


def remedies_for(shop: Shop, spec: Spec, verdict: Verdict, recheck: Recheck) -> dict[str, list[dict[str, Any]]]:
    """Return the remedies by finding id, each re-checked."""
    matters = [finding for finding in verdict.findings if finding.severity in ("refuse", "sign_off")]
    nearby = neighbors_of(verdict.case.piece) if matters else []
    judged: dict[str, Verdict] = {}
    work = 0
    offered: dict[str, list[dict[str, Any]]] = {}
    for finding in matters:
        choice = finding.said.choice
        if choice is None and finding.caused_by is not None:
            continue  # the root's remedies are tried; the effect goes with it
        found: list[tuple[int, int, dict[str, Any], Verdict, str]] = []
        for change, changed, says in _changes(shop, spec, finding, choice, nearby):
            key = repr(change)
            if key not in judged:
                if len(judged) == MOST_RECHECKS or work > MOST_WORK:
                    break
                judged[key] = recheck(changed)
                work += judged[key].work
            again = judged[key]
            if _removes(verdict, again, finding):
                found.append((OUTCOMES.index(again.outcome), len(found), change, again, says))
                if sum(place == 0 for place, *_ in found) == OFFERED_EACH:
                    break
        best = sorted(found, key=lambda row: row[:2])[:OFFERED_EACH]
        if best:
            offered[finding.id] = [
                {"change": change, "outcome": again.outcome, "total": _total(again), "says": says}
                for _, _, change, again, says in best
            ]
    return offered


def _changes(shop: Shop, spec: Spec, finding: Finding, choice: Choice | None, nearby: list[Neighbor]) -> list[Change]:
    if choice is not None:
        change = _change(spec, choice, finding.rule)
        return [] if change is None else [(*change, _says(shop, change[0]))]
    touching = [each for each in nearby if any(_touches(each.slot, at) for at in finding.at)]
    return [(each.change, each.spec, each.says) for each in touching[:TRIES_EACH]]


def _touches(slot: str, at: str) -> bool:
    return slot == at or slot.startswith(f"{at}/") or (at.startswith(f"{slot}/") and slot != "")


def _removes(before: Verdict, after: Verdict, removed: Finding) -> bool:
    """Whether the finding is gone, and whatever is new is milder than what is removed."""
    old = {(found.rule, found.severity) for found in before.findings}
    gone = all((found.rule, found.at) != (removed.rule, removed.at) for found in after.findings)
    worst = SEVERITIES.index(removed.severity)
    new = [found for found in after.findings if (found.rule, found.severity) not in old]
    return gone and all(SEVERITIES.index(found.severity) > worst for found in new)


def _total(verdict: Verdict) -> str | None:
    piece = verdict.case.piece
    price = priced(piece)
    return None if price is None else money(piece, price.total_minor)


def _change(spec: Spec, choice: Choice, rule: str) -> Set | None:
    """Return a patch and the spec it makes, or None where only the customer knows."""
    value: str | int | None
    if rule in ("CAT-01", "EDG-02"):
        value = choice.nearest
    elif rule in ("CAT-03", "CAT-05", "FIT-08"):
        value = choice.default
    elif rule == "CAT-04":
        return _dropped(spec, choice.at)
    else:
        return None
    return None if value is None else _set(spec, choice.at, value)


def _set(spec: Spec, at: str, value: str | int) -> Set | None:
    _, slot, *rest = at.split("/")
    match slot, rest:
        case ("pattern" | "thread" | "stitch" | "edge") as name, []:
            changes: dict[str, Any] = {name: value}
            return changes, replace(spec, **changes)
        case "parts", [part]:
            old = spec.parts.get(part)
            parts = {**spec.parts, part: PartChoice(str(value), None if old is None else old.side)}
            return {"parts": {part: {"leather": value}}}, replace(spec, parts=parts)
        case "hardware", [place]:
            return {"hardware": {place: value}}, replace(spec, hardware={**spec.hardware, place: str(value)})
        case "sizes", [size]:
            um = int(value)
            return {"sizes": {size: mm(um)}}, replace(spec, sizes_um={**spec.sizes_um, size: um})
        case "monogram", [("typeface" | "foil") as name] if spec.monogram is not None:
            letters: dict[str, Any] = {name: value}
            return {"monogram": letters}, replace(spec, monogram=replace(spec.monogram, **letters))
        case "purpose", ["use"]:
            return {"purpose": {"use": value}}, replace(spec, purpose=replace(spec.purpose, use=str(value)))
    return None


def _dropped(spec: Spec, at: str) -> Set | None:
    _, slot, name = at.split("/")
    if slot == "parts":
        parts = {part: chosen for part, chosen in spec.parts.items() if part != name}
        return {"parts": {name: None}}, replace(spec, parts=parts)
    if slot == "lots":
        return {"lots": {name: None}}, replace(
            spec, lots={part: own for part, own in spec.lots.items() if part != name}
        )
    hardware = {place: code for place, code in spec.hardware.items() if place != name}
    return {"hardware": {name: None}}, replace(spec, hardware=hardware)


def _says(shop: Shop, patch: dict[str, Any]) -> str:
    """Return a patch in words."""
    (slot, value), *_ = patch.items()
    if isinstance(value, dict):
        (name, inner), *_ = value.items()
        chosen = inner.get("leather") if isinstance(inner, dict) else inner
        if chosen is None:
            return f"Leave out {name}"
        return f"{_called(shop, chosen)} for {name.removesuffix('_mm')}"
    return f"{_called(shop, value)} for {slot}"


def _called(shop: Shop, code: Any) -> str:
    catalog = shop.catalog
    if code in catalog.leathers:
        return catalog.leathers[code].name
    if code in catalog.patterns:
        return catalog.patterns[code].name
    if code in catalog.threads:
        return f"{catalog.threads[code].color} {catalog.threads[code].material} thread".capitalize()
    if code in catalog.edges:
        return f"{catalog.edges[code].color} {catalog.edges[code].finish}".capitalize()
    return f"{code} mm" if isinstance(code, int | float) else str(code)
