"""The reference models keep their exact counts, and their diagrams their size."""

from __future__ import annotations

import time

import numpy as np
import pytest
from diagram.reference_models import large, middle, small

from rules.diagram import diagram
from rules.diagram.diagram import NONE, compile_diagram
from rules.diagram.folds import sum_within

#: Counted once by another program, written apart, over the same draws.
COUNTS = {"S1": 36_589_685_184, "S2": 36_110_502_742_176, "S3": 2_476_330_569_809_472}
#: Edges with the order of slots that is found today; a worse order is a step back.
MOST_EDGES = {"S1": 6_000, "S2": 300_000, "S3": 1_500_000}


@pytest.mark.parametrize(
    ("name", "make"),
    [("S1", small), ("S2", middle), pytest.param("S3", large, marks=pytest.mark.long)],
)
def test_as_many_specs_can_be_built_as_were_counted_before(name, make):
    model = make()
    start = time.perf_counter()
    found = compile_diagram(model.sizes, model.constraints)
    spent = time.perf_counter() - start
    size = f"{found.nodes} nodes, {found.edges} edges, {found.memory_bytes / 1e6:.1f} MB"
    print(f"{name}: {size}, compiled in {spent:.2f} s")  # noqa: T201 - the figures are what one runs this for
    assert found.count(model.everything())[0] == COUNTS[name]
    assert found.edges <= MOST_EDGES[name]


def test_the_part_in_reach_answers_as_the_whole_at_every_step_of_a_walk(monkeypatch):
    # From nothing chosen to everything chosen, each choice among what is still possible; no step may be a dead end.
    model = small()
    found = compile_diagram(model.sizes, model.constraints)
    chance = np.random.default_rng(3)
    allow = model.everything()
    for slot in [None, *chance.permutation(len(model.sizes)).tolist()]:
        if slot is not None:
            still = np.flatnonzero(found.possible(allow)[1][slot])
            allow[slot] = np.arange(model.sizes[slot]) == chance.choice(still)
        answers = []
        for least in (10**9, -1):
            monkeypatch.setattr(diagram, "_SMALL", least)
            monkeypatch.setattr(diagram, "_WORTHWHILE", 10.0)
            monkeypatch.setattr(diagram, "_SETTLED", -1.0)
            lowest, low = found.cheapest(allow, model.prices)
            highest, high = found.dearest(allow, model.prices)
            possible = found.possible(allow)[1]
            number, numbers = found.count(allow)
            answers.append(
                (lowest, highest, number, numbers, *([row.tolist() for row in rows] for rows in (low, high)))
            )
            assert [row.tolist() for row in possible] == [(row < NONE).tolist() for row in low]
            assert [row.tolist() for row in possible] == [(np.array(row) > 0).tolist() for row in numbers]
        assert answers[0] == answers[1]
        assert answers[0][2] > 0
    assert answers[0][2] == 1
    assert found.witness(allow, model.prices) == tuple(int(allowed.argmax()) for allowed in allow)


def test_a_limit_added_to_the_middle_model_only_takes_away():
    # A lot too small for two panels at once: what is left is what was there less what used it twice.
    model = middle()
    found = compile_diagram(model.sizes, model.constraints, orders=1)
    allow = model.everything()
    lot = 7
    uses = [(lots == lot).astype(np.int64) for lots in model.lots.values()]
    once = found.conjoined([sum_within(range(6), uses, most=1)], allow=allow)
    more = found.conjoined([sum_within(range(6), uses, least=2)], allow=allow, reduce=False)
    assert 0 < once.count(allow)[0] < COUNTS["S2"]
    assert once.count(allow)[0] + more.count(allow)[0] == COUNTS["S2"]
