"""From corners to all nodes, and the matrix of the corner level.

A corner takes its own value, an edge middle the mean of its two ends. The middle of a curved edge does
not lie on the chord: with the mean, linear fields and even rigid rotations would leave the corner
level, and what it misses costs hundreds of iterations where bodies turn on soft tissue. Such a middle
takes the values of four corners, those of a cell on its edge, with the barycentric coordinates of its
true place.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp

from pipeline.fem.mesh import Mesh
from pipeline.fem.solver.blocks import BlockMatrix
from pipeline.fem.space import EDGES, Array, Ints

CURVED_MM = 0.01  # off the chord


def corner_weights(mesh: Mesh) -> sp.csr_array:
    """Weights (n, corners) of the corners in each node."""
    count, corners = len(mesh.nodes), mesh.vertex_count
    middles = mesh.cells[:, 4:]
    ends = np.zeros((count - corners, 2), dtype=np.int64)
    ends[middles - corners] = mesh.cells[:, EDGES]
    off = np.linalg.norm(mesh.nodes[corners:] - mesh.nodes[ends].mean(axis=1), axis=1)
    is_curved = off > CURVED_MM
    straight = corners + np.flatnonzero(~is_curved)
    curved, cells, shares = _four_corners(mesh, is_curved)
    rows = np.concatenate([np.arange(corners), np.repeat(straight, 2), np.repeat(curved, 4)])
    columns = np.concatenate(
        [np.arange(corners), ends[~is_curved].ravel(), mesh.cells[cells, :4].ravel()]
    )
    weights = np.concatenate([np.ones(corners), np.full(2 * len(straight), 0.5), shares.ravel()])
    return sp.csr_array((weights, (rows, columns)), shape=(count, corners))


def _four_corners(mesh: Mesh, is_curved: Array) -> tuple[Ints, Ints, Array]:
    """Curved edge middles (k,), for each a cell (k,), and shares (k, 4) of its corners.

    Of the cells on the edge it is the one that the middle lies deepest in, or least outside of.
    """
    cell, edge = np.nonzero(is_curved[mesh.cells[:, 4:] - mesh.vertex_count])
    middle = mesh.cells[cell, 4 + edge]
    corners = mesh.nodes[mesh.cells[cell, :4]]
    sides = (corners[:, 1:] - corners[:, :1]).transpose(0, 2, 1)
    inside = np.linalg.solve(sides, (mesh.nodes[middle] - corners[:, 0])[:, :, None])[:, :, 0]
    shares = np.concatenate([1 - inside.sum(axis=1, keepdims=True), inside], axis=1)
    order = np.lexsort((-shares.min(axis=1), middle))
    found, first = np.unique(middle[order], return_index=True)
    best = order[first]
    return found, cell[best], shares[best]


def corner_matrix(matrix: BlockMatrix, weights: sp.csr_array, free: Array) -> sp.bsr_array:
    """The matrix on the corners, held components cut off again.

    Parameters
    ----------
    matrix : BlockMatrix
        With its held components cut off.
    weights : sparse array
        Of the corners in each node (n, corners).
    free : Array
        1 where a component is free, 0 where it is held (n, 3).
    """
    count, corners = weights.shape
    blocks = weights.data[:, None, None] * np.eye(3)
    spread = sp.bsr_array((blocks, weights.indices, weights.indptr), shape=(3 * count, 3 * corners))
    cut = matrix.sparse() - sp.diags_array((1 - free).ravel()).tobsr((3, 3))
    found = sp.bsr_array(spread.T @ (cut @ spread))
    kept = sp.diags_array(free[:corners].ravel())
    return sp.bsr_array(
        kept @ found @ kept + sp.diags_array(1 - free[:corners].ravel()), blocksize=(3, 3)
    )
