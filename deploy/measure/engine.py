"""Decision diagrams and clauses on the reference models, against CP-SAT and MaxSAT in the same run.

Every answer that is timed is compared; where two differ the section stops.
"""

from __future__ import annotations

import importlib
import statistics
import sys
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any, Final, TypeVar

import numpy as np

from measure.load import RoundError
from measure.report import Figure
from rules.diagram.clash import Choice, kept, smallest_clashes, some_clash
from rules.diagram.clauses import Clauses
from rules.diagram.constraint import Allowed, Bools, Whole
from rules.diagram.diagram import NONE, Diagram, compile_diagram
from rules.diagram.overlay import Overlay
from rules.diagram.repair import nearest

_TESTS: Final = Path(__file__).parents[2] / "tests"
#: Values that are solved one by one at each step; the rest is reckoned from them.
_SAMPLED: Final = 3
_Answer = TypeVar("_Answer")


def engine(*, quick: bool) -> list[Figure]:
    """Measure on the middle model, new stock on the largest too; on the smallest alone if ``quick``."""
    sys.path += [str(_TESTS), str(_TESTS / "bench")]
    models = importlib.import_module("diagram.reference_models")
    names = ["small"] if quick else ["middle", "large"]
    figures: list[Figure] = []
    for name in names:
        model = getattr(models, name)()
        diagram, seconds = _timed(partial(compile_diagram, model.sizes, model.constraints))
        size = f"{diagram.edges:,} edges, {diagram.memory_bytes / 1e6:.0f} MB"
        figures.append(Figure(f"{name} model, compiled, the best of four orders", f"{seconds:.1f} s, {size}"))
        if name != "large":
            figures += [*_walked(model, diagram), *_clashing(model, diagram, 8 if quick else 25)]
        figures += _stocked(name, model, diagram, 3 if quick else 9)
    return figures


def _timed(asked: Callable[[], _Answer]) -> tuple[_Answer, float]:
    begun = time.perf_counter()
    answer = asked()
    return answer, time.perf_counter() - begun


def _often(asked: Callable[[], _Answer], rounds: int = 3) -> tuple[_Answer, float]:
    """Return an answer and the median of the seconds it took."""
    asked_often = [_timed(asked) for _ in range(rounds)]
    return asked_often[0][0], statistics.median(seconds for _, seconds in asked_often)


def _same(what: str, one: object, other: object) -> None:
    if one != other:
        raise RoundError(f"{what} differ: {one} and {other}")


def _one(size: int, value: int) -> Bools:
    truths: Bools = np.arange(size) == value
    return truths


def _steps(model: Any, diagram: Diagram, seed: int) -> Iterator[Allowed]:
    """Yield what is allowed from nothing chosen to all but one slot chosen, at random among what is possible."""
    draw = np.random.default_rng(seed)
    allow: Allowed = model.everything()
    for slot in draw.permutation(len(model.sizes)).tolist():
        yield list(allow)
        open_values = np.flatnonzero(diagram.possible(allow)[1][slot] & allow[slot])
        allow[slot] = _one(model.sizes[slot], int(draw.choice(open_values)))


def _walked(model: Any, diagram: Diagram) -> Iterator[Figure]:
    """Yield what all values with their cheapest totals take over a walk, to CP-SAT."""
    cp_sat = importlib.import_module("cp_model").CpModel(model)
    draw = np.random.default_rng(1)
    ours: list[float] = []
    solves: list[float] = []
    singly: list[float] = []
    for allow in _steps(model, diagram, 11):
        (lowest, totals), seconds = _often(partial(diagram.cheapest, allow, model.prices))
        ours.append(seconds)
        solved, seconds = _often(partial(cp_sat.cheapest, allow))
        solves.append(seconds)
        _same("lowest totals", lowest, solved and solved[0])
        values = [(slot, value) for slot, size in enumerate(model.sizes) for value in range(size)]
        sampled = []
        for at in draw.choice(len(values), _SAMPLED, replace=False).tolist():
            slot, value = values[at]
            one, seconds = _timed(partial(cp_sat.cheapest, allow, values[at]))
            sampled.append(seconds)
            _same("totals of a value", int(totals[slot][value]), NONE if one is None else one[0])
        singly.append(statistics.mean(sampled) * len(values))
    yield Figure("a walk: all values, their cheapest totals, a step", f"{_ms(ours)}; slowest {max(ours) * 1e3:.1f} ms")
    yield Figure("one CP-SAT solve a step, for the lowest total alone", _ms(solves))
    yield _ratio("one CP-SAT solve to all values, whole walk", sum(solves) / sum(ours), at_least=3)
    yield Figure("CP-SAT for all values one by one (reckoned) to the same", f"{sum(singly) / sum(ours):,.0f}")


def _clashing(model: Any, diagram: Diagram, many: int) -> Iterator[Figure]:
    """Yield what clashes and ways out take, to CP-SAT and MaxSAT."""
    cp_sat = importlib.import_module("cp_model").CpModel(model)
    max_sat = importlib.import_module("sat_model").SatModel(model)
    everything: Allowed = model.everything()
    took: dict[str, list[float]] = {}

    def timed(what: str, asked: Callable[[], _Answer]) -> _Answer:
        answer, seconds = _often(asked)
        took.setdefault(what, []).append(seconds)
        return answer

    with Clauses(model.sizes, model.constraints) as clauses:
        for choices in _clashes(model, diagram, clauses, many):
            wanted = kept(everything, choices)
            distances = _distances(model, choices)
            _same("answers to what clashes", timed("cp", partial(cp_sat.cheapest, wanted)), None)
            clash = timed("clash", partial(some_clash, clauses, everything, choices))
            assert clash is not None
            several = kept(everything, [choice for choice in choices if choice.name in clash.choices])
            _same("what CP-SAT says of a clash", cp_sat.cheapest(several), None)
            every = timed("every", partial(smallest_clashes, clauses, everything, choices, 1000))
            _same("smallest clashes", min(len(each.choices) for each in [clash, *every]), len(every[0].choices))
            asked = partial(nearest, diagram, everything, choices, distances, model.prices, 5)
            repairs = timed("repairs", asked)
            fewest = timed("maxsat", partial(max_sat.fewest_given_up, everything, choices))
            _same("choices given up", len(repairs[0].given_up), fewest)
            for repair in repairs:
                exact = [_one(size, value) for size, value in zip(model.sizes, repair.witness, strict=True)]
                _same("totals of a way out", repair.total, (cp_sat.cheapest(exact) or [None])[0])
    max_sat.close()
    yield Figure("a clash with its constraints, none too many", _ms(took["clash"]))
    yield Figure("one CP-SAT solve of the same", _ms(took["cp"]))
    yield _ratio("the clash to the solve", sum(took["clash"]) / sum(took["cp"]), at_most=0.5)
    yield Figure("all smallest clashes with their constraints", _ms(took["every"]))
    yield Figure("the five nearest ways out", _ms(took["repairs"]))
    yield Figure("one by MaxSAT (RC2), fewest given up alone", _ms(took["maxsat"]))
    yield _ratio("the five to the one", sum(took["repairs"]) / sum(took["maxsat"]), at_most=1.5)


def _clashes(model: Any, diagram: Diagram, clauses: Clauses, many: int) -> Iterator[list[Choice]]:
    """Yield choices that clash, of five values or more, each possible alone."""
    draw = np.random.default_rng(11)
    possible = diagram.possible(model.everything())[1]
    while many:
        slots = draw.permutation(len(model.sizes) - 1)[: int(draw.integers(5, len(model.sizes)))].tolist()
        choices = [
            Choice(slot, slot, _one(model.sizes[slot], int(draw.choice(np.flatnonzero(possible[slot])))))
            for slot in slots
        ]
        if not clauses.feasible(kept(model.everything(), choices)):
            many -= 1
            yield choices


def _distances(model: Any, choices: list[Choice]) -> list[Whole]:
    distances = [np.zeros(size, np.int64) for size in model.sizes]
    for choice in choices:
        distances[choice.slot] = np.abs(np.arange(model.sizes[choice.slot]) - int(choice.values.argmax()))
    return distances


def _stocked(name: str, model: Any, diagram: Diagram, many: int) -> Iterator[Figure]:
    """Yield what new stock takes where four choices are made, to compiling anew.

    Only panels draw on lots, so a case in which none of the four is a panel has the whole diagram left.
    """
    stocks = importlib.import_module("support.stocks")
    ours: list[float] = []
    also_left: list[float] = []
    again: list[float] = []
    for seed in range(many):
        allow = list(_steps(model, diagram, 20 + seed))[4]
        stock = stocks.stock_of(model, seed)
        hard, scarce = stocks.within_stock(model, allow, stock)
        restricted = [one & other for one, other in zip(allow, hard, strict=True)]

        def put(within: Allowed, allow: Allowed = allow, scarce: list[Any] = scarce) -> tuple[int | None, list[Whole]]:
            return Overlay(diagram, allow, scarce, within).cheapest(model.prices)

        (lowest, totals), seconds = _often(partial(put, restricted))
        ours.append(seconds)
        (left, _), seconds = _often(partial(put, hard))
        also_left.append(seconds)
        _same("lowest totals, choices left or not", lowest, left)
        constraints = [*model.constraints, *scarce]
        anew = partial(compile_diagram, model.sizes, constraints, allow=restricted, orders=1, first=diagram.order)
        compiled, seconds = _timed(anew)
        again.append(seconds)
        also, others = compiled.cheapest(restricted, model.prices)
        _same("lowest totals with new stock", lowest, also)
        for truths, one, other in zip(restricted, totals, others, strict=True):
            _same("totals with new stock", one[truths].tolist(), other[truths].tolist())
    masked, _ = stocks.within_stock(model, model.everything(), stocks.stock_of(model, 0))
    anew = partial(compile_diagram, model.sizes, model.constraints, allow=masked, orders=1, first=diagram.order)
    whole = _timed(anew)[1]
    yield Figure(f"{name} model, new stock at four choices", f"{_ms(ours)} ({_ms([min(ours)])} to {_ms([max(ours)])})")
    yield Figure(f"{name} model, the same with what each choice could be instead", _ms(also_left))
    yield Figure(f"{name} model, compiled anew, one order", _ms([whole]))
    yield Figure(f"{name} model, compiled anew for the four choices alone", _ms(again))
    yield _ratio(f"{name} model, compiling anew to new stock", whole / statistics.median(ours), at_least=50)


def _ms(seconds: list[float]) -> str:
    return f"{statistics.median(seconds) * 1e3:.1f} ms"


def _ratio(what: str, ratio: float, *, at_least: float | None = None, at_most: float | None = None) -> Figure:
    """Return a ratio with its bar."""
    if at_least is not None:
        return Figure(what, f"{ratio:.1f}", f">= {at_least:g}", met=ratio >= at_least)
    assert at_most is not None
    return Figure(what, f"{ratio:.2f}", f"<= {at_most:g}", met=ratio <= at_most)
