"""Whole-array steps that the parts of a diagram share: ranges, keys of several columns, equal runs."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from rules.diagram.constraint import Codes, Whole

#: Keys of several columns stay below this, so that one more column never wraps unseen.
_MOST_KEY = 1 << 62
#: So few rows are told apart faster one by one.
_FEW_ROWS = 200
_MULTIPLIERS = (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x5851F42D4C957F2D)


def ranges(starts: Codes, lengths: Codes) -> Codes:
    """The numbers ``starts[i] .. starts[i] + lengths[i] - 1``, one stretch after the other."""
    ends = np.cumsum(lengths)
    total = int(ends[-1]) if len(ends) else 0
    return np.repeat(starts - ends + lengths, lengths) + np.arange(total)


def runs(*columns: NDArray[np.generic]) -> Codes:
    """Where a new run begins: the first row, and every row that differs from the one before in some column."""
    new = np.ones(len(columns[0]), np.bool_)
    if len(new):
        new[1:] = False
    for column in columns:
        new[1:] |= column[1:] != column[:-1]
    return np.flatnonzero(new)


def run_lengths(starts: Codes, total: int) -> Codes:
    """How long each run is, the last up to ``total``."""
    out = np.empty(len(starts), np.intp)
    if len(starts):
        np.subtract(starts[1:], starts[:-1], out=out[:-1])
        out[-1] = total - starts[-1]
    return out


def combined(columns: Sequence[Codes], sizes: Sequence[int]) -> tuple[Whole, int]:
    """One key per row of columns whose entries lie in ``0 .. size - 1``, and a bound that all keys are below."""
    key = columns[0].astype(np.int64)
    bound = max(sizes[0], 1)
    for column, size in zip(columns[1:], sizes[1:], strict=True):
        if size <= 1:
            continue
        if bound * size >= _MOST_KEY:
            _, key = np.unique(key, return_inverse=True)
            bound = int(key.max()) + 1 if len(key) else 1
        key = key * size + column
        bound *= size
    return key, bound


def numbered(key: Whole, bound: int) -> tuple[Codes, Codes]:
    """One row of each different key, keys in increasing order, and for each row the number of its key."""
    if bound > 4 * len(key) + 1_000_000:
        _, first, number = np.unique(key, return_index=True, return_inverse=True)
        return first, number
    at = np.full(bound, -1, np.intp)
    at[key[::-1]] = np.arange(len(key) - 1, -1, -1)
    used = np.flatnonzero(at >= 0)
    rank = np.empty(bound, np.intp)
    rank[used] = np.arange(len(used))
    return at[used], rank[key]


def equal_rows(*tables: Whole | Codes) -> tuple[Codes, Codes]:
    """Which rows are equal in all tables (of one shape): the number of each row's kind, and a row of each kind."""
    rows, width = tables[0].shape
    if rows <= _FEW_ROWS:
        known: dict[bytes, int] = {}
        joined = np.concatenate(tables, axis=1)
        kind = np.array([known.setdefault(row.tobytes(), len(known)) for row in joined], np.intp)
        _, first = np.unique(kind, return_index=True)
        return kind, first
    places = np.tile(np.arange(width), rows)
    return equal_runs(np.arange(rows) * width, [places, *(table.ravel() for table in tables)])


def hashed(columns: Sequence[Whole | Codes]) -> NDArray[np.uint64]:
    """A 64-bit hash of each row of up to three columns (the finalizer of splitmix64)."""
    mixed = np.zeros(len(columns[0]), np.uint64)
    for column, multiplier in zip(columns, _MULTIPLIERS, strict=False):
        mixed += column.astype(np.uint64) * np.uint64(multiplier)
    mixed ^= mixed >> np.uint64(30)
    mixed *= np.uint64(0xBF58476D1CE4E5B9)
    mixed ^= mixed >> np.uint64(27)
    mixed *= np.uint64(0x94D049BB133111EB)
    mixed ^= mixed >> np.uint64(31)
    return mixed


def equal_runs(starts: Codes, columns: Sequence[Whole | Codes]) -> tuple[Codes, Codes]:
    """Which runs of rows are equal: for each run the number of its kind, and for each kind the run that stands for it.

    Run ``i`` reaches from ``starts[i]`` to the next start; none is empty. Runs are told apart by a hash, then each is
    compared row by row with the one that stands for it: a run whose hash deceives becomes a kind of its own.
    """
    total = len(columns[0])
    lengths = run_lengths(starts, total)
    hashes = np.add.reduceat(hashed(columns), starts) + lengths.astype(np.uint64)
    _, kept, kind = np.unique(hashes, return_index=True, return_inverse=True)
    same = lengths == lengths[kept][kind]
    rows = np.repeat((starts[kept][kind] - starts), lengths) + np.arange(total)
    rows = np.minimum(rows, total - 1)
    alike = np.ones(total, np.bool_)
    for column in columns:
        alike &= column == column[rows]
    same &= np.logical_and.reduceat(alike, starts)
    if not same.all():
        deceived = np.flatnonzero(~same)
        kind[deceived] = len(kept) + np.arange(len(deceived))
        kept = np.concatenate([kept, deceived])
    return kind, kept
