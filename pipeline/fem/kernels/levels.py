"""Levels that shares of a weight do not exceed, without putting all values in order."""

from __future__ import annotations

import numba
import numpy as np

from pipeline.fem.kernels.arrays import Array, Ints

BINS = 1024


def weighted_levels(values: Array, weights: Array, shares: Array) -> Array:
    """Levels (k,) of values (n,) that shares (k,) of their weights (n,) do not exceed.

    Linear between the middles of the sorted weights; below the first and above the last it is their
    value. Values are sorted into bins; only those of a level's bin and of the nearest ones beside it
    that are not empty are put in order.
    """
    low, high = values.min(), values.max()
    if low == high or not np.isfinite(high - low):
        return np.full(len(shares), high if low == high else np.nan)
    bins, sums = np.empty(len(values), np.int64), np.zeros((2, BINS + 1))
    _sort(values, weights, low, BINS / (high - low), bins, sums)
    filled = np.flatnonzero(sums[0])
    until = np.cumsum(sums[1, filled])
    found = np.empty(len(shares))
    for i, wanted in enumerate(shares * until[-1]):
        own = int(np.searchsorted(until, wanted))
        first, last = max(own - 1, 0), min(own + 1, len(filled) - 1)
        near = np.flatnonzero((bins >= filled[first]) & (bins <= filled[last]))
        near = near[np.argsort(values[near])]
        before = until[first] - sums[1, filled[first]]
        middles = before + np.cumsum(weights[near]) - weights[near] / 2
        found[i] = np.interp(wanted, middles, values[near])
    return found


@numba.njit(cache=True, error_model="numpy")
def _sort(values: Array, weights: Array, low: float, steps: float, bins: Ints, sums: Array) -> None:
    """The bin of each value, and of each bin how many there are and what they weigh."""
    for k in range(len(values)):
        own = min(int((values[k] - low) * steps), BINS)
        bins[k] = own
        sums[0, own] += 1
        sums[1, own] += weights[k]
