"""From cells to a matrix of blocks."""

from __future__ import annotations

import numba
import numpy as np

from pipeline.fem.kernels.arrays import Array, Ints


@numba.njit(parallel=True, cache=True)
def locate(indptr: Ints, indices: Ints, cells: Ints) -> Ints:
    """Position (m, k, k) of the block of each pair of a cell's nodes; cells are (m, k)."""
    m, k = cells.shape
    slots = np.empty((m, k, k), np.int32)
    for e in numba.prange(m):
        for a in range(k):
            start, stop = indptr[cells[e, a]], indptr[cells[e, a] + 1]
            for b in range(k):
                slots[e, a, b] = start + np.searchsorted(indices[start:stop], cells[e, b])
    return slots


@numba.njit(cache=True)
def scatter(slots: Ints, blocks: Array, total: Array) -> None:
    """Add element blocks (m, k, k, 3, 3) to a matrix's blocks (n, 3, 3), in one order."""
    m, k, _ = slots.shape
    for e in range(m):
        for a in range(k):
            for b in range(k):
                for i in range(3):
                    for j in range(3):
                        total[slots[e, a, b], i, j] += blocks[e, a, b, i, j]
