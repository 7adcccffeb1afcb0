"""What a spec has chosen already, as tests of the values of a board's slots."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from support.independent.data import Context, RefusedError, find, leather_of, named, um

Tests = dict[str, Callable[[Any], bool]]


def fix(told: Context, spec: Mapping[str, Any], empty: frozenset[str]) -> Tests:
    """Return a test for each slot that the spec, or an option that is to stay empty, leaves less than free.

    ``empty`` names slots that stay empty; ``rest`` in it, all optional ones that the spec does not
    fill, and the stitch is the pattern's first.

    Raises:
        RefusedError: a code that there is not, or a value that the pattern does not offer.
    """
    tests: Tests = {}
    for part, asked in (spec.get("parts") or {}).items():
        if asked is not None:
            if part not in told.pattern.parts:
                raise RefusedError("CAT-04 part")
            tests[f"part/{part}"] = _part(told, asked)
    _supplies(told, spec, empty, tests)
    _hardware(told, spec, empty, tests)
    _sizes(told, spec, tests)
    _modifications(told, spec, empty, tests)
    _monogram(told, spec, empty, tests)
    return tests


def _part(told: Context, asked: Mapping[str, Any]) -> Callable[[Any], bool]:
    """A leather without a side shows its grain; a side without a leather leaves the leather free."""
    code, side = asked.get("leather"), asked.get("side")
    if code is None:
        return lambda option: side is None or option.side == side
    leather = leather_of(told.catalog, code)
    return lambda option: option.leather is leather and option.side == (side or "grain")


def _supplies(told: Context, spec: Mapping[str, Any], empty: frozenset[str], tests: Tests) -> None:
    thread, edge, stitch = spec.get("thread"), spec.get("edge"), spec.get("stitch")
    if thread is not None and thread.casefold() != "match":
        own = find(told.catalog.threads, thread)
        if own is None:
            raise RefusedError("CAT-01 thread")
        tests["thread"] = lambda value: value is own
    if edge is not None and edge.casefold() != "match":
        wanted = find(told.catalog.edges, edge)
        if wanted is None:
            raise RefusedError("EDG-02")
        tests["edge"] = lambda value: value is wanted
    if stitch is not None:
        tests["stitch"] = _same(stitch.lower())
    elif "rest" in empty:
        tests["stitch"] = _same(told.pattern.stitches[0])


def _hardware(told: Context, spec: Mapping[str, Any], empty: frozenset[str], tests: Tests) -> None:
    asked = spec.get("hardware") or {}
    if "rest" in empty:
        tests |= {f"hardware/{slot}": lambda value: value is None for slot in told.pattern.fixings}
    for slot, code in asked.items():
        if code is not None:
            if slot not in told.pattern.fixings:
                raise RefusedError("CAT-04 hardware")
            own = find(told.catalog.hardware, code)
            if own is None:
                raise RefusedError("CAT-01 hardware")
            tests[f"hardware/{slot}"] = lambda value, own=own: value is own
        elif f"hardware/{slot}" in empty:
            if slot not in told.pattern.fixings:
                raise RefusedError("CAT-04 hardware")
            tests[f"hardware/{slot}"] = lambda value: value is None


def _sizes(told: Context, spec: Mapping[str, Any], tests: Tests) -> None:
    for code, given in (spec.get("sizes") or {}).items():
        if given is not None:
            if code not in told.pattern.sizes:
                raise RefusedError("CAT-05 size")
            tests[f"size/{code}"] = _same(um(given))


def _same(figure: int | str) -> Callable[[Any], bool]:
    return lambda value: bool(value == figure)


def _modifications(told: Context, spec: Mapping[str, Any], empty: frozenset[str], tests: Tests) -> None:
    known = {code.casefold(): code for code in told.pattern.modifications}
    if empty & {"modifications", "rest"}:
        tests |= {f"mod/{code}": lambda value: not value for code in told.pattern.modifications}
    for code in spec.get("modifications") or ():
        if code.casefold() not in known:
            raise RefusedError("CAT-05 modification")
        tests[f"mod/{known[code.casefold()]}"] = bool


def _monogram(told: Context, spec: Mapping[str, Any], empty: frozenset[str], tests: Tests) -> None:
    asked = spec.get("monogram")
    if asked is None:
        if empty & {"monogram", "rest"}:
            tests["monogram"] = lambda way: way is None
        elif "foil" in empty:
            tests["monogram"] = lambda way: way is None or way.foil is None
        return
    wanted = {
        "method": asked.get("method"),
        "typeface": _code(told.catalog.typefaces, asked.get("typeface"), "CAT-01 typeface"),
        "zone": _code(told.pattern.zones, asked.get("zone"), "MON-08"),
        "foil": _code(told.catalog.foils, asked.get("foil"), "CAT-01 foil"),
    }
    tests["monogram"] = lambda way: way is not None and _is(way, wanted, no_foil="foil" in empty)


def _code(nouns: Mapping[str, Any], code: str | None, rule: str) -> str | None:
    """Return a code as the catalog writes it; None where none is named."""
    if code is None:
        return None
    known = named(nouns, code)
    if known is None:
        raise RefusedError(rule)
    return known


def _is(way: Any, wanted: Mapping[str, str | None], *, no_foil: bool) -> bool:
    if wanted["method"] not in (None, way.method) or wanted["typeface"] not in (None, way.typeface):
        return False
    if wanted["zone"] not in (None, way.zone.code) or (no_foil and way.foil is not None):
        return False
    return wanted["foil"] is None or way.method != "foil" or way.foil == wanted["foil"]
