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
    """Return what one piece may still be by the stock, and a sum for each lot that panels could overdraw together."""
    allow = list(allow)
    most = np.zeros((model.panels, len(stock)), np.int64)
    for panel in range(model.panels):
        allow[panel] = allow[panel] & (model.areas[panel] <= stock[model.lots[panel]])
        np.maximum.at(most[panel], model.lots[panel][allow[panel]], model.areas[panel][allow[panel]])
    scarce = np.flatnonzero(most.sum(axis=0) > stock)
    return allow, [_sum(model, lot, int(stock[lot]), np.flatnonzero(most[:, lot])) for lot in scarce.tolist()]


def _sum(model, lot, most, panels):
    taken = [np.where(model.lots[panel] == lot, model.areas[panel], 0) for panel in panels]
    return sum_within(panels.tolist(), taken, most=most, label=f"stock of lot {lot}")
