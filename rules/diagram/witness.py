"""One way through that costs the least, the same each time."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rules.diagram.arrays import ranges, run_lengths
from rules.diagram.constraint import Whole
from rules.diagram.passes import Edges, Weights


def cheapest_way(parts: Sequence[Edges], prices: Sequence[Whole], beyond: Sequence[Weights]) -> list[int]:
    """The values of a cheapest way, layer by layer, the lowest value wherever several cost the same.

    ``prices`` stand for none where a value is not allowed; ``beyond`` is the cheapest from each node of each layer to
    the end. There is a way.
    """
    node = 0
    chosen: list[int] = []
    for part, price, after in zip(parts, prices, beyond[1:], strict=True):
        labels = part.labels
        start, stop = np.searchsorted(part.sources, [node, node + 1])
        onward = after[part.targets[start:stop]]
        if part.costs is not None:
            onward = onward + part.costs[start:stop]
        carried = part.label[start:stop]
        lengths = run_lengths(labels.member_starts, len(labels.members))[carried]
        classes = labels.members[ranges(labels.member_starts[carried], lengths)]
        edges = np.full(labels.classes, -1, np.intp)
        edges[classes] = np.repeat(np.arange(len(onward)), lengths)
        edge = np.where(labels.codes >= 0, edges[labels.codes], -1)
        totals = np.where(edge >= 0, price + onward[edge], np.int64(1 << 61))
        value = int(totals.argmin())
        chosen.append(value)
        node = int(part.targets[start + edge[value]])
    return chosen
