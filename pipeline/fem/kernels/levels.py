"""Levels that shares of a weight do not exceed, without putting all values in order."""

from __future__ import annotations

import numba
import numpy as np

from pipeline.fem.kernels.arrays import Array

BINS = 1024


@numba.njit(cache=True, error_model="numpy")
def weighted_levels(values: Array, weights: Array, shares: Array) -> Array:
    """Levels (k,) of values (n,) that shares (k,) of their weights (n,) do not exceed.

    Linear between the middles of the sorted weights; below the first and above the last it is their
    value. Values are sorted into bins; only those of a level's bin and of the nearest ones beside it
    that are not empty are put in order.
    """
    low, high = values.min(), values.max()
    found = np.full(len(shares), high if low == high else np.nan)
    if low == high or not np.isfinite(high - low):
        return found
    bins, counts = np.empty(len(values), np.int64), np.zeros(BINS + 1, np.int64)
    sums = np.zeros(BINS + 1)
    for k in range(len(values)):
        own = int((values[k] - low) / (high - low) * BINS)
        bins[k] = own
        counts[own] += 1
        sums[own] += weights[k]
    filled = np.flatnonzero(counts)
    until = np.cumsum(sums[filled])
    for i in range(len(shares)):
        wanted = shares[i] * until[-1]
        own = np.searchsorted(until, wanted)
        first, last = max(own - 1, 0), min(own + 1, len(filled) - 1)
        near = np.flatnonzero((bins >= filled[first]) & (bins <= filled[last]))
        near = near[np.argsort(values[near])]
        middles = until[first] - sums[filled[first]] + np.cumsum(weights[near]) - weights[near] / 2
        found[i] = np.interp(wanted, middles, values[near])
    return found
