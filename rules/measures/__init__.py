"""Named measures by family. Importing the package registers them in the vocabulary.

A family's module never imports another's; what they share stands in :mod:`rules.case`.
"""

from rules.measures import (
    carried,
    choices,
    color,
    edges,
    fit,
    folds,
    hardware,
    law,
    lengths,
    lots,
    monograms,
    offers,
    parcels,
    plain,
    price,
    sides,
    stacks,
    stitches,
    stock,
    templates,
    thickness,
)

__all__ = [
    "carried",
    "choices",
    "color",
    "edges",
    "fit",
    "folds",
    "hardware",
    "law",
    "lengths",
    "lots",
    "monograms",
    "offers",
    "parcels",
    "plain",
    "price",
    "sides",
    "stacks",
    "stitches",
    "stock",
    "templates",
    "thickness",
]
