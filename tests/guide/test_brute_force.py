"""Guidance says of every option what judging everything that may come of it says.

The truth is enumerated by the ordinary check over 500 random small workshops (:mod:`support.brute_force`); that the
enumeration itself is right is held against a second one that judges specs one by one and takes no shortcut, and that
the workshops bind where guidance is difficult is counted.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from support.brute_force import (
    Oracle,
    TrueOption,
    Truth,
    World,
    chosen_of,
    completions,
    fired,
    in_bulk,
    one_by_one,
    truth_in,
    value_at,
)
from support.partial_specs import context, partial, with_choices
from support.small_workshops import small_workshop

from rules.columns import judge_specs
from rules.guide import guide, stocked
from rules.guide.reasons import clash_of
from rules.guide.situation import Guides
from rules.guide.standing import Standing
from rules.shop import Shop
from rules.spec import PartChoice, Spec

CHUNK = 20
SEEDS = 500
CLASH_SEEDS = 100
FALLBACK_SEEDS = 12
DRAWN = 4
#: Specs that are judged one by one are dear.
NAIVE_SEEDS, NAIVE_ROWS = 20, 300
COUNTED_SEEDS = 31
#: Rules of which it is counted how often they close an option; all of them are the only obstacle there.
SEAMS = ("STK-01", "STK-03")
STOCK = ("STO-01", "STO-03")
SEVERAL_LOTS = "STO-04"
LEAST = {
    "open": 250, "sign_off": 350, "closed": 1_000, "joint stock": 50, "house": 45, "seams": 30, "several lots": 8,
    "spec open": 15, "spec sign_off": 20, "spec closed": 25,
}  # fmt: skip


def drawn(seed: int) -> Iterator[tuple[Oracle, Spec]]:
    """Give random partial specs of a workshop, those of one pattern in one context after each other."""
    shop, today = small_workshop(seed)
    oracle, draw = Oracle(shop, today), random.Random(f"partial {seed}")
    asked = context(shop, draw.choice(list(shop.catalog.patterns)), draw)
    world = oracle.world(asked)
    for place in range(DRAWN):
        spec = partial(world, asked, draw)
        yield oracle, _retired(shop, spec, draw) if place == DRAWN - 1 and seed % 8 == 0 else spec


def _retired(shop: Shop, spec: Spec, draw: random.Random) -> Spec:
    """Ask for a leather of the past, where the workshop has one."""
    old = [code for code, leather in shop.catalog.leathers.items() if leather.status == "retired"]
    if not old:
        return spec
    part = draw.choice(shop.catalog.patterns[spec.pattern].parts)
    return replace(spec, parts={**spec.parts, part: PartChoice(draw.choice(old))})


def _chunks(seeds: int, always: int) -> list[Any]:
    """Return the first seed of each chunk; those beyond some run only where long tests do."""
    return [
        first if first < always else pytest.param(first, marks=pytest.mark.long) for first in range(0, seeds, CHUNK)
    ]


@pytest.mark.parametrize("first", _chunks(SEEDS, 80))
def test_every_option_is_what_judging_all_says(first: int) -> None:
    wrong: list[Any] = []
    for seed in range(first, first + CHUNK):
        for oracle, spec in drawn(seed):
            found, true = guide(oracle.shop, spec, oracle.today, figures=True), oracle.truth(spec)
            assert found.exact
            wrong += [(seed, spec, *each) for each in _differences(found, true)]
    assert wrong == []


@pytest.mark.parametrize("ways", [1, 20_000])
def test_states_are_the_same_without_a_diagram(ways: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Too entangled to be compiled, and with too many ways of taking lots to look at them all beforehand."""
    monkeypatch.setattr(stocked, "MOST_WAYS", ways)
    wrong: list[Any] = []
    for seed in range(FALLBACK_SEEDS):
        for oracle, spec in drawn(seed):
            oracle.shop.guides["guides"] = Guides(most_arcs=1)
            found, true = guide(oracle.shop, spec, oracle.today, figures=True), oracle.truth(spec)
            states = {slot.pointer: {_key(each.value): each.state for each in slot.options} for slot in found.slots}
            for pointer, options in true.options.items():
                for value, option in options.items():
                    key = _key(value / 1000 if pointer.startswith("/sizes/") else value)
                    if pointer in states and len(options) > 1 and states[pointer].get(key) != option.state:
                        wrong.append((seed, spec, pointer, value, states[pointer].get(key), option.state))
    assert wrong == []


def test_what_is_too_entangled_is_found_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    oracle, spec = next(drawn(0))
    oracle.shop.guides["guides"] = Guides(most_arcs=1)
    compile_, tried = Standing.diagram, Counter[int]()

    def counted(self: Standing, level: int, *others: Any) -> Any:
        tried[level] += 1
        return compile_(self, level, *others)

    monkeypatch.setattr(Standing, "diagram", counted)
    for choices in (spec, replace(spec, thread=None), replace(spec, edge=None)):
        assert not guide(oracle.shop, choices, oracle.today).exact
    assert max(tried.values()) == 1


def test_what_was_not_looked_at_is_known_to_the_next_order_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is said of a leather is kept from one order to the next, and with it that it is not all."""
    monkeypatch.setattr(stocked, "MOST_WAYS", 1)
    told = 0
    for seed in range(FALLBACK_SEEDS):
        oracle, spec = next(drawn(seed))
        oracle.shop.guides["guides"] = Guides()
        first = guide(oracle.shop, spec, oracle.today)
        other = replace(spec, catalog_revision="another")
        assert guide(oracle.shop, other, oracle.today).exact == first.exact
        told += not first.exact
    assert told > FALLBACK_SEEDS // 4


@pytest.mark.parametrize("first", _chunks(CLASH_SEEDS, 20))
def test_the_smallest_clashes_are_what_judging_all_says(first: int) -> None:
    wrong: list[Any] = []
    for seed in range(first, first + CHUNK):
        for oracle, spec in drawn(seed):
            clash, true = clash_of(guide(oracle.shop, spec, oracle.today)), oracle.truth(spec)
            told = set() if clash is None else {tuple(sorted(each)) for each in clash.choices}
            if told != true.smallest:
                wrong.append((seed, spec, told, true.smallest))
    assert wrong == []


def _differences(found: Any, true: Truth) -> Iterator[tuple[Any, ...]]:
    """Give where guidance and truth differ: pointer, value, what guidance says, what is true."""
    if found.state != true.whole.state:
        yield "", "state", found.state, true.whole.state
    told = {slot.pointer: {_key(option.value): _told(option) for option in slot.options} for slot in found.slots}
    for pointer, options in true.options.items():
        said = told.get(pointer, {})
        if not said and (pointer == "/monogram" or len(options) == 1):
            continue  # nothing to choose
        for value, option in options.items():
            key = _key(value if not pointer.startswith("/sizes/") else value / 1000)
            if said.get(key) != option:
                yield pointer, value, said.get(key), option
        known = {_key(value if not pointer.startswith("/sizes/") else value / 1000) for value in options}
        yield from ((pointer, key, option, None) for key, option in said.items() if key not in known)


def _told(option: Any) -> TrueOption:
    return TrueOption(option.state, option.cheapest_minor, option.dearest_minor, option.completions or 0)


def _key(value: Any) -> Any:
    return (value["leather"], value["side"]) if isinstance(value, dict) else value


@pytest.mark.parametrize("seed", range(NAIVE_SEEDS))
def test_the_enumeration_is_what_judging_one_by_one_says(seed: int) -> None:
    shop, today = small_workshop(seed)
    oracle, draw = Oracle(shop, today), random.Random(f"naive {seed}")
    spec = context(shop, draw.choice(list(shop.catalog.patterns)), draw)
    row = draw.choice([*_makeable(oracle.world(spec)), *oracle.world(spec).rows[:1]])
    pointers = [f"/parts/{part}" for part in row.parts] + ["/edge", "/stitch", "/thread"]
    draw.shuffle(pointers)
    while len(rows := completions(shop, spec)) > NAIVE_ROWS and pointers:
        pointer = pointers.pop()
        spec = with_choices(spec, {pointer: value_at(row, pointer)})
    true, chosen = oracle.truth(spec), chosen_of(shop, spec)
    outcomes, totals = one_by_one(shop, rows, today)
    assert true.whole == _naive(rows, outcomes, totals)
    for pointer, options in true.options.items():
        if pointer in chosen or pointer == "/modifications":
            continue
        for value, option in options.items():
            own = [place for place, each in enumerate(rows) if value_at(each, pointer) == value]
            assert option == _naive([rows[place] for place in own], outcomes[own], totals[own])


def _makeable(world: World) -> list[Spec]:
    return [row for row, outcome in zip(world.rows, world.outcomes, strict=True) if outcome < 2]


def _naive(rows: Sequence[Spec], outcomes: NDArray[np.int64], totals: NDArray[np.int64]) -> TrueOption:
    best = min(outcomes.tolist(), default=2)
    if best == 2:
        return TrueOption("closed", None, None, 0)
    good = [rows[place] for place in np.flatnonzero(outcomes == best)]
    without_letters = {repr(replace(row, monogram=row.monogram and replace(row.monogram, text=""))) for row in good}
    prices = [total for total in totals[outcomes == best].tolist() if total >= 0]
    ends = (min(prices), max(prices)) if prices else (None, None)
    return TrueOption("open" if best == 0 else "sign_off", *ends, len(without_letters))


@pytest.mark.parametrize("seed", range(NAIVE_SEEDS))
def test_clashes_and_repairs_are_what_trying_every_set_of_choices_says(seed: int) -> None:
    for oracle, spec in drawn(seed):
        true, chosen = oracle.truth(spec), chosen_of(oracle.shop, spec)
        if spec.monogram is not None or len(chosen) > 4:
            continue
        bare = replace(
            spec, parts={}, thread=None, stitch=None, edge=None, hardware={}, sizes_um={}, modifications=(),
            purpose=replace(spec.purpose, use=None),
        )  # fmt: skip
        best = {
            kept: _best(oracle, with_choices(bare, {pointer: chosen[pointer] for pointer in kept}))
            for count in range(len(chosen) + 1)
            for kept in map(frozenset, combinations(chosen, count))
        }
        clashing = {kept for kept, outcome in best.items() if outcome == 2}
        minimal = {kept for kept in clashing if not any(other < kept for other in clashing)}
        assert {frozenset(each) for each in true.minimal} == minimal
        assert {frozenset(each) for each in true.smallest} == {
            kept for kept in minimal if len(kept) == min(map(len, minimal))
        }
        for worst, repair in ((1, true.nearest), (0, true.nearest_buildable)):
            good = [kept for kept, outcome in best.items() if outcome <= worst]
            most = max(map(len, good), default=None)
            assert repair.changes == (None if most is None else len(chosen) - most)
            assert repair.ways == {frozenset(chosen) - kept for kept in good if len(kept) == most}


def _best(oracle: Oracle, spec: Spec) -> int:
    outcomes, _ = in_bulk(oracle.shop, completions(oracle.shop, spec), oracle.today)
    return int(outcomes.min(initial=2))


def test_all_completions_are_listed() -> None:
    """Their number is the product of what each slot takes, counted from the catalog."""
    for seed in range(NAIVE_SEEDS):
        shop, _ = small_workshop(seed)
        catalog = shop.catalog
        for pattern in catalog.patterns.values():
            rows = completions(shop, Spec(pattern=pattern.code))
            leathers = sum(leather.status != "retired" for leather in catalog.leathers.values())
            count = (2 * leathers) ** len(pattern.parts) * len(catalog.threads) * len(catalog.edges)
            count *= len(pattern.stitches) * 2 ** len(pattern.modifications)
            count *= len(pattern.uses) if pattern.load.load_class == "bearing" else 1
            for fixing in pattern.fixings.values():
                suiting = sum(each.type in fixing.types for each in catalog.hardware.values())
                count *= suiting + (not fixing.required)
            for size in pattern.sizes.values():
                count *= len(size.offered_um)
            methods = {method for face in catalog.typefaces.values() for method in face.methods}
            inks = sum(len(catalog.foils) if method == "foil" else 1 for method in methods)
            assert len(rows) == count * (1 + 26 * inks * len(catalog.typefaces) * len(pattern.zones))
            assert len({repr(row) for row in rows}) == len(rows)


def reasons(seed: int) -> Counter[str]:
    """Count options of partial specs by state, and by what alone closes them or keeps them from being closed."""
    found: Counter[str] = Counter()
    for oracle, spec in drawn(seed):
        world, chosen = oracle.world(spec), chosen_of(oracle.shop, spec)
        told = _states(oracle.truth(spec))
        found.update(told.values())
        found[f"spec {oracle.truth(spec).whole.state}"] += 1
        for reason, outcomes in _without(oracle, world).items():
            other = _states(truth_in(replace(world, outcomes=outcomes), chosen))
            found[reason] += sum((told[each] == "closed") != (other[each] == "closed") for each in told)
    return found


def _states(true: Truth) -> dict[tuple[str, Any], str]:
    return {
        (pointer, value): option.state for pointer, options in true.options.items() for value, option in options.items()
    }


def _without(oracle: Oracle, world: World) -> Mapping[str, NDArray[np.int64]]:
    """Return the outcomes of a world as they were if some rules said nothing, or if no part came from several lots."""
    judged = judge_specs(oracle.shop, world.rows, oracle.today)

    def says(rules: Sequence[str], severity: str) -> NDArray[np.bool_]:
        return fired(
            judged.bits,
            [at for at, (rule, own) in enumerate(judged.fired) if own == severity and rule.startswith(tuple(rules))],
        )

    def but_for(rules: Sequence[str], rows: NDArray[np.bool_] | None = None) -> NDArray[np.int64]:
        others = [rule for rule, _ in judged.fired if not rule.startswith(tuple(rules))]
        freed = (world.outcomes == 2) & ~says(others, "refuse") & (True if rows is None else rows)
        return np.where(freed, says(others, "sign_off").astype(np.int64), world.outcomes)

    several = says([SEVERAL_LOTS], "sign_off")
    return {
        "seams": but_for(SEAMS),
        "house": but_for(["H-"]),
        "joint stock": but_for(STOCK, _joint(world, says(STOCK, "refuse"))),
        "several lots": np.where(several, 2, world.outcomes),
    }


def _joint(world: World, short: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the rows short of leather of which each part alone would have enough: no other takes from its lots."""
    uses = [Counter(asked.leather for asked in row.parts.values()) for row in world.rows]
    enough = {
        (part, asked.leather)
        for row, used, lacks in zip(world.rows, uses, short, strict=True)
        for part, asked in row.parts.items()
        if not lacks and used[asked.leather] == 1
    }

    def would_do(row: Spec, used: Counter[str | None]) -> bool:
        return all((part, asked.leather) in enough for part, asked in row.parts.items() if used[asked.leather] > 1)

    told = zip(world.rows, uses, short, strict=True)
    return np.array([lacks and would_do(row, used) for row, used, lacks in told], dtype=bool)


def test_the_workshops_bind_where_guidance_is_difficult() -> None:
    """Least counts are about half of what was counted when the workshops were made as they are."""
    found = sum((reasons(seed) for seed in range(COUNTED_SEEDS)), Counter())
    assert {reason: found[reason] for reason, least in LEAST.items() if found[reason] < least} == {}
