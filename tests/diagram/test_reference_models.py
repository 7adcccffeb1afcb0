"""The reference models keep their exact counts, and their diagrams their size."""

from __future__ import annotations

import time

import pytest
from diagram.reference_models import large, middle, small

from rules.diagram.diagram import compile_diagram

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
