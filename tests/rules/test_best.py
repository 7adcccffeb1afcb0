"""The best choice among wishes: what brute force finds, never worse than in order, made as it was promised."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from itertools import count, product
from typing import Literal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from catalog.model import Catalog, FreeRectangle, HeldPanel, Lot
from catalog.quantities import Span
from rules.best import Selection, Wish, best_together
from rules.best.loads import Group, Problem
from rules.best.master import Master
from rules.best.prices import Prices
from rules.best.room import Lies, Room
from rules.best.scales import Scales
from rules.case import Case
from rules.check import Verdict, judge
from rules.judge import Fired
from rules.lots import sets_of
from rules.needs import Needs, less, lie_together, named, needs_of
from rules.pricing import priced
from rules.shop import Shop
from rules.spec import PartChoice, Spec
from rules.themes import known_good

Measure = Literal["count", "total"]
MEASURES: tuple[Measure, ...] = ("count", "total")
FEW = 60
ALL = 300
_MARKS = count()


def rest(shop: Shop, catalog: Catalog) -> Shop:
    """A shop over another stock, its lots named anew, as the service makes one."""
    return shop.restocked(named(catalog, shop.catalog, f"best {next(_MARKS)}"), 0, 0)


def in_order(shop: Shop, specs: Sequence[Spec | None], today: date) -> list[Verdict | None]:
    """Take rows one after another, each from what the ones before it leave."""
    left, verdicts = shop, []
    for spec in specs:
        verdict = None if spec is None else judge(left, spec, today)
        made = verdict is not None and verdict.outcome != "refused"
        verdicts.append(verdict if made else None)
        if verdict is not None and made:
            left = rest(left, less(left.catalog, [needs_of(verdict.case)], shop.warehouse.gap_um))
    return verdicts


def value_of(shop: Shop, spec: Spec, maximize: Measure) -> int:
    if maximize == "count":
        return 1
    price = priced(shop.piece(spec))
    assert price is not None
    return price.total_minor


def made_again(shop: Shop, specs: Sequence[Spec | None], chosen: Selection, today: date, maximize: Measure) -> int:
    """Make the rows chosen, in order, each from the lots it was given; return what they count."""
    left, value = shop, 0
    for row, lots in sorted(chosen.given.items()):
        spec = specs[row]
        assert spec is not None
        verdict = judge(left, replace(spec, lots=lots), today)
        assert verdict.outcome != "refused", (row, [finding.rule for finding in verdict.findings])
        assert {part: tuple(lot.code for lot in own) for part, own in verdict.case.lots.items()} == dict(lots)
        left = rest(left, less(left.catalog, [needs_of(verdict.case)], shop.warehouse.gap_um))
        value += value_of(shop, spec, maximize)
    return value


def options_by_brute_force(shop: Shop, spec: Spec, today: date) -> list[Needs]:
    """What a row takes under every assignment by which no rule refuses it, each rule judged on each instance."""
    piece = shop.piece(spec)
    judges = shop.judges(today)
    frame = judges.frame(piece, shop.warehouse)
    if frame is None:
        return []
    blank = Case(piece, {}, shop.warehouse, today)
    choices = [[lots for lots, _ in sets_of(blank, frame, part)] for part in piece.parts]
    found = []
    for lots in product(*choices):
        case = Case(piece, dict(zip(piece.parts, lots, strict=True)), shop.warehouse, today)
        words = [said for _, _, said in judges.words_on(case)]
        if not any(isinstance(said, Fired) and said.severity == "refuse" for said in words):
            found.append(needs_of(case))
    return found


def lie(shop: Shop, needs: Sequence[Needs]) -> bool:
    """Whether needs lie together in the stock, and the rush among them in the room kept for rush orders."""
    minutes = sum(each.minutes for each in needs if each.rush)
    if minutes > shop.catalog.workshop.rush_minutes_per_week:
        return False
    fresh = rest(shop, replace(shop.catalog, lots=dict(shop.catalog.lots)))
    return lie_together(fresh.catalog, needs, shop.warehouse)


def best_by_brute_force(shop: Shop, specs: Sequence[Spec], today: date, maximize: Measure) -> int:
    """The most that any rows with any of their options count that lie together."""
    values = [value_of(shop, spec, maximize) if options_by_brute_force(shop, spec, today) else 0 for spec in specs]
    options = [options_by_brute_force(shop, spec, today) for spec in specs]
    most = 0

    def descend(row: int, taken: tuple[Needs, ...], value: int) -> None:
        nonlocal most
        most = max(most, value)
        if row == len(specs) or value + sum(values[row:]) <= most:
            return
        for needs in options[row]:
            if lie(shop, [*taken, needs]):
                descend(row + 1, (*taken, needs), value + values[row])
        descend(row + 1, taken, value)

    descend(0, (), 0)
    return most


@dataclass(frozen=True)
class Listed:
    """A small list over a small stock."""

    shop: Shop
    specs: list[Spec]


#: Leathers that rows are drawn from; of some there are several lots, and all are small here.
LEATHERS = ("GO-BLK", "GO-COR", "SH-BLK", "VS-COG")
PATTERNS = ("sleeve", "gusset", "upright", "fob", "wstrap", "twofold")


def small_list(shop: Shop, seed: int) -> Listed:
    """Random rows over little leather: which thing runs out differs from list to list."""
    draw = random.Random(f"small list {seed}")
    catalog = shop.catalog
    lots = {code: small(lot, draw) if lot.leather in LEATHERS else lot for code, lot in catalog.lots.items()}
    catalog = replace(catalog, lots=lots)
    patterns = [catalog.patterns[code] for code in PATTERNS if code in catalog.patterns]
    specs = []
    for _ in range(draw.randrange(3, 8)):
        pattern = draw.choice(patterns)
        spec = known_good(pattern)
        parts = {
            part: PartChoice(draw.choice(LEATHERS)) if draw.random() < 0.4 else asked
            for part, asked in spec.parts.items()
        }
        quantity = draw.choice((1, 1, 1, 2))
        specs.append(replace(spec, parts=parts, quantity=quantity, rush=draw.random() < 0.25))
    scarce = seed % 4
    if scarce == 1:
        codes = {spec.thread for spec in specs}
        threads = {
            c: replace(t, left_um=draw.randrange(3_000_000, 9_000_000)) if c in codes else t
            for c, t in catalog.threads.items()
        }
        catalog = replace(catalog, threads=threads)
    elif scarce == 2:
        hardware = {code: replace(each, stock=draw.randrange(1, 4)) for code, each in catalog.hardware.items()}
        catalog = replace(catalog, hardware=hardware)
    elif scarce == 3:
        codes = {spec.edge for spec in specs}
        edges = {
            c: replace(e, left_ul=draw.randrange(2_000, 9_000)) if c in codes and e.left_ul else e
            for c, e in catalog.edges.items()
        }
        catalog = replace(
            catalog, edges=edges, workshop=replace(catalog.workshop, rush_minutes_per_week=draw.randrange(100, 500))
        )
    return Listed(rest(shop, catalog), specs)


def small(lot: Lot, draw: random.Random) -> Lot:
    """A lot with a rectangle or two of a hand's size, now and then with a panel that is held for somebody."""
    sides = [(draw.randrange(110, 300), draw.randrange(90, 220)) for _ in range(draw.randrange(1, 3))]
    rects = tuple(FreeRectangle(along * 1_000, across * 1_000) for along, across in sides)
    area = sum(rect.along_um * rect.across_um for rect in rects)
    held = (HeldPanel(64_000, 30_000, True, 1),) if draw.random() < 0.3 else ()
    left = area * draw.choice((13, 15, 18)) // 10
    return replace(
        lot, left_um2=left, reserved_um2=0, rectangles=rects, held=held, held_um2=4_000_000_000 if held else 0
    )


def assert_as_brute_force(shop: Shop, seed: int, today: date) -> None:
    listed = small_list(shop, seed)
    placed = in_order(listed.shop, listed.specs, today)
    for maximize in MEASURES:
        most = best_by_brute_force(listed.shop, listed.specs, today, maximize)
        for known in ((), placed):
            chosen = best_together(
                listed.shop, listed.specs, today, maximize=maximize, seconds=30, rest=rest, placed=known
            )  # fmt: skip
            assert (seed, maximize, chosen.value, chosen.bound) == (seed, maximize, most, most)
            assert chosen.proven
            assert made_again(listed.shop, listed.specs, chosen, today, maximize) == most


@pytest.mark.parametrize("sixth", range(6))
def test_the_best_of_a_small_list_is_what_brute_force_finds(sixth: int, shop: Shop, today: date) -> None:
    for seed in range(sixth * FEW // 6, (sixth + 1) * FEW // 6):
        assert_as_brute_force(shop, seed, today)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(FEW, ALL))
def test_the_best_of_many_small_lists_is_what_brute_force_finds(seed: int, shop: Shop, today: date) -> None:
    assert_as_brute_force(shop, seed, today)


def test_small_lists_are_of_every_sort(shop: Shop, today: date) -> None:
    """Everything can be made, nothing can, in order is not the best, and each supply sets a limit somewhere."""
    seen: Counter[str] = Counter()
    for seed in range(FEW):
        listed = small_list(shop, seed)
        placed = in_order(listed.shop, listed.specs, today)
        chosen = best_together(listed.shop, listed.specs, today, maximize="count", seconds=30, rest=rest)
        seen["everything"] += len(chosen.given) == len(listed.specs)
        seen["better than in order"] += len(chosen.given) > sum(verdict is not None for verdict in placed)
        seen["held"] += any(lot.held for lot in listed.shop.catalog.lots.values())
        seen["two parts of one leather"] += any(
            len({asked.leather for asked in spec.parts.values()}) < len(spec.parts) for spec in listed.specs
        )
        seen["several pieces"] += any(spec.quantity > 1 for spec in listed.specs)
        seen["rush"] += any(spec.rush for spec in listed.specs)
        seen["several lots for a part"] += any(
            len(lots) > 1 for given in chosen.given.values() for lots in given.values()
        )  # fmt: skip
        ran_out = {
            finding.rule
            for spec, verdict in zip(listed.specs, placed, strict=True)
            if verdict is None
            for finding in judge(after(listed.shop, placed), spec, today).findings
            if finding.severity == "refuse"
        }
        seen.update(ran_out)
    wanted = [
        "everything", "better than in order", "held", "two parts of one leather", "several pieces", "rush",
        "several lots for a part", "STO-01", "STO-03", "STI-02", "HDW-03", "EDG-03", "PRC-03",
    ]  # fmt: skip
    assert [each for each in wanted if not seen[each]] == []


def after(shop: Shop, placed: Sequence[Verdict | None]) -> Shop:
    """A shop with all that was made taken away."""
    needs = [needs_of(verdict.case) for verdict in placed if verdict is not None]
    return rest(shop, less(shop.catalog, needs, shop.warehouse.gap_um))


def good_specs(shop: Shop) -> list[Spec]:
    return [known_good(pattern) for pattern in shop.catalog.patterns.values()]


def chosen_from(shop: Shop, specs: Sequence[Spec | None], today: date, maximize: Measure = "count") -> Selection:
    return best_together(shop, specs, today, maximize=maximize, seconds=10, rest=rest)


@pytest.mark.parametrize("maximize", MEASURES)
def test_of_an_empty_list_nothing_is_chosen_and_that_is_proven(maximize: Measure, shop: Shop, today: date) -> None:
    chosen = chosen_from(shop, [], today, maximize)
    assert (dict(chosen.given), chosen.value, chosen.bound, chosen.proven) == ({}, 0, 0, True)


def test_rows_that_could_not_be_read_or_cannot_be_made_never_take_part(shop: Shop, today: date) -> None:
    good = good_specs(shop)[0]
    specs = [None, replace(good, thread="TH-NONE"), replace(good, pattern="nothing of ours"), None]
    chosen = chosen_from(shop, specs, today)
    assert (dict(chosen.given), chosen.value, chosen.proven) == ({}, 0, True)


@pytest.mark.parametrize("maximize", MEASURES)
def test_where_everything_can_be_made_everything_is_chosen(maximize: Measure, shop: Shop, today: date) -> None:
    specs = good_specs(shop)[:4]
    chosen = chosen_from(shop, [*specs, None], today, maximize)
    assert sorted(chosen.given) == [0, 1, 2, 3]
    assert chosen.proven
    assert chosen.value == sum(value_of(shop, spec, maximize) for spec in specs)
    assert made_again(shop, specs, chosen, today, maximize) == chosen.value


def test_one_row_that_can_be_made_is_chosen_with_lots_for_every_part(shop: Shop, today: date) -> None:
    spec = good_specs(shop)[0]
    chosen = chosen_from(shop, [spec], today)
    assert chosen.value == chosen.bound == 1
    assert set(chosen.given[0]) == set(shop.catalog.patterns[spec.pattern].parts)
    assert made_again(shop, [spec], chosen, today, "count") == 1


def test_a_row_with_lots_named_is_cut_from_them(shop: Shop, today: date) -> None:
    spec = good_specs(shop)[0]
    leather = spec.parts["inside"].leather
    assert leather is not None
    for lot in shop.catalog.lots_of(leather):
        named_lot = replace(spec, lots={"inside": (lot.code,)})
        chosen = chosen_from(shop, [named_lot], today)
        if judge(shop, named_lot, today).outcome == "refused":
            assert dict(chosen.given) == {}
        else:
            assert chosen.given[0]["inside"] == (lot.code,)


@pytest.mark.parametrize("maximize", MEASURES)
def test_the_same_list_gives_the_same_answer(maximize: Measure, shop: Shop, today: date) -> None:
    draw = random.Random("the same answer")
    specs = [replace(draw.choice(good_specs(shop)), quantity=draw.choice((2, 4, 6))) for _ in range(40)]
    one, other = (best_together(shop, specs, today, maximize=maximize, seconds=3, rest=rest) for _ in range(2))
    assert one == other
    assert 0 < one.value <= one.bound


@pytest.mark.parametrize("maximize", MEASURES)
def test_it_is_never_worse_than_in_order_even_with_no_time_at_all(maximize: Measure, shop: Shop, today: date) -> None:
    draw = random.Random("no time")
    specs = [replace(draw.choice(good_specs(shop)), quantity=draw.choice((2, 4, 6))) for _ in range(30)]
    placed = in_order(shop, specs, today)
    in_turn = sum(value_of(shop, spec, maximize) for spec, each in zip(specs, placed, strict=True) if each is not None)
    for enough in (lambda: True, lambda: False):
        chosen = best_together(
            shop, specs, today, maximize=maximize, seconds=0.01, rest=rest, placed=placed, enough=enough
        )  # fmt: skip
        assert in_turn <= chosen.value <= chosen.bound
        assert made_again(shop, specs, chosen, today, maximize) == chosen.value


def test_a_row_for_which_there_is_more_to_try_than_was_tried_never_makes_the_bound_untrue() -> None:
    """Its options cut nothing off the bound: it may be taken at no cost there."""
    wish = Wish(1, (), whole=False)
    problem = problem_of_nothing([wish, Wish(1, ())])
    master = Master(problem)
    answer = master.solve(0, 1.0, {}, Prices(master), tree=False)
    assert Prices(master).bound == 1
    assert answer.bound == 1


def test_a_lot_whose_holds_no_longer_fit_gives_nothing_and_leaves_the_others_alone(shop: Shop, today: date) -> None:
    spec = good_specs(shop)[0]
    part = next(iter(spec.parts))
    leather = spec.parts[part].leather
    assert leather is not None
    first = shop.catalog.lots_of(leather)[0]
    full = replace(first, held=(HeldPanel(300_000, 300_000, False, 40),), held_um2=first.left_um2)
    short = rest(shop, replace(shop.catalog, lots={**shop.catalog.lots, first.code: full}))
    others = [each for each in good_specs(shop) if all(use.leather != leather for use in each.parts.values())]
    chosen = chosen_from(short, [spec, *others[:2]], today)
    alone = [judge(short, each, today).outcome != "refused" for each in (spec, *others[:2])]
    assert sorted(chosen.given) == [row for row, good in enumerate(alone) if good]
    assert chosen.proven


sizes = st.tuples(
    st.integers(20, 120).map(lambda mm: mm * 1_000), st.integers(20, 120).map(lambda mm: mm * 1_000), st.booleans()
).map(lambda each: (max(each[:2]), min(each[:2]), each[2]) if each[2] and each[0] != each[1] else (*each[:2], False))


@given(st.dictionaries(sizes, st.integers(1, 4), min_size=1, max_size=4), st.integers(1, 2), st.integers(0, 1))
@settings(max_examples=150, deadline=None)
def test_weighed_limits_are_kept_by_all_panels_that_lie(
    counts: dict[tuple[int, int, bool], int], rects: int, held: int
) -> None:
    room = a_room(rects, held)
    broken = Scales(room, sorted(counts)).broken(counts)
    if room.verdict(counts) is Lies.YES:
        assert broken == []
    for weights, most in broken:
        assert sum(weights.get(size, 0) * count for size, count in counts.items()) > most


@given(sizes, sizes)
@settings(max_examples=150, deadline=None)
def test_a_panel_that_covers_another_leaves_it_room(
    one: tuple[int, int, bool], other: tuple[int, int, bool]
) -> None:  # fmt: skip
    room = a_room(1, 0)
    if room.covers(one, other) and room.verdict({one: 2}) is Lies.YES:
        assert room.verdict({other: 2}) is Lies.YES


@given(st.dictionaries(sizes, st.integers(1, 4), min_size=1, max_size=4))
@settings(max_examples=100, deadline=None)
def test_fewer_panels_that_do_not_lie_are_some_of_those_given_and_do_not_lie(
    counts: dict[tuple[int, int, bool], int]
) -> None:  # fmt: skip
    room = a_room(1, 1)
    said = room.verdict(counts)
    if said is not Lies.YES:
        least = room.least(counts, said)
        assert all(count <= counts[size] for size, count in least.items())
        assert room.verdict(least) in {Lies.NO, said}


def a_room(rects: int, held: int) -> Room:
    """A lot of one or two rectangles with or without a panel held in it, of a kind whose yield sets no limit."""
    sides = ((260_000, 180_000), (150_000, 120_000))[:rects]
    lot = Lot(
        code="L1", leather="X", form="hide", mill_stamp=None, stamp_unit=None, left_um2=10**12, reserved_um2=0,
        thickness=Span(1_000, 1_200), rectangles=tuple(FreeRectangle(*each) for each in sides), drift_milli=0,
        stamp_legible=False, grade="A", held=(HeldPanel(64_000, 30_000, turnable=True, count=1),) * held,
    )  # fmt: skip
    return Room(lot, Fraction(1), 3_000)


def problem_of_nothing(wishes: Sequence[Wish]) -> Problem:
    groups = tuple(Group(wish.value, (), wish.whole, [row]) for row, wish in enumerate(wishes) if not wish.whole)
    return Problem(groups, (), {})
