"""What a multifrontal factorization does between its dense products."""

from __future__ import annotations

import numba
import numpy as np

from pipeline.fem.kernels.arrays import Array, Ints, Rows


@numba.njit(cache=True)
def gather(
    matrix: Rows, numbers: tuple[Ints, Ints, Ints], columns: tuple[int, int], own: Array,
    below: Array,
) -> None:  # fmt: skip
    """Write a front's entries of a matrix into its dense parts.

    Parameters
    ----------
    matrix : Rows
        Symmetric.
    numbers : (Ints, Ints, Ints)
        Node at each place of the elimination, place of each node, and row of the front at each place
        (n,).
    columns : (int, int)
        Places of the front's columns: first and one past the last.
    own, below : Array
        Columns by columns, and rows below by columns, three numbers for each.
    """
    indptr, indices, values = matrix
    (order, place, local), (first, last) = numbers, columns
    for j in range(first, last):
        b = 3 * (j - first)
        for p in range(indptr[order[j]], indptr[order[j] + 1]):
            i = place[indices[p]]
            if i < j:
                continue
            a = 3 * local[i]
            for u in range(3):
                for w in range(3):
                    if i < last:
                        own[a + u, b + w] = values[p, 3 * w + u]
                    else:
                        below[a + u - len(own), b + w] = values[p, 3 * w + u]


@numba.njit(cache=True)
def extend(update: Array, rows: Ints, local: Ints, parts: tuple[Array, Array, Array]) -> None:
    """Add a child's update, of which the lower triangle counts, to its parent's dense parts."""
    own, below, rest = parts
    k = len(own)
    for b in range(len(rows)):
        lb = 3 * local[rows[b]]
        for a in range(b, len(rows)):
            la = 3 * local[rows[a]]
            for w in range(3):
                for u in range(3):
                    value = update[3 * a + u, 3 * b + w]
                    if la < k:
                        own[la + u, lb + w] += value
                    elif lb < k:
                        below[la + u - k, lb + w] += value
                    else:
                        rest[la + u - k, lb + w - k] += value


@numba.njit(cache=True)
def number(first: int, last: int, rows: Ints, local: Ints) -> None:
    """Number a front's places: its columns, then its rows below."""
    for i in range(first, last):
        local[i] = i - first
    for a in range(len(rows)):
        local[rows[a]] = last - first + a


@numba.njit(cache=True)
def store(parts: tuple[Array, Array], first: int, rows: Ints, upper: Rows, diagonal: Array) -> None:
    """Write a front's columns of the factor as block rows of its transpose.

    Parameters
    ----------
    parts : (Array, Array)
        The factor's columns by columns, and rows below by columns.
    first : int
        Place of its first column.
    rows : Ints
        Places of its rows below.
    upper : Rows
        The transpose, without diagonal blocks.
    diagonal : Array
        Diagonal blocks (n, 3, 3) of the factor.
    """
    (own, below), (indptr, indices, values) = parts, upper
    k = len(own) // 3
    for b in range(k):
        diagonal[first + b] = own[3 * b : 3 * b + 3, 3 * b : 3 * b + 3]
        p = indptr[first + b]
        for a in range(b + 1, k):
            indices[p] = first + a
            for w in range(3):
                for u in range(3):
                    values[p, 3 * w + u] = own[3 * a + u, 3 * b + w]
            p += 1
        for a in range(len(rows)):
            indices[p] = rows[a]
            for w in range(3):
                for u in range(3):
                    values[p, 3 * w + u] = below[3 * a + u, 3 * b + w]
            p += 1


@numba.njit(cache=True)
def transpose(matrix: Rows) -> Rows:
    """Transpose of a square matrix of blocks."""
    indptr, indices, values = matrix
    n = len(indptr) - 1
    begins = np.zeros(n + 1, indptr.dtype)
    for p in range(len(indices)):
        begins[indices[p] + 1] += 1
    begins = np.cumsum(begins).astype(indptr.dtype)
    following = begins[:-1].copy()
    columns, turned = np.empty_like(indices), np.empty_like(values)
    for i in range(n):
        for p in range(indptr[i], indptr[i + 1]):
            q = following[indices[p]]
            following[indices[p]] += 1
            columns[q] = i
            for u in range(3):
                for w in range(3):
                    turned[q, 3 * u + w] = values[p, 3 * w + u]
    return begins, columns, turned
