"""Elimination trees and the structure of a factor, before any value is known.

References
----------
Liu 1990, SIAM J Matrix Anal Appl 11:134, as open solvers have it.
"""

from __future__ import annotations

import numba
import numpy as np

from pipeline.fem.kernels.arrays import Ints


@numba.njit(cache=True)
def elimination_tree(indptr: Ints, indices: Ints) -> Ints:
    """Parent (n,) of each column of the factor of a symmetric pattern; -1 at a root."""
    n = len(indptr) - 1
    parent, ancestor = np.full(n, -1), np.full(n, -1)
    for i in range(n):
        for p in range(indptr[i], indptr[i + 1]):
            j = indices[p]
            while j != -1 and j < i:
                above = ancestor[j]
                ancestor[j] = i
                if above == -1:
                    parent[j] = i
                j = above
    return parent


@numba.njit(cache=True)
def postorder(parent: Ints) -> Ints:
    """Nodes (n,) of a forest, each after its descendants and right after the last of them."""
    n = len(parent)
    first, beside = np.full(n + 1, -1), np.full(n, -1)
    for j in range(n - 1, -1, -1):
        above = parent[j] if parent[j] >= 0 else n
        beside[j], first[above] = first[above], j
    order, path = np.empty(n, np.int64), np.empty(n + 1, np.int64)
    path[0], depth, found = n, 1, 0
    while depth > 0:
        node = path[depth - 1]
        child = first[node]
        if child >= 0:
            first[node] = beside[child]
            path[depth] = child
            depth += 1
        else:
            depth -= 1
            if depth > 0:
                order[found] = node
                found += 1
    return order


@numba.njit(cache=True)
def column_counts(indptr: Ints, indices: Ints, parent: Ints) -> Ints:
    """Entries (n,) below the diagonal in each column of the factor."""
    n = len(parent)
    count, seen = np.zeros(n, np.int64), np.full(n, -1)
    for i in range(n):
        seen[i] = i
        for p in range(indptr[i], indptr[i + 1]):
            j = indices[p]
            while j < i and seen[j] != i:
                count[j] += 1
                seen[j] = i
                j = parent[j]
    return count


@numba.njit(cache=True)
def front_rows(indptr: Ints, indices: Ints, starts: Ints) -> tuple[Ints, Ints, Ints]:
    """Rows below the columns of each front, and the front that they reach first.

    Parameters
    ----------
    indptr, indices : Ints
        Symmetric pattern in order of elimination.
    starts : Ints
        First column of each front, and the number of columns (fronts + 1,).

    Returns
    -------
    indptr, rows : Ints
        Rows of each front in ascending order, in compressed form.
    parent : Ints
        The front (fronts,) that holds the first of its rows; -1 where there is none.
    """
    n, count = len(indptr) - 1, len(starts) - 1
    front = np.empty(n, np.int64)
    for f in range(count):
        front[starts[f] : starts[f + 1]] = f
    seen, parent = np.full(n, -1), np.full(count, -1)
    child, beside = np.full(count, -1), np.full(count, -1)
    begins, rows = np.zeros(count + 1, np.int64), np.empty(16 * n, np.int64)
    used = 0
    for f in range(count):
        if used + n > len(rows):
            rows = np.concatenate((rows, np.empty(len(rows) + n, np.int64)))
        begin, after = used, starts[f + 1]
        for p in range(indptr[starts[f]], indptr[after]):
            i = indices[p]
            if i >= after and seen[i] != f:
                seen[i], rows[used] = f, i
                used += 1
        c = child[f]
        while c >= 0:
            for p in range(begins[c], begins[c + 1]):
                i = rows[p]
                if i >= after and seen[i] != f:
                    seen[i], rows[used] = f, i
                    used += 1
            c = beside[c]
        rows[begin:used].sort()
        begins[f + 1] = used
        if used > begin:
            above = front[rows[begin]]
            parent[f], beside[f], child[above] = above, child[above], f
    return begins, rows[:used].copy(), parent
