"""The best assignment of lots: nothing tried by brute force is better; nothing is oversold."""

from __future__ import annotations

import json
import random
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from datetime import date
from fractions import Fraction
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest

from catalog.model import Lot
from rules.case import Case
from rules.check import judge
from rules.evaluate import OUTCOMES, order_of, rank_of
from rules.judge import Fired
from rules.layout import verify
from rules.piece import Piece
from rules.preference import preference
from rules.sample import as_repeat, sample_spec, sample_specs
from rules.sample_more import with_more
from rules.shop import Shop
from rules.spec import Spec
from rules.stock import need_um2
from rules.themes import known_good

EXAMPLES = json.loads((Path(__file__).parents[1] / "data" / "example-specs.json").read_text(encoding="utf-8"))
RANDOM_SPECS = 2_000


def order_by_brute_force(shop: Shop, piece: Piece, lots: dict[str, tuple[Lot, ...]], today: date) -> tuple[int, ...]:
    """Judge one assignment with every rule on every instance: no memo, no bound, no order."""
    case = Case(piece, lots, shop.warehouse, today)
    words = shop.judges(today).words_on(case)
    return order_of(rank_of((rule.id, said.severity) for rule, _, said in words if isinstance(said, Fired)))


def choices(piece: Piece, part: str, *, several: bool) -> list[tuple[Lot, ...]]:
    """Every lot, or every set of lots, that a part may be given."""
    leather = piece.parts[part].leather
    stock = [] if leather is None else [lot for lot in piece.catalog.lots.values() if lot.leather == leather.code]
    named = [lot for lot in stock if lot.code in piece.spec.lots.get(part, ())]
    if named:
        return [tuple(named)]
    sizes = range(1, len(stock) + 1) if several else range(1, 2)
    return [subset for size in sizes for subset in combinations(stock, size)] or [()]


def every_assignment(piece: Piece, *, several: bool) -> Iterator[dict[str, tuple[Lot, ...]]]:
    """Every assignment, in no particular order."""

    def descend(parts: Sequence[str], lots: dict[str, tuple[Lot, ...]]) -> Iterator[dict[str, tuple[Lot, ...]]]:
        if not parts:
            yield lots
            return
        for choice in choices(piece, parts[0], several=several):
            yield from descend(parts[1:], {**lots, parts[0]: choice})

    yield from descend(tuple(piece.parts), {})


def assert_best(shop: Shop, spec: Spec, today: date) -> None:
    """No other assignment ranks better, and none as good is preferred."""
    verdict = judge(shop, spec, today)
    piece = shop.piece(spec)
    if not piece.parts:
        return
    orders = [
        (order_by_brute_force(shop, piece, lots, today), key_of(piece, lots))
        for lots in every_assignment(piece, several=False)
    ]
    if min(orders)[0][0] == 2:
        orders = [
            (order_by_brute_force(shop, piece, lots, today), key_of(piece, lots))
            for lots in every_assignment(piece, several=True)
        ]
    assert (verdict.order, key_of(piece, dict(verdict.case.lots))) == min(orders)


def key_of(piece: Piece, lots: dict[str, tuple[Lot, ...]]) -> tuple[Any, ...]:
    return tuple(preference(piece, part, lots[part]) for part in piece.parts)


@pytest.mark.parametrize("example", EXAMPLES, ids=[example["id"] for example in EXAMPLES])
def test_no_other_assignment_of_an_example_is_better(
    example: dict[str, Any], shop: Shop, spec_of: Callable[[dict[str, Any]], Spec], today: date
) -> None:
    assert_best(shop, spec_of(example["spec"]), today)


def drawn(shop: Shop, today: date) -> Iterator[Spec]:
    """Random specs; of every 32 one repeats an order, and four come a second time and say more."""
    draw, more = random.Random("repeats"), random.Random("more")
    for place, spec in enumerate(sample_specs(shop.catalog, random.Random(20260302), today, 4 * RANDOM_SPECS)):
        yield spec if place % 32 else as_repeat(spec, shop.catalog, draw)
        if place % 8 == 1:
            yield with_more(spec, shop.catalog, more)


@pytest.fixture(scope="module")
def random_specs(shop: Shop, today: date) -> list[Spec]:
    """2,000 of 8,000 random specs, some repeats, some that say more: first those whose outcome or rules are rare."""
    outcomes: Counter[str] = Counter()
    fired: Counter[str] = Counter()
    kept: list[Spec] = []
    spare: list[Spec] = []
    for spec in drawn(shop, today):
        verdict = judge(shop, spec, today)
        rules = {finding.rule for finding in verdict.findings}
        if outcomes[verdict.outcome] < RANDOM_SPECS // 5 or any(fired[rule] < 25 for rule in rules):
            kept.append(spec)
            outcomes[verdict.outcome] += 1
            fired.update(rules)
        else:
            spare.append(spec)
    return [*kept, *spare][:RANDOM_SPECS]


@pytest.mark.parametrize("tenth", range(10))
def test_no_other_assignment_of_a_random_spec_is_better(
    tenth: int, random_specs: list[Spec], shop: Shop, today: date
) -> None:
    share = RANDOM_SPECS // 10
    for spec in random_specs[tenth * share : (tenth + 1) * share]:
        assert_best(shop, spec, today)


def test_random_specs_reach_every_outcome_and_every_rule(random_specs: list[Spec], shop: Shop, today: date) -> None:
    """Each outcome has at least 15 % of the 2,000, and every rule of the trade fires at least 20 times."""
    outcomes: Counter[str] = Counter()
    fired: Counter[str] = Counter()
    for spec in random_specs:
        verdict = judge(shop, spec, today)
        outcomes[verdict.outcome] += 1
        fired.update({finding.rule for finding in verdict.findings})
    assert len(random_specs) == RANDOM_SPECS
    assert {outcome for outcome in OUTCOMES if outcomes[outcome] < 0.15 * RANDOM_SPECS} == set()
    asked = [rule.id for rule in shop.book.rules.values() if "check" in rule.stages and rule.family != "house"]
    assert {rule: fired[rule] for rule in asked if fired[rule] < 20} == {}


@pytest.mark.parametrize("seed", range(10))
def test_pieces_and_area_asked_never_exceed_what_is_free(seed: int, shop: Shop, today: date) -> None:
    draw = random.Random(f"quantities {seed}")
    held = 0
    for _ in range(40):
        spec = sample_spec(shop.catalog, draw, today)
        verdict = judge(shop, spec, today)
        case = verdict.case
        area: dict[str, Fraction] = {}
        for part in case.piece.parts.values():
            if part.leather is None or part.kind is None or case.holding(part.leather.code).share is None:
                continue
            share = case.holding(part.leather.code).share
            assert share is not None
            for panel in case.laid(part.code):
                counts = {code: count for (label, code), count in share.items() if label == panel.label}
                assert sum(counts.values()) == panel.count, "every panel is cut, and none twice"
                for code, count in counts.items():
                    net = count * (panel.along_um + shop.warehouse.gap_um) * (panel.across_um + shop.warehouse.gap_um)
                    area[code] = area.get(code, Fraction(0)) + net / part.kind.yield_ratio
                    held += 1
        for code, used in area.items():
            assert used <= shop.catalog.lots[code].free_um2
    assert held > 0


def test_a_layout_that_is_promised_is_sound(shop: Shop, today: date) -> None:
    """Every panel inside one free rectangle, none overlapping, the nest gap apart."""
    proved = 0
    for pattern in shop.catalog.patterns.values():
        case = judge(shop, known_good(pattern), today).case
        for part in case.piece.parts.values():
            if part.leather is None:
                continue
            for lot in case.lots_for(part.code):
                together = [
                    panel
                    for other in case.piece.parts.values()
                    if lot in case.lots_for(other.code)
                    for panel in case.laid(other.code)
                ]
                layout = shop.warehouse.layout(together, lot)
                assert layout.found
                rects = shop.warehouse.rects_of(lot)
                verify(layout, together, rects, shop.warehouse.gap_um)
                proved += 1
    assert proved >= len(shop.catalog.patterns)


def test_need_counts_the_gap_and_the_yield(shop: Shop, spec_of: Callable[[dict[str, Any]], Spec], today: date) -> None:
    """Two-fold outside in smooth shell: (232 + 3)(96 + 3) mm2 / 0.65 = 3.579 dm2, worked by hand."""
    case = judge(shop, spec_of(EXAMPLES[0]["spec"]), today).case
    kind = case.piece.parts["outside"].kind
    assert kind is not None
    need = need_um2(case.laid("outside"), shop.warehouse.gap_um, kind)
    assert need == Fraction(235 * 99 * 10**6 * 100, 65)
