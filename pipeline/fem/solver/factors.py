"""Exact solver of the corner level: block LDLᵀ factors, solved for all loads at once.

SuperLU finds the factors; its own triangular solves take the loads one number at a time, so the solves
here run on the compiled block loops, four times faster. The graph is cut in two halves that share only
a thin separator, which two threads can treat side by side.

References
----------
George 1973, SIAM J Numer Anal 10:345, for the cut (nested dissection, one level).
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy.sparse as sp
from pymetis import CSRAdjacency, nested_dissection
from scipy.sparse.linalg import splu

from pipeline.errors import SolveError
from pipeline.fem.kernels import substitute
from pipeline.fem.space import Array, Ints

Blocks = tuple[Ints, Ints, Array, Array]
MECHANISM = (
    "solver: the construct can move without being strained (a mechanism inside it); allowed is none: "
    "join its parts by whole faces, not by an edge or a corner"
)
SMALLEST_PIVOT = 1e-12
LIGHT = 3.0
OPTIONS: dict[str, Any] = {"diag_pivot_thresh": 0.0, "options": {"SymmetricMode": True}}


@dataclass(frozen=True)
class Factors:
    """Factors L D Lᵀ of a symmetric matrix in blocks of three.

    Parameters
    ----------
    order : Ints
        Node (n,) at each place of the elimination.
    lower, upper : tuple
        Block rows of L and of its transpose: indptr, indices, values with zeros for the diagonal
        blocks, and the inverse diagonal blocks (n, 9).
    pivots : Array
        Diagonal (n, 3, 1) of D.
    chains : tuple of Ints
        Places of the two halves and of the separator, in order of elimination.
    """

    order: Ints
    lower: Blocks
    upper: Blocks
    pivots: Array
    chains: tuple[Ints, Ints, Ints]

    def solve(self, b: Array) -> Array:
        """Solution (n, 3, LANES) for right-hand sides of the same shape."""
        x = b[self.order]
        first, second, separator = self.chains
        none = separator[:0]
        substitute(self.lower, first, second, x)
        substitute(self.lower, separator, none, x)
        x /= self.pivots
        substitute(self.upper, separator[::-1].copy(), none, x)
        substitute(self.upper, first[::-1].copy(), second[::-1].copy(), x)
        out = np.empty_like(x)
        out[self.order] = x
        return out


def factor(matrix: sp.bsr_array) -> Factors:
    """Factor a symmetric positive definite matrix of 3 by 3 blocks.

    Raises
    ------
    SolveError
        If a pivot is as small as round-off: some motion costs no energy.
    """
    order = _dissection(matrix)
    places = (3 * order[:, None] + np.arange(3)).ravel()
    try:
        found = splu(sp.csc_array(matrix)[places][:, places], permc_spec="NATURAL", **OPTIONS)
    except RuntimeError as error:
        raise SolveError(MECHANISM) from error
    pivots = found.U.diagonal()
    stable = (found.perm_r == found.perm_c).all()
    if not stable or not (pivots[found.perm_c] > SMALLEST_PIVOT * matrix.diagonal()[places]).all():
        raise SolveError(MECHANISM)
    upper = sp.csr_array(found.L.T).tobsr((3, 3))
    upper.sort_indices()
    own = upper.indptr[:-1]  # the diagonal comes first in each row
    inverse = np.linalg.inv(upper.data[own])
    upper.data[own] = 0.0
    return Factors(
        order[np.argsort(found.perm_c)[::3] // 3],  # SuperLU keeps the rows of a node together
        _blocks(upper.transpose(), inverse.transpose(0, 2, 1)),
        _blocks(upper, inverse),
        pivots.reshape(-1, 3, 1),
        _chains(upper.indptr, upper.indices),
    )


def _dissection(matrix: sp.bsr_array) -> Ints:
    """Nodes in an order of little fill and of many independent rows: nested dissection."""
    count = matrix.shape[0] // 3
    rows = np.repeat(np.arange(count), np.diff(matrix.indptr))
    apart = rows != matrix.indices
    starts = np.concatenate([[0], np.cumsum(np.bincount(rows[apart], minlength=count))])
    graph = CSRAdjacency(adj_starts=starts, adjacent=matrix.indices[apart])
    return np.asarray(nested_dissection(graph)[0])


def _blocks(matrix: sp.bsr_array, inverse: Array) -> Blocks:
    values, own = matrix.data.reshape(-1, 9), np.ascontiguousarray(inverse).reshape(-1, 9)
    return matrix.indptr, matrix.indices, values, own


def _chains(indptr: Ints, indices: Ints) -> tuple[Ints, Ints, Ints]:
    """Two sets of rows that do not depend on each other, of like work, and the rows after them.

    The first neighbour behind a row is its parent in the elimination tree. From the root down, the
    heaviest subtree gives up its own root until all subtrees are light; then they are dealt out.
    """
    count, work = len(indptr) - 1, np.diff(indptr)
    parent = [int(indices[s + 1]) if n > 1 else count for s, n in zip(indptr[:-1], work, strict=True)]
    weight, children = [*work.tolist(), 0], [list[int]() for _ in range(count + 1)]
    for row, above in enumerate(parent):
        weight[above] += weight[row]
        children[above].append(row)
    trees = [(-weight[row], row) for row in children[count]]
    heapq.heapify(trees)
    chain = np.full(count + 1, -1)
    while trees and -trees[0][0] > weight[count] / LIGHT:
        _, row = heapq.heappop(trees)
        chain[row] = 2
        for child in children[row]:
            heapq.heappush(trees, (-weight[child], child))
    load = [0, 0]
    for size, row in sorted(trees):
        lighter = int(load[1] < load[0])
        chain[row] = lighter
        load[lighter] -= size
    for row in range(count - 1, -1, -1):
        if chain[row] < 0:
            chain[row] = chain[parent[row]]
    first, second, after = (np.flatnonzero(chain[:-1] == k) for k in range(3))
    return first, second, after
