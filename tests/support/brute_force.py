"""What is true of a partial spec, found by judging everything that it may still become.

A *world* is every complete spec of a pattern in one context; a choice keeps those that have it. All that is said of a
spec follows from the outcomes and totals of a world: no search, no rule of what may be left out.

The context is what is no choice: carry, dog, quantity, destination, rush, days, letters. Letters that are not given
yet are any single capital, the best of them; they are not counted apart. That there is a monogram at all is a choice
where letters are given, and a foil is one only where letters may be foiled.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from itertools import combinations, pairwise, product
from string import ascii_uppercase
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from catalog.model import Pattern, Typeface
from rules.check import judge
from rules.columns import judge_specs
from rules.piece import FLESH, GRAIN
from rules.pricing import priced
from rules.shop import Shop
from rules.spec import Monogram, PartChoice, Spec

STATES: Final = ("open", "sign_off", "closed")
_OUTCOMES: Final = ("buildable", "sign_off", "refused")
#: Capitals that read the same mirrored, as type is cut: what tells letters apart beside the case.
_MIRRORED: Final = frozenset("AHIMOTUVWXY")
#: Outcomes (0 buildable, 1 sign_off, 2 refused) and totals in minor units (-1: no price) of some specs.
Judge = Callable[[Shop, Sequence[Spec], date], tuple[NDArray[np.int64], NDArray[np.int64]]]
Choices = tuple[str, ...]


@dataclass(frozen=True)
class TrueOption:
    """What comes of one value of a slot; totals in minor units, None where nothing has a price."""

    state: str
    cheapest_minor: int | None
    dearest_minor: int | None
    completions: int


@dataclass(frozen=True)
class Repair:
    """The fewest choices that have to change, and every set of so few that will do; None: nothing helps."""

    changes: int | None
    ways: frozenset[frozenset[str]]


@dataclass(frozen=True)
class Truth:
    """What is true of a spec.

    ``whole`` is its state, totals and count; ``options`` by pointer and value. ``smallest`` are the clashing sets of
    choices of the least number, ``minimal`` those of which no subset clashes. Repairs: to what is not refused, and
    to what is buildable.
    """

    whole: TrueOption
    options: Mapping[str, Mapping[Any, TrueOption]]
    chosen: Choices
    smallest: frozenset[Choices]
    minimal: frozenset[Choices]
    nearest: Repair
    nearest_buildable: Repair


@dataclass(frozen=True)
class World:
    """Every complete spec of a context, letters not counted apart.

    ``rows`` are specs with the best letter; ``values[pointer]`` what each row has there; ``modifications`` those of
    the pattern in its order.
    """

    rows: Sequence[Spec]
    outcomes: NDArray[np.int64]
    totals: NDArray[np.int64]
    domains: Mapping[str, Sequence[Any]]
    codes: Mapping[str, NDArray[np.intp]]
    modifications: tuple[str, ...]

    def having(self, pointer: str, value: Any) -> NDArray[np.bool_]:
        """Return which rows have a value."""
        if value not in self.domains[pointer]:
            return np.zeros(len(self.rows), dtype=bool)
        found: NDArray[np.bool_] = self.codes[pointer] == list(self.domains[pointer]).index(value)
        return found

    def agreeing(self, pointer: str, value: Any) -> NDArray[np.bool_]:
        """Return which rows a choice leaves: those that have it; of a foil those without foil too."""
        if pointer == "/monogram/foil":
            return self.having(pointer, value) | ~self.having("/monogram/method", "foil")
        return self.having(pointer, value)


@dataclass
class Oracle:
    """Truths about specs of one shop on one day; worlds are kept, as many specs share one."""

    shop: Shop
    today: date
    judge_all: Judge = field(default_factory=lambda: in_bulk)
    every_letter: bool = False
    worlds: dict[str, World] = field(default_factory=dict)

    def world(self, spec: Spec) -> World:
        """Return the world of a spec's context."""
        listed = _Listed(self.shop, spec, every_letter=self.every_letter)
        key = repr((listed.context, listed.domains))
        if key not in self.worlds:
            self.worlds[key] = self._judged(listed)
        return self.worlds[key]

    def truth(self, spec: Spec) -> Truth:
        """Return what is true of a spec."""
        return truth_in(self.world(spec), chosen_of(self.shop, spec))

    def _judged(self, listed: _Listed) -> World:
        groups = list(listed.groups())
        specs = [spec for group in groups for spec in group]
        outcomes, totals = self.judge_all(self.shop, specs, self.today)
        starts = np.cumsum([0, *(len(group) for group in groups)])
        best = [int(start + outcomes[start:end].argmin()) for start, end in pairwise(starts)]
        rows = [specs[place] for place in best]
        domains = listed.domains
        codes = {
            pointer: np.array([places[value_at(row, pointer)] for row in rows], dtype=np.intp)
            for pointer, values in domains.items()
            if (places := {value: place for place, value in enumerate(values)}) is not None
        }
        return World(rows, outcomes[best], totals[best], domains, codes, listed.pattern.modifications)


def truth(shop: Shop, spec: Spec, today: date) -> Truth:
    """Return what is true of a spec."""
    return Oracle(shop, today).truth(spec)


def completions(shop: Shop, spec: Spec) -> list[Spec]:
    """Return the complete specs that a spec may become, with each single capital where it has no letters yet."""
    chosen = chosen_of(shop, spec)
    listed = _Listed(shop, spec, every_letter=True)
    return [
        each
        for group in listed.groups()
        for each in group
        if all(_agrees(each, pointer, value) for pointer, value in chosen.items())
    ]


def _agrees(spec: Spec, pointer: str, value: Any) -> bool:
    """Whether a complete spec has a choice, of a foil whether it has no other."""
    unfoiled = pointer == "/monogram/foil" and (spec.monogram is None or spec.monogram.method != "foil")
    return unfoiled or value_at(spec, pointer) == value


def in_bulk(shop: Shop, specs: Sequence[Spec], today: date) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Judge specs as one table."""
    judged = judge_specs(shop, specs, today)
    outcomes = np.zeros(len(specs), dtype=np.int64)
    for severity, outcome in (("sign_off", 1), ("refuse", 2)):
        places = [place for place, (_, own) in enumerate(judged.fired) if own == severity]
        outcomes[fired(judged.bits, places)] = outcome
    return outcomes, judged.totals


def fired(bits: NDArray[np.uint64], places: Iterable[int]) -> NDArray[np.bool_]:
    """Return on which rows any bit of some places is set."""
    found = np.zeros(len(bits), dtype=bool)
    for place in places:
        found |= (bits[:, place // 64] >> np.uint64(place % 64) & np.uint64(1)) != 0
    return found


def one_by_one(shop: Shop, specs: Sequence[Spec], today: date) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Judge and price specs as the service does, each alone."""
    outcomes = [_OUTCOMES.index(judge(shop, spec, today).outcome) for spec in specs]
    prices = [priced(shop.piece(spec)) for spec in specs]
    return np.array(outcomes), np.array([-1 if price is None else price.total_minor for price in prices])


def chosen_of(shop: Shop, spec: Spec) -> dict[str, Any]:
    """Return what a spec has chosen, by pointer; modifications each under its own."""
    found: dict[str, Any] = {
        f"/parts/{part}": (asked.leather, asked.side or GRAIN)
        for part, asked in spec.parts.items()
        if asked.leather is not None
    }
    for name in ("thread", "stitch", "edge"):
        if getattr(spec, name) is not None:
            found[f"/{name}"] = getattr(spec, name)
    found |= {f"/hardware/{place}": code for place, code in spec.hardware.items()}
    found |= {f"/sizes/{code}": um for code, um in spec.sizes_um.items()}
    if spec.purpose.use is not None and shop.catalog.patterns[spec.pattern].load.load_class == "bearing":
        found["/purpose/use"] = spec.purpose.use
    if spec.monogram is not None:
        found["/monogram"] = True
        said = {name: getattr(spec.monogram, name) for name in _OF_MONOGRAM}
        if said["method"] not in {None, "foil"}:
            said["foil"] = None
        found |= {f"/monogram/{name}": value for name, value in said.items() if value is not None}
    return found | {f"/modifications/{code}": True for code in spec.modifications}


def value_at(spec: Spec, pointer: str) -> Any:
    """Return what a complete spec has at a pointer: a part's leather and side, a code, um, None for nothing."""
    _, what, *rest = pointer.split("/")
    if what == "parts":
        return spec.parts[rest[0]].leather, spec.parts[rest[0]].side
    if what == "hardware":
        return spec.hardware.get(rest[0])
    if what == "sizes":
        return spec.sizes_um[rest[0]]
    if what == "purpose":
        return spec.purpose.use
    if pointer == "/monogram":
        return spec.monogram is not None
    if what == "monogram":
        return None if spec.monogram is None else getattr(spec.monogram, rest[0])
    return rest[0] in spec.modifications if what == "modifications" else getattr(spec, what)


_OF_MONOGRAM: Final = ("method", "typeface", "zone", "foil")


class _Listed:
    """The values of each slot in the context of a spec, and the complete specs that they make."""

    def __init__(self, shop: Shop, spec: Spec, *, every_letter: bool) -> None:
        pattern = shop.catalog.patterns[spec.pattern]
        self.pattern: Pattern = pattern
        self._shop, self._every_letter = shop, every_letter
        self._bearing = pattern.load.load_class == "bearing"
        letters = None if spec.monogram is None else Monogram(spec.monogram.text, artwork=spec.monogram.artwork)
        self.context = replace(
            spec, parts={}, thread=None, stitch=None, edge=None, hardware={}, sizes_um={}, monogram=letters,
            modifications=(), purpose=replace(spec.purpose, use=None) if self._bearing else spec.purpose,
        )  # fmt: skip
        self._monograms = list(self._all_monograms())
        own = chosen_of(shop, spec)
        self.domains: dict[str, list[Any]] = {}
        for pointer, values in self._offered().items():
            extra = [own[pointer]] if pointer in own and not pointer.startswith("/monogram/") else []
            if pointer.startswith("/parts/"):
                extra = [(leather, side) for leather, _ in extra for side in (GRAIN, FLESH)]
            self.domains[pointer] = list(dict.fromkeys([*values, *extra]))

    def _offered(self) -> dict[str, list[Any]]:
        catalog, pattern = self._shop.catalog, self.pattern
        leathers = [code for code, leather in catalog.leathers.items() if leather.status != "retired"]
        found: dict[str, list[Any]] = {
            f"/parts/{part}": list(product(leathers, (GRAIN, FLESH))) for part in pattern.parts
        }
        found |= {"/thread": list(catalog.threads), "/stitch": list(pattern.stitches), "/edge": list(catalog.edges)}
        for place, fixing in pattern.fixings.items():
            suiting = [code for code, each in catalog.hardware.items() if each.type in fixing.types]
            found[f"/hardware/{place}"] = [*suiting, *([] if fixing.required else [None])]
        found |= {f"/sizes/{code}": list(size.offered_um) for code, size in pattern.sizes.items()}
        for name in _OF_MONOGRAM:
            values = [None if each is None else getattr(each, name) for each in self._monograms]
            found[f"/monogram/{name}"] = list(dict.fromkeys(values))
        if self.context.monogram is not None:
            found["/monogram"] = [False, True]
        if self._bearing:
            found["/purpose/use"] = list(pattern.uses)
        return found | {f"/modifications/{code}": [False, True] for code in pattern.modifications}

    def _all_monograms(self) -> Iterator[Monogram | None]:
        """Give every way to set letters, with the letters of the context or none yet."""
        catalog, given = self._shop.catalog, self.context.monogram
        yield None
        methods = dict.fromkeys(method for face in catalog.typefaces.values() for method in face.methods)
        for method, face, zone in product(methods, catalog.typefaces, self.pattern.zones):
            for foil in catalog.foils if method == "foil" else (None,):
                yield replace(given or Monogram(""), method=method, typeface=face, zone=zone, foil=foil)

    def groups(self) -> Iterator[list[Spec]]:
        """Give the complete specs; those that differ in open letters alone stand together."""
        pointers = [each for each in self.domains if not each.startswith("/monogram")]
        for values in product(*(self.domains[each] for each in pointers)):
            spec = self._spec(dict(zip(pointers, values, strict=True)))
            for monogram in self._monograms:
                yield [replace(spec, monogram=each) for each in self._lettered(monogram)]

    def _spec(self, values: Mapping[str, Any]) -> Spec:
        def below(prefix: str) -> dict[str, Any]:
            return {key.removeprefix(prefix): value for key, value in values.items() if key.startswith(prefix)}

        return replace(
            self.context,
            parts={part: PartChoice(*value) for part, value in below("/parts/").items()},
            thread=values["/thread"], stitch=values["/stitch"], edge=values["/edge"],
            hardware={place: code for place, code in below("/hardware/").items() if code is not None},
            sizes_um=below("/sizes/"),
            purpose=replace(self.context.purpose, use=values.get("/purpose/use", self.context.purpose.use)),
            modifications=tuple(code for code, asked in below("/modifications/").items() if asked),
        )  # fmt: skip

    def _lettered(self, monogram: Monogram | None) -> list[Monogram | None]:
        """Return a monogram with its letters, or with each capital that differs from the others."""
        if monogram is None or self.context.monogram is not None:
            return [monogram]
        face = self._shop.catalog.typefaces[monogram.typeface or ""]
        letters = ascii_uppercase if self._every_letter else _different(face)
        return [replace(monogram, text=letter) for letter in letters]


def _different(face: Typeface) -> list[str]:
    """Return one capital of each sort: alike in what the case holds of it, in what is worn, in its mirror image."""
    found = {
        (face.sorts.get(letter, face.sorts_per_letter), face.worn.get(letter, 0), letter in _MIRRORED): letter
        for letter in ascii_uppercase
    }
    return list(found.values())


def truth_in(world: World, chosen: Mapping[str, Any]) -> Truth:
    """Return what is true in a world of a spec with some choices, values by pointer."""
    kept = {pointer: world.agreeing(pointer, value) for pointer, value in chosen.items()}
    everything = np.ones(len(world.rows), dtype=bool)

    def all_but(pointer: str | None) -> NDArray[np.bool_]:
        # Having no monogram is the alternative to having one, of whatever method.
        one = {pointer, "/monogram"} if pointer == "/monogram/method" else {pointer}
        return np.logical_and.reduce([everything, *(rows for each, rows in kept.items() if each not in one)])

    whole = all_but(None)
    options: dict[str, dict[Any, TrueOption]] = {"/modifications": {}}
    for pointer, values in world.domains.items():
        if not pointer.startswith("/modifications/"):
            rest = all_but(pointer)
            options[pointer] = {value: _option(world, rest & world.having(pointer, value)) for value in values}
    nothing_more = whole
    for code in world.modifications:
        asked = world.having(f"/modifications/{code}", value=True)
        options["/modifications"][code] = _option(world, whole & asked)
        if f"/modifications/{code}" not in chosen:
            nothing_more = nothing_more & ~asked
    options["/modifications"][None] = _option(world, nothing_more)
    missed = _missed(kept, world.outcomes < len(STATES) - 1, everything)
    smallest, minimal = _clashes(missed, list(chosen))
    nearest = _nearest(missed, list(chosen)), _nearest(_missed(kept, world.outcomes == 0, everything), list(chosen))
    return Truth(_option(world, whole), options, tuple(chosen), smallest, minimal, *nearest)


def _option(world: World, rows: NDArray[np.bool_]) -> TrueOption:
    """Return what some rows come to: the best of their outcomes, and the totals and the number of those."""
    best = int(world.outcomes[rows].min(initial=2))
    if STATES[best] == "closed":
        return TrueOption("closed", None, None, 0)
    own = rows & (world.outcomes == best)
    totals = world.totals[own]
    totals = totals[totals >= 0]
    ends = (int(totals.min()), int(totals.max())) if len(totals) else (None, None)
    return TrueOption(STATES[best], *ends, int(own.sum()))


def _missed(
    kept: Mapping[str, NDArray[np.bool_]], good: NDArray[np.bool_], everything: NDArray[np.bool_]
) -> set[frozenset[int]]:
    """Return which choices rows that are good have otherwise, each set once; choices by their place."""
    found = np.zeros(int(good.sum()), dtype=np.int64)
    for place, rows in enumerate(kept.values()):
        found |= (~rows[good]).astype(np.int64) << place
    return {frozenset(place for place in range(len(kept)) if word >> place & 1) for word in set(found.tolist())}


def _clashes(missed: set[frozenset[int]], chosen: Sequence[str]) -> tuple[frozenset[Choices], frozenset[Choices]]:
    """Return the clashing sets of the least number, and those of which no subset clashes."""
    minimal: list[frozenset[int]] = []
    if frozenset() not in missed:
        for count in range(len(chosen) + 1):
            for each in map(frozenset, combinations(range(len(chosen)), count)):
                if not any(smaller <= each for smaller in minimal) and all(each & other for other in missed):
                    minimal.append(each)
    named = [tuple(sorted(chosen[place] for place in each)) for each in minimal]
    least = min(map(len, named), default=0)
    return frozenset(each for each in named if len(each) == least), frozenset(named)


def _nearest(missed: set[frozenset[int]], chosen: Sequence[str]) -> Repair:
    least = min(map(len, missed), default=None)
    return Repair(least, frozenset(frozenset(chosen[place] for place in each) for each in missed if len(each) == least))
