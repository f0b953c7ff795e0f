"""The matrix of a coarse level."""

from __future__ import annotations

import numba
import numpy as np

from pipeline.fem.kernels.arrays import Array, Ints, Rows
from pipeline.fem.kernels.passes import SHARES, first_row


@numba.njit(inline="always")
def _add_product(a: Array, b: Array, total: Array) -> None:
    """Add A B to a total, all as nine numbers."""
    for k in range(3):
        for c in range(3):
            for j in range(3):
                total[3 * k + c] += a[3 * k + j] * b[3 * j + c]


@numba.njit(inline="always")
def _is_plain(weight: Array) -> bool:
    """Whether a block of a transfer is a multiple of one, as most are."""
    alike = weight[0] == weight[4] and weight[0] == weight[8]
    upper = weight[1] == 0 and weight[2] == 0 and weight[5] == 0
    return alike and upper and weight[3] == 0 and weight[6] == 0 and weight[7] == 0


@numba.njit(inline="always")
def _add_row(row: int, matrix: Rows, both: tuple[Rows, Rows], place: Ints,
             coarse: Array) -> None:  # fmt: skip
    """Add one row of the coarse matrix; place has where its entry in each column stands."""
    (up, down), block = both, np.empty(9)
    for f in range(down[0][row], down[0][row + 1]):
        i = down[1][f]
        for p in range(matrix[0][i], matrix[0][i + 1]):
            j = matrix[1][p]
            left = down[2][f]
            if _is_plain(left):
                for k in range(9):
                    block[k] = left[0] * matrix[2][p, k]
            else:
                block[:] = 0.0
                _add_product(left, matrix[2][p], block)
            for g in range(up[0][j], up[0][j + 1]):
                right, total = up[2][g], coarse[place[up[1][g]]]
                if _is_plain(right):
                    for k in range(9):
                        total[k] += block[k] * right[0]
                else:
                    _add_product(block, right, total)


@numba.njit(parallel=True, cache=True)
def project(matrix: Rows, both: tuple[Rows, Rows], pattern: tuple[Ints, Ints], coarse: Array) -> None:
    """Add upᵀ A up to the values (blocks, 9) of a coarse matrix.

    Parameters
    ----------
    matrix : Rows
        A.
    both : (Rows, Rows)
        Blocks of coarse unknowns in each fine node, and their transpose.
    pattern : (Ints, Ints)
        indptr and indices of the coarse matrix.
    coarse : Array
        Zeros at first.
    """
    (begins, columns), (up, down) = pattern, both
    for share in numba.prange(SHARES):
        place = np.empty(len(begins) - 1, np.int64)
        for row in range(first_row(begins, share), first_row(begins, share + 1)):
            for p in range(begins[row], begins[row + 1]):
                place[columns[p]] = p
            _add_row(row, matrix, (up, down), place, coarse)
