"""What a wish may choose today: the codes that are alive, and which of them a pattern takes in each column."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from api.figures import mm
from api.lists.alive import ACTIVE, Code, alive
from api.lists.columns import COLUMNS, PARTS
from catalog.model import Catalog, Pattern
from rules.check import judge
from rules.piece import FLESH, GRAIN, MATCH
from rules.shop import Shop
from rules.spec import PartChoice, Spec

Value = str | int | float
ByPattern = Mapping[str, tuple[Value, ...]]

_YES_NO: Final = ("yes", "no")
_HARDWARE: Final = tuple(name for name, column in COLUMNS.items() if column.codes == "hardware")
_SIZES: Final = tuple(name for name, column in COLUMNS.items() if column.slot == "sizes")


@dataclass(frozen=True, slots=True)
class Offered:
    """The choices of a day.

    ``everywhere`` holds those of columns that are the same whatever the pattern, ``by_pattern`` the others, by
    column and pattern; ``lots`` those of each leather; ``codes`` tells of every code, by the kind of noun.
    """

    everywhere: Mapping[str, tuple[Value, ...]]
    by_pattern: Mapping[str, ByPattern]
    lots: ByPattern
    codes: Mapping[str, tuple[Code, ...]]

    def columns_of(self, noun: str, code: str) -> tuple[str, ...]:
        """Return the columns in which a code may stand."""
        taken = [name for name, values in self.everywhere.items() if code in values]
        taken += [name for name, by in self.by_pattern.items() if any(code in values for values in by.values())]
        return tuple(name for name, column in COLUMNS.items() if name in taken and column.codes == noun)

    def patterns_of(self, noun: str, code: str) -> tuple[str, ...]:
        """Return the patterns that take a code somewhere; () where the pattern plays no part."""
        own = [by for name, by in self.by_pattern.items() if COLUMNS[name].codes == noun]
        every = self.everywhere["pattern"]
        return tuple(str(pattern) for pattern in every if any(code in by.get(str(pattern), ()) for by in own))


def offered_on(shop: Shop, today: date) -> Offered:
    """Return what may be chosen on a day, with the stock as it stands."""
    catalog = shop.catalog
    codes = alive(catalog)
    patterns = [pattern for pattern in catalog.patterns.values() if pattern.status == ACTIVE]
    by_pattern = {
        column: {pattern.code: tuple(values) for pattern in patterns if (values := taken(pattern))}
        for column, taken in _taken(shop, codes, today)
    }
    lots = {
        leather.code: tuple(lot.code for lot in catalog.lots_of(leather.code) if lot.free_um2 > 0)
        for leather in catalog.leathers.values()
    }
    return Offered(_everywhere(catalog, codes), by_pattern, {code: own for code, own in lots.items() if own}, codes)


def _everywhere(catalog: Catalog, codes: Mapping[str, tuple[Code, ...]]) -> dict[str, tuple[Value, ...]]:
    found: dict[str, tuple[Value, ...]] = {
        "pattern": _codes_in(codes["patterns"]),
        **dict.fromkeys((f"{part}_side" for part in PARTS), (GRAIN, FLESH)),
        "mono_method": _codes_in(codes["methods"]),
        "mono_typeface": _codes_in(codes["typefaces"]),
        "mono_foil": _codes_in(codes["foils"]),
        "notes": _codes_in(codes["notes"]),
        "business_card": _codes_in(codes["business_cards"]),
        "notebook": _codes_in(codes["notebooks"]),
        "tools": _codes_in(codes["tools"]),
        "worn_in": _codes_in(codes["worn_in"]),
        "claims": _codes_in(codes["claims"]),
        **{name: _YES_NO for name, column in COLUMNS.items() if column.unit == "yes or no"},
    }
    return {name: values for name, values in found.items() if values}


Taken = Callable[[Pattern], list[Value]]


def _taken(shop: Shop, codes: Mapping[str, tuple[Code, ...]], today: date) -> Iterator[tuple[str, Taken]]:
    """Yield each column whose choices depend on the pattern, with what finds them."""
    for part in PARTS:
        leathers = _codes_in(codes["leathers"])
        yield part, _open_ones(shop, today, leathers, f"/parts/{part}", _has_part(part), _with_leather(part))
    threads, edges = (_codes_in(codes[noun]) for noun in ("threads", "edges"))
    yield "thread", _and_match(_open_ones(shop, today, threads, "/thread", _always, _with("thread")))
    yield "stitch", lambda pattern: list(pattern.stitches)
    yield "edge", _and_match(_open_ones(shop, today, edges, "/edge", _always, _with("edge")))
    for slot in _HARDWARE:
        fittings = _codes_in(codes["hardware"])
        yield slot, _open_ones(shop, today, fittings, f"/hardware/{slot}", _has_slot(slot), _with_fitting(slot))
    yield "mono_zone", lambda pattern: list(pattern.zones)
    yield "modifications", lambda pattern: list(pattern.modifications)
    for size in _SIZES:
        yield size, _sizes(size)
    uses = _codes_in(codes["uses"])
    yield "use", lambda pattern: [use for use in pattern.uses if use in uses]  # another use is for the maker to judge


Chosen = Callable[[Pattern, str], Spec]


def _open_ones(
    shop: Shop, today: date, codes: Iterable[str], at: str, has: Callable[[Pattern], bool], chosen: Chosen
) -> Taken:
    """Return what finds the codes that are not refused while nothing else is chosen.

    What is refused then, for a fault of this place alone, stays refused whatever is chosen beside it: a fault that
    another choice could mend names that one too. What is not refused may still be, together with something else.
    """

    def taken(pattern: Pattern) -> list[Value]:
        if not has(pattern):
            return []
        return [code for code in codes if not _is_refused(shop, today, chosen(pattern, code), at)]

    return taken


def _is_refused(shop: Shop, today: date, spec: Spec, at: str) -> bool:
    findings = judge(shop, spec, today).findings
    return any(finding.severity == "refuse" and finding.at == (at,) for finding in findings)


def _always(_: Pattern) -> bool:
    return True


def _has_part(part: str) -> Callable[[Pattern], bool]:
    return lambda pattern: part in pattern.parts


def _has_slot(slot: str) -> Callable[[Pattern], bool]:
    return lambda pattern: slot in pattern.fixings


def _with(field: str) -> Chosen:
    def chosen(pattern: Pattern, code: str) -> Spec:
        choice: dict[str, Any] = {field: code}
        return Spec(pattern=pattern.code, **choice)

    return chosen


def _with_leather(part: str) -> Chosen:
    return lambda pattern, code: Spec(pattern=pattern.code, parts={part: PartChoice(code, None)})


def _with_fitting(slot: str) -> Chosen:
    return lambda pattern, code: Spec(pattern=pattern.code, hardware={slot: code})


def _and_match(taken: Taken) -> Taken:
    return lambda pattern: [*taken(pattern), MATCH]


def _sizes(name: str) -> Taken:
    def taken(pattern: Pattern) -> list[Value]:
        size = pattern.sizes.get(name)
        return [] if size is None else [mm(um) for um in size.offered_um]

    return taken


def _codes_in(codes: Iterable[Code]) -> tuple[str, ...]:
    return tuple(each.code for each in codes)
