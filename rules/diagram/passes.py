"""One pass up and one down: an answer for every value of every slot at once.

What is asked is a *semiring*: truths with or and and, prices with minimum and sum, numbers with sum and product. The
weight of a way through is the product along it, the answer the sum over ways. Going up gives the sum from each node to
the end, going down the sum from the start to each node; both together give it through each edge, hence through each
value (valid domains: Hadzic, Jensen and Andersen; costs: Andersen, Hadzic and Pisinger, Journal of Artificial
Intelligence Research 37, 2010; values that a chosen slot could still change to: Becker and Fargier, IJCAI 2013;
abstracts read).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from rules.diagram.constraint import Bools, Codes, Whole
from rules.diagram.layer import Labels

Weights = NDArray[Any]
#: No completion, where a price is asked for.
NONE = int(np.iinfo(np.int64).max)
#: Prices from here on stand for none; three of the largest still add up without wrapping.
_FAR = 1 << 60
_FAR_ENOUGH = 1 << 59


class Edges(Protocol):
    """What a pass walks over: a whole layer, or the part of one that can still be reached.

    Nodes number those of this level; ``next_nodes`` those of the next.
    """

    @property
    def labels(self) -> Labels:
        """The labels of the slot."""

    @property
    def sources(self) -> Codes:
        """The node that each edge leaves."""

    @property
    def targets(self) -> Codes:
        """The node of the next level that each edge enters."""

    @property
    def label(self) -> Codes:
        """The label of each edge."""

    @property
    def costs(self) -> Whole | None:
        """What each edge costs."""

    @property
    def next_nodes(self) -> int:
        """How many nodes the next level has."""

    def at_sources(self, plus: np.ufunc, edges: Weights, none: object, /) -> Weights:
        """The sum over the edges that leave each node; ``none`` where there are none."""

    def at_targets(self, plus: np.ufunc, edges: Weights, none: object, /) -> Weights:
        """The sum over the edges that enter each node of the next level."""

    def at_labels(self, plus: np.ufunc, edges: Weights, none: object, /) -> Weights:
        """The sum over the edges that carry each label."""


@dataclass(frozen=True)
class Semiring:
    """A sum and a product over arrays of one type; ``settled`` brings sums and products back into range."""

    plus: np.ufunc
    times: np.ufunc
    none: Any
    one: Any
    dtype: type
    charged: bool = False
    settled: Callable[[Weights], Weights] = lambda sums: sums
    tamed: Callable[[Weights], Weights] = lambda products: products


def _near(sums: Weights) -> Weights:
    """Prices, those that stand for none set back to the one that does."""
    sums[sums > _FAR_ENOUGH] = _FAR
    return sums


TRUTHS = Semiring(np.logical_or, np.logical_and, none=False, one=True, dtype=np.bool_)
PRICES = Semiring(np.minimum, np.add, none=_FAR, one=0, dtype=np.int64, charged=True, settled=_near)
COUNTS = Semiring(np.add, np.multiply, none=0, one=1, dtype=np.int64)


def modulo(prime: int) -> Semiring:
    """Counts modulo a prime below ``2 ** 31``."""

    def rest(numbers: Weights) -> Weights:
        return numbers % prime

    return Semiring(np.add, np.multiply, none=0, one=1, dtype=np.int64, settled=rest, tamed=rest)


def upward(parts: Sequence[Edges], weights: Sequence[Weights], ring: Semiring, sign: int = 1) -> list[Weights]:
    """The sum from each node of each level to the end, the end included."""
    beyond: list[Weights] = [np.full(parts[-1].next_nodes if parts else 1, ring.one, ring.dtype)]
    for part, weight in zip(reversed(parts), reversed(weights), strict=True):
        along = ring.tamed(ring.times(weight[part.label], beyond[-1][part.targets]))
        if ring.charged and part.costs is not None:
            along += part.costs if sign > 0 else -part.costs
        beyond.append(ring.settled(part.at_sources(ring.plus, along, ring.none)))
    return beyond[::-1]


def through(
    parts: Sequence[Edges], weights: Sequence[Weights], ring: Semiring, sign: int = 1
) -> tuple[Any, list[Weights]]:
    """The sum over all ways, and for each slot and value the sum over ways through it but for its own weight.

    ``weights`` are one a label and level. ``sign`` is -1 where costs of edges count against.
    """
    beyond = upward(parts, weights, ring, sign)
    before: Weights = np.full(1, ring.one, ring.dtype)
    values: list[Weights] = []
    for part, weight, after in zip(parts, weights, beyond[1:], strict=True):
        here = before[part.sources]
        if ring.charged and part.costs is not None:
            here = here + (part.costs if sign > 0 else -part.costs)
        by_label = part.at_labels(ring.plus, ring.tamed(ring.times(here, after[part.targets])), ring.none)
        values.append(ring.settled(part.labels.spread(ring.plus, ring.settled(by_label), ring.none)))
        onward = ring.tamed(ring.times(here, weight[part.label]))
        before = ring.settled(part.at_targets(ring.plus, onward, ring.none))
    return beyond[0][0], values


def label_truths(labels: Labels, allowed: Bools) -> Weights:
    """Whether any allowed value is in each label."""
    return labels.gathered(np.logical_or, allowed)


def label_prices(labels: Labels, allowed: Bools, prices: Whole) -> Weights:
    """The lowest price of an allowed value in each label."""
    return labels.gathered(np.minimum, np.where(allowed, prices, _FAR))


def label_counts(labels: Labels, allowed: Bools) -> Weights:
    """How many allowed values are in each label."""
    return labels.gathered(np.add, allowed.astype(np.int64))


def is_none(prices: Weights) -> Weights:
    """Which prices stand for none."""
    return np.asarray(prices > _FAR_ENOUGH)
