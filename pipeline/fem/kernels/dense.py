"""Cholesky's method for matrices that fit into the cache, where a call to a library costs as much."""

from __future__ import annotations

import numba
import numpy as np

from pipeline.fem.kernels.arrays import Array

SUMS = {"contract", "reassoc", "nsz"}  # many terms at a time, in whatever order


@numba.njit(cache=True, fastmath=SUMS, error_model="numpy")
def factorize(matrix: Array) -> bool:
    """Write the factor L of a symmetric matrix over its lower triangle; False if it has none."""
    for i in range(len(matrix)):
        for j in range(i):
            total = matrix[i, j]
            for k in range(j):
                total -= matrix[i, k] * matrix[j, k]
            matrix[i, j] = total / matrix[j, j]
        total = matrix[i, i]
        for k in range(i):
            total -= matrix[i, k] * matrix[i, k]
        if not total > 0:
            return False
        matrix[i, i] = np.sqrt(total)
    return True


@numba.njit(cache=True, fastmath=SUMS, error_model="numpy")
def solve_lower(factor: Array, values: Array) -> None:
    """Write the solution y of L y = values over the values (n,)."""
    for i in range(len(factor)):
        total = values[i]
        for k in range(i):
            total -= factor[i, k] * values[k]
        values[i] = total / factor[i, i]


@numba.njit(cache=True, fastmath=SUMS, error_model="numpy")
def solve_upper(factor: Array, values: Array) -> None:
    """Write the solution y of Lᵀ y = values over the values (n,)."""
    for i in range(len(factor) - 1, -1, -1):
        values[i] /= factor[i, i]
        for k in range(i):
            values[k] -= factor[i, k] * values[i]


@numba.njit(cache=True, fastmath=SUMS, error_model="numpy")
def summed_in_double(matrix: Array, columns: Array) -> Array:
    """Product (n, k) of a matrix (n, m) stored in single precision and columns (m, k) in double."""
    rows, count = len(matrix), columns.shape[1]
    found = np.empty((rows, count))
    for c in range(count):
        column = columns[:, c].copy()
        for i in range(rows):
            total = 0.0
            for j in range(len(column)):
                total += np.float64(matrix[i, j]) * column[j]
            found[i, c] = total
    return found
