"""Stock for the reference models: what each lot holds, and what that leaves of what is allowed."""

from __future__ import annotations

import numpy as np

from rules.diagram.folds import sum_within


def stock_of(model, seed):
    """Return the area of each lot; a fifth of the lots are remnants, enough for a few panels at most."""
    draw = np.random.default_rng(seed)
    stock = draw.integers(1500, 9000, model.lot_count)
    scarce = draw.random(model.lot_count) < 0.2
    stock[scarce] = draw.integers(5, 260, scarce.sum())
    return stock


def within_stock(model, allow, stock):
    """Return what a piece may be by the stock whatever is chosen, and a sum for each lot that could be overdrawn.

    Such a lot is too small for the panels that may still be of it and one panel more that was chosen otherwise.
    """
    hard = model.everything()
    most, other = np.zeros((2, model.panels, len(stock)), np.int64)
    for panel in range(model.panels):
        lots, areas = model.lots[panel], model.areas[panel]
        hard[panel] = areas <= stock[lots]
        for of, truths in ((other, hard[panel]), (most, hard[panel] & allow[panel])):
            np.maximum.at(of[panel], lots[truths], areas[truths])
    scarce = np.flatnonzero(most.sum(axis=0) + (other - most).max(axis=0) > stock)
    return hard, [_sum(model, lot, int(stock[lot]), np.flatnonzero(other[:, lot])) for lot in scarce.tolist()]


def _sum(model, lot, most, panels):
    taken = [np.where(model.lots[panel] == lot, model.areas[panel], 0) for panel in panels]
    return sum_within(panels.tolist(), taken, most=most, label=f"stock of lot {lot}")
