"""Passes over matrices and block vectors, as much done in each as its data allow.

Results do not depend on the number of threads: rows are dealt out in fixed shares, and each row and
each scalar product is summed in one order.
"""

from __future__ import annotations

from typing import Any

import numba
import numpy as np

from pipeline.fem.kernels.arrays import Array, Ints, Rows
from pipeline.fem.kernels.lanes import LANES, row_differences, row_times

Number = float | np.floating[Any]
Factors = tuple[Number, Number, Number, Number]

SHARES = 64


@numba.njit(cache=True)
def first_row(indptr: Ints, share: int) -> int:
    """First row of a share of the matrix; shares have equal numbers of blocks, not of rows."""
    return np.searchsorted(indptr, indptr[-1] * share // SHARES)


@numba.njit(parallel=True, cache=True)
def multiply(matrix: Rows, x: Array, y: Array) -> None:
    """Write A x into y."""
    indptr, _, _ = matrix
    for share in numba.prange(SHARES):
        for i in range(first_row(indptr, share), first_row(indptr, share + 1)):
            row_times(matrix, i, x, y, i)


@numba.njit(parallel=True, cache=True)
def strain(matrix: Rows, x: Array, y: Array) -> None:
    """Write K x into y for a stiffness K, which a shift of all does not strain."""
    indptr, _, _ = matrix
    for share in numba.prange(SHARES):
        for i in range(first_row(indptr, share), first_row(indptr, share + 1)):
            row_differences(matrix, i, x, y, i)


@numba.njit(parallel=True, cache=True)
def strain_along(matrix: Rows, free: Array, p: Array, r: Array, q: Array, sums: Array) -> None:
    """Write free * K p into q, each share's part of p · q and p · r into sums (2, SHARES, LANES)."""
    indptr, _, _ = matrix
    for share in numba.prange(SHARES):
        sums[:, share] = 0.0
        for i in range(first_row(indptr, share), first_row(indptr, share + 1)):
            row_differences(matrix, i, p, q, i)
            for k in range(3):
                for c in range(LANES):
                    q[i, k, c] *= free[i, k]
                    sums[0, share, c] += p[i, k, c] * q[i, k, c]
                    sums[1, share, c] += p[i, k, c] * r[i, k, c]


@numba.njit(inline="always")
def _through(d: Array, b: Array, out: Array) -> None:
    """Write D b of one row into out."""
    for k in range(3):
        for c in range(LANES):
            out[k, c] = d[3 * k] * b[0, c] + d[3 * k + 1] * b[1, c] + d[3 * k + 2] * b[2, c]


@numba.njit(parallel=True, cache=True)
def scaled(matrix: Rows, inverse: Array, out: Array) -> None:
    """Write D A into out (blocks, 9), which may be of another precision; D is (n, 9)."""
    indptr, _, values = matrix
    for i in numba.prange(len(inverse)):
        for p in range(indptr[i], indptr[i + 1]):
            for k in range(3):
                for c in range(3):
                    total = 0.0
                    for j in range(3):
                        total += inverse[i, 3 * k + j] * values[p, 3 * j + c]
                    out[p, 3 * k + c] = total


@numba.njit(parallel=True, cache=True)
def advance(
    along: Array, way: tuple[Array, Array], state: tuple[Array, Array], inverse: Array, b: Array,
    sums: Array,
) -> None:  # fmt: skip
    """X += along p, r -= along q and b = D r.

    Parameters
    ----------
    along : Array
        Of each load (LANES,).
    way, state : (Array, Array)
        Block vectors p and q, and x and r, which are changed.
    inverse : Array
        Blocks D (n, 9).
    b : Array
        Block vector that is written.
    sums : Array
        Each share's part of r · r (SHARES, LANES), written.
    """
    (p, q), (x, r), n = way, state, len(b)
    for share in numba.prange(SHARES):
        sums[share] = 0.0
        for i in range(n * share // SHARES, n * (share + 1) // SHARES):
            for k in range(3):
                for c in range(LANES):
                    x[i, k, c] += along[c] * p[i, k, c]
                    r[i, k, c] -= along[c] * q[i, k, c]
                    sums[share, c] += r[i, k, c] * r[i, k, c]
            _through(inverse[i], r[i], b[i])


@numba.njit(parallel=True, cache=True)
def smooth(matrix: Rows, b: Array, x: Array, before: Array, factors: Factors) -> None:
    """One step of a polynomial: f0 x + f1 before + f2 b + f3 A x, written into before."""
    indptr, _, _ = matrix
    f0, f1, f2, f3 = factors
    for share in numba.prange(SHARES):
        product = np.empty((1, 3, LANES), x.dtype)
        for i in range(first_row(indptr, share), first_row(indptr, share + 1)):
            row_times(matrix, i, x, product, 0)
            for k in range(3):
                for c in range(LANES):
                    before[i, k, c] = (
                        f0 * x[i, k, c] + f1 * before[i, k, c] + f2 * b[i, k, c]
                        + f3 * product[0, k, c]
                    )  # fmt: skip


@numba.njit(parallel=True, cache=True)
def remainder(matrix: Rows, diagonal: Array, b: Array, x: Array, out: Array) -> None:
    """Write D (b - A x) into out; D is (n, 9)."""
    indptr, _, _ = matrix
    for share in numba.prange(SHARES):
        left = np.empty((1, 3, LANES), x.dtype)
        for i in range(first_row(indptr, share), first_row(indptr, share + 1)):
            row_times(matrix, i, x, left, 0)
            for k in range(3):
                for c in range(LANES):
                    left[0, k, c] = b[i, k, c] - left[0, k, c]
            _through(diagonal[i], left[0], out[i])


@numba.njit(parallel=True, cache=True)
def prolong(up: Rows, coarse: Array, s: Array, q: Array, z: Array, sums: Array) -> None:
    """Write s + up times coarse into z, and each share's part of q · z into sums (SHARES, LANES)."""
    indptr, _, _ = up
    for share in numba.prange(SHARES):
        sums[share] = 0.0
        found = np.empty((1, 3, LANES))
        for i in range(first_row(indptr, share), first_row(indptr, share + 1)):
            row_times(up, i, coarse, found, 0)
            for k in range(3):
                for c in range(LANES):
                    z[i, k, c] = s[i, k, c] + found[0, k, c]
                    sums[share, c] += q[i, k, c] * z[i, k, c]


@numba.njit(parallel=True, cache=True)
def turn(z: Array, back: Array, p: Array) -> None:
    """P = z + back p, lane by lane; back is (LANES,)."""
    for i in numba.prange(len(p)):
        for k in range(3):
            for c in range(LANES):
                p[i, k, c] = z[i, k, c] + back[c] * p[i, k, c]


@numba.njit(parallel=True, cache=True)
def substitute(matrix: Rows, inverse: Array, first: Ints, second: Ints, x: Array) -> None:
    """Solve with a triangular matrix, row after row: x[i] = D[i] (x[i] - A[i] x).

    Parameters
    ----------
    matrix, inverse :
        Rows of A without its diagonal blocks, and the inverses D (n, 9) of those.
    first, second : Ints
        Chains of rows that run side by side, so neither may use a row of the other.
    x : Array
        Right-hand sides, replaced by the solutions.
    """
    for chain in numba.prange(2):
        left = np.empty((1, 3, LANES))
        for i in first if chain == 0 else second:
            row_times(matrix, i, x, left, 0)
            for k in range(3):
                for c in range(LANES):
                    left[0, k, c] = x[i, k, c] - left[0, k, c]
            _through(inverse[i], left[0], x[i])


@numba.njit(parallel=True, cache=True)
def dot(x: Array, y: Array, sums: Array) -> None:
    """Write each share's part of x · y into sums (SHARES, LANES)."""
    n = len(x)
    for share in numba.prange(SHARES):
        sums[share] = 0.0
        for i in range(n * share // SHARES, n * (share + 1) // SHARES):
            for k in range(3):
                for c in range(LANES):
                    sums[share, c] += np.float64(x[i, k, c]) * np.float64(y[i, k, c])
