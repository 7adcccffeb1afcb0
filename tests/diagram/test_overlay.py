"""Constraints put over a diagram against trying every combination (`support.small_problems`)."""

from __future__ import annotations

import numpy as np
from support.small_problems import problem

from rules.diagram.constraint import Amounts
from rules.diagram.diagram import NONE, compile_diagram
from rules.diagram.overlay import Overlay


def test_an_overlay_answers_as_if_all_constraints_had_been_compiled():
    outcomes = set()
    for seed in range(400):
        small = problem(seed)
        over = [each for each in small.constraints[::2] if not isinstance(each, Amounts)]
        under = [each for each in small.constraints if each not in over]
        hard = [np.array([small.draw.random() < 0.9 for _ in range(size)]) for size in small.sizes]
        diagram = compile_diagram(small.sizes, under, orders=2)
        overlay = Overlay(diagram, small.allow, over, hard)
        totals = small.totals()
        inside = [one & other for one, other in zip(small.allow, hard, strict=True)]
        stands, found = overlay.possible()
        lowest, cheapest = overlay.cheapest(small.prices)
        assert stands == small.standing(inside).any(), seed
        assert lowest == min(totals[small.standing(inside)].tolist(), default=None), seed
        for slot, size in enumerate(small.sizes):
            free = [*inside[:slot], hard[slot], *inside[slot + 1 :]]
            rows = small.standing(free)
            for value in range(size):
                of_value = totals[rows & (small.rows[:, slot] == value)].tolist()
                assert found[slot][value] == bool(of_value), seed
                assert cheapest[slot][value] == min(of_value, default=NONE), seed
        kept = Overlay(diagram, inside, over, inside)
        assert kept.possible()[0] == stands
        lowest, others = kept.cheapest(small.prices)
        assert lowest == min(totals[small.standing(inside)].tolist(), default=None), seed
        for truths, one, other in zip(inside, cheapest, others, strict=True):
            assert np.array_equal(np.where(truths, one, NONE), other), seed
        outcomes.add((bool(stands), bool(over)))
    assert outcomes >= {(True, True), (False, True)}
