"""Named measures by family. Importing the package registers them in the vocabulary.

A family's module never imports another's; what they share stands in :mod:`rules.case`.
"""

from rules.measures import (
    choices,
    color,
    edges,
    fit,
    folds,
    hardware,
    law,
    monograms,
    plain,
    price,
    sides,
    stacks,
    stitches,
    stock,
    thickness,
)

__all__ = [
    "choices",
    "color",
    "edges",
    "fit",
    "folds",
    "hardware",
    "law",
    "monograms",
    "plain",
    "price",
    "sides",
    "stacks",
    "stitches",
    "stock",
    "thickness",
]
