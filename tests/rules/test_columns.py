"""A table of specs is judged as its rows are one by one: the same rules, severities and totals.

The bulk evaluator shares the rules' intermediate form and measures with a check, but finds lots,
sums figures and settles prices in its own way; 20,000 random specs hold it to the check.
"""

from __future__ import annotations

import random
from collections import Counter
from datetime import date
from typing import Any

import pytest

from catalog.model import Lot
from rules.assigning import more_lots_only_worsen
from rules.case import Case
from rules.check import Verdict, judge
from rules.columns import Judged, judge_specs
from rules.piece import Piece
from rules.pricing import priced
from rules.sample import as_repeat, sample_spec, sample_specs
from rules.sample_more import with_more
from rules.shop import Shop
from rules.spec import Spec
from rules.vocabulary import SUBJECTS, TERMS

ROWS = 20_000
DRAWN = 34_000


@pytest.fixture(scope="module")
def verdicts(shop: Shop, today: date) -> list[tuple[Spec, Verdict]]:
    """20,000 specs, some repeats, some that say more, drawn so that refused ones do not crowd out the others."""
    draw, more = random.Random("repeats"), random.Random("more")
    specs = (
        with_more(spec, shop.catalog, more)
        if place % 16 == 1
        else spec
        if place % 32
        else as_repeat(spec, shop.catalog, draw)
        for place, spec in enumerate(sample_specs(shop.catalog, random.Random("columns"), today, DRAWN))
    )
    drawn = [(spec, judge(shop, spec, today)) for spec in specs]
    fired = Counter(rule for _, verdict in drawn for rule in {finding.rule for finding in verdict.findings})
    rarest = sorted(
        drawn,
        key=lambda each: (
            each[1].outcome == "refused",
            min((fired[finding.rule] for finding in each[1].findings), default=DRAWN),
        ),
    )
    return rarest[:ROWS]


@pytest.fixture(scope="module")
def judged(shop: Shop, today: date, verdicts: list[tuple[Spec, Verdict]]) -> Judged:
    return judge_specs(shop, [spec for spec, _ in verdicts], today)


def test_the_rows_are_of_all_outcomes_and_fire_every_rule_of_the_trade(
    shop: Shop, verdicts: list[tuple[Spec, Verdict]]
) -> None:
    outcomes = Counter(verdict.outcome for _, verdict in verdicts)
    assert all(outcomes[outcome] >= 0.15 * ROWS for outcome in ("buildable", "sign_off", "refused")), outcomes
    fired = Counter(rule for _, verdict in verdicts for rule in {finding.rule for finding in verdict.findings})
    assert {
        rule.id
        for rule in shop.book.rules.values()
        if "check" in rule.stages and rule.family != "house" and fired[rule.id] < 20
    } == set()


def test_every_row_has_the_rules_of_its_check(verdicts: list[tuple[Spec, Verdict]], judged: Judged) -> None:
    different = [
        (spec, sorted(alone ^ in_bulk))
        for row, (spec, verdict) in enumerate(verdicts)
        if (alone := {(finding.rule, finding.severity) for finding in verdict.findings})
        != (in_bulk := judged.rules_of(row))
    ]
    assert different == []


def test_every_row_has_the_total_of_its_check(verdicts: list[tuple[Spec, Verdict]], judged: Judged) -> None:
    different = []
    for row, (spec, verdict) in enumerate(verdicts):
        price = priced(verdict.case.piece)
        alone, in_bulk = -1 if price is None else price.total_minor, int(judged.totals[row])
        if alone != in_bulk:
            different.append((spec, alone, in_bulk))
    assert different == []
    assert sum(judged.totals >= 0) > ROWS / 2


def test_one_row_and_none_are_judged_too(shop: Shop, today: date) -> None:
    assert judge_specs(shop, [], today).bits.shape[0] == 0
    spec = sample_spec(shop.catalog, random.Random(1), today)
    found = {(finding.rule, finding.severity) for finding in judge(shop, spec, today).findings}
    assert judge_specs(shop, [spec], today).rules_of(0) == found


def test_rows_in_another_order_get_the_same_words(
    shop: Shop, today: date, verdicts: list[tuple[Spec, Verdict]], judged: Judged
) -> None:
    order = random.Random(2).sample(range(ROWS), 2_000)
    again = judge_specs(shop, [verdicts[row][0] for row in order], today)
    assert (again.bits == judged.bits[order]).all()
    assert (again.totals == judged.totals[order]).all()


def _figures(case: Case) -> dict[tuple[str, int], Any]:
    growing = [term for term in TERMS.values() if term.grows]
    return {
        (term.name, place): term.measure(instance)
        for term in growing
        for place, instance in enumerate(SUBJECTS[term.name.partition(".")[0]].instances(case))
    }


def test_a_figure_that_is_said_to_grow_is_never_smaller_with_more_lots(shop: Shop, today: date) -> None:
    draw = random.Random("grows")
    grown = 0
    for spec in sample_specs(shop.catalog, draw, today, 1_500):
        piece: Piece = shop.piece(spec)
        several = [part for part, use in piece.parts.items() if use.leather and len(_lots(piece, part)) > 1]
        if piece.pattern is None or not several:
            continue
        part = draw.choice(several)
        lots: dict[str, tuple[Lot, ...]] = {code: _lots(piece, code)[:1] for code in piece.parts}
        more = lots | {part: _lots(piece, part)}
        few, many = (_figures(Case(piece, each, shop.warehouse, today)) for each in (lots, more))
        assert few.keys() == many.keys()
        for name, figure in few.items():
            if figure is not None:
                assert many[name] is not None
                assert many[name] >= figure, name
                grown += many[name] > figure
    assert grown > 50, "or the test shows nothing"


def _lots(piece: Piece, part: str) -> tuple[Lot, ...]:
    leather = piece.parts[part].leather
    return () if leather is None else piece.catalog.lots_of(leather.code)


def test_which_rules_more_lots_may_silence_is_known(shop: Shop) -> None:
    may = {rule.id for rule in shop.book.rules.values() if not more_lots_only_worsen(rule)}
    assert {"STO-03", "SID-02", "STK-05"} <= may, "a layout, a legible mark, a thicker edge"
    assert may.isdisjoint({"THK-01", "STK-01", "STK-07", "STI-02", "FLD-01", "COL-01"})
