"""From corners to all nodes, and the matrix of the corner level.

A corner takes its own value, an edge middle the mean of its two ends. The middle of a curved edge does
not lie on the chord: with the mean, linear fields and even rigid rotations would leave the corner
level, and what it misses costs hundreds of iterations where bodies turn on soft tissue. Such a middle
takes the values of four corners, those of a cell on its edge, with the barycentric coordinates of its
true place.

The cortex is a thin wall of long cells, and bends. Its corners turn as well as move: an edge between
two corners that turn unlike bows like a beam's, which a third fewer iterations repay.

Soft tissue between stiff bodies, nearly incompressible and a cell thick, is many times stiffer with
linear cells than it is; as bodies move on it, so is all that they do. Edge middles in tissue alone are
unknowns of this level themselves.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import scipy.sparse as sp

from geometries.solids import TISSUE_ROLES
from pipeline.fem.kernels.arrays import Rows, row_of
from pipeline.fem.kernels.coarse import project
from pipeline.fem.mesh import Mesh
from pipeline.fem.solver.blocks import BlockMatrix
from pipeline.fem.solver.elimination import Elimination
from pipeline.fem.space import EDGES, Array, Ints
from pipeline.fem.stiffness import Pattern

CURVED_MM = 1e-6  # off the chord
SOFTEST_FIRST = {**dict.fromkeys(TISSUE_ROLES, 0), "pad": 1, "canal": 1, "cancellous": 2, "cortex": 3}
STIFFEST = 4  # implants
BOW = 1 / 8  # of a beam's middle, by the difference of its ends' turns and its length
WEAK = 1e-6  # spring of a turn, since all corners turning alike move nothing


@dataclass(frozen=True)
class Corners:
    """The corner level of a mesh, whatever its materials.

    Parameters
    ----------
    up, down : Rows
        Blocks of this level's unknowns in each node, and their transpose. A node's movement is one
        unknown of three components, its turn, where it has one, another; turns come last.
    pattern : (Ints, Ints)
        indptr and indices of matrices on this level.
    plan : Elimination
        For their factorization.
    moves : Ints
        Nodes whose movements are unknowns.
    """

    up: Rows
    down: Rows
    pattern: tuple[Ints, Ints]
    plan: Elimination
    moves: Ints

    @classmethod
    def of(cls, mesh: Mesh, pattern: Pattern) -> Corners:
        """Of a mesh and the pattern of its stiffness."""
        moves = np.append(np.arange(mesh.vertex_count), _in_tissue(mesh))
        interpolated = np.full(len(mesh.nodes), True)
        interpolated[moves] = False
        middles = corner_weights(mesh)[np.flatnonzero(interpolated)].tocoo()
        one = np.eye(3)
        entries: list[tuple[Ints, Ints, Array]] = [
            (moves, np.arange(len(moves)), np.tile(one, (len(moves), 1, 1))),
            (np.flatnonzero(interpolated)[middles.row], middles.col, middles.data[:, None, None] * one),
        ]
        turning = np.unique(mesh.cells[mesh.cells_of("cortex"), :4])
        turn, ends = np.full(mesh.vertex_count, -1), _ends(mesh)
        turn[turning] = len(moves) + np.arange(len(turning))
        bows = np.flatnonzero((turn[ends] >= 0).all(axis=1) & interpolated[mesh.vertex_count :])
        bowed = BOW * _cross(mesh.nodes[ends[bows, 1]] - mesh.nodes[ends[bows, 0]])
        for end, sign in enumerate((-1, 1)):
            entries.append((mesh.vertex_count + bows, turn[ends[bows, end]], sign * bowed))
        rows, columns, blocks = (np.concatenate(some) for some in zip(*entries, strict=True))
        size = (len(mesh.nodes), len(moves) + len(turning))
        return cls._with(pattern, _rows(rows, columns, blocks, size), moves)

    @classmethod
    def everywhere(cls, pattern: Pattern) -> Corners:
        """Every node as a corner: all of a small system."""
        every, blocks = np.arange(pattern.size), np.tile(np.eye(3), (pattern.size, 1, 1))
        return cls._with(pattern, _rows(every, every, blocks, (pattern.size, pattern.size)), every)

    @classmethod
    def _with(cls, pattern: Pattern, both: tuple[Rows, Rows], moves: Ints) -> Corners:
        up, down = both
        across, along = (_ones(*one[:2]) for one in both)
        found = sp.csr_array(along @ (_ones(pattern.indptr, pattern.indices) @ across))
        found.sort_indices()
        where = (found.indptr, found.indices)
        return cls(up, down, where, Elimination.of(*where), moves)

    def moving(self, free: Array) -> Corners:
        """The same where components are held: what would move them, and what they would move, is cut.

        Parameters
        ----------
        free : Array
            1 where a component is free, 0 where it is held (n, 3).
        """
        own = np.ones((len(self.down[0]) - 1, 3))
        own[: len(self.moves)] = free[self.moves]
        return replace(self, up=_cut(self.up, free, own), down=_cut(self.down, own, free))

    def matrix(self, matrix: BlockMatrix) -> Rows:
        """The matrix on this level, with a one for each unknown that moves nothing."""
        values = np.zeros((len(self.pattern[1]), 9))
        project(matrix.compressed, (self.up, self.down), self.pattern, values)
        own = np.flatnonzero(row_of(self.pattern[0]) == self.pattern[1])
        diagonal = values[own][:, ::4]
        diagonal[len(self.moves) :] *= 1 + WEAK
        diagonal[diagonal == 0] = 1
        values[own[:, None], [0, 4, 8]] = diagonal
        return (*self.pattern, values)


def _cut(matrix: Rows, rows: Array, columns: Array) -> Rows:
    """A matrix of blocks with components (n, 3) of rows and columns made nil where they are 0."""
    indptr, indices, values = matrix
    kept = rows[row_of(indptr)][:, :, None] * columns[indices][:, None, :]
    return indptr, indices, values * kept.reshape(-1, 9)


def _ones(indptr: Ints, indices: Ints) -> sp.csr_array:
    """Ones where a matrix has entries, those too that are nil."""
    return sp.csr_array((np.ones(len(indices)), indices, indptr))


def _rows(rows: Ints, columns: Ints, blocks: Array, size: tuple[int, int]) -> tuple[Rows, Rows]:
    """A matrix of blocks (k, 3, 3) and its transpose in compressed rows."""

    def compressed(rows: Ints, columns: Ints, blocks: Array, count: int) -> Rows:
        order = np.lexsort((columns, rows))
        indptr = np.concatenate([[0], np.cumsum(np.bincount(rows, minlength=count))])
        return indptr, columns[order], blocks[order].reshape(-1, 9)

    return (
        compressed(rows, columns, blocks, size[0]),
        compressed(columns, rows, blocks.transpose(0, 2, 1), size[1]),
    )


def _cross(arms: Array) -> Array:
    """Matrices (k, 3, 3) that give arm x vector for arms (k, 3)."""
    return np.cross(arms[:, None, :], np.eye(3)).transpose(0, 2, 1)


def _in_tissue(mesh: Mesh) -> Ints:
    """Edge middles that belong to cells of tissue alone."""
    tissue = np.isin(np.arange(len(mesh.cells)), mesh.cells_of(*TISSUE_ROLES))
    found = np.setdiff1d(mesh.cells[tissue, 4:], mesh.cells[~tissue, 4:])
    return np.asarray(found)


def _ends(mesh: Mesh) -> Ints:
    """The two corners (middles, 2) of the edge that each edge middle lies on."""
    ends = np.zeros((len(mesh.nodes) - mesh.vertex_count, 2), dtype=np.int64)
    ends[mesh.cells[:, 4:] - mesh.vertex_count] = mesh.cells[:, EDGES]
    return ends


def corner_weights(mesh: Mesh) -> sp.csr_array:
    """Weights (n, corners) of the corners in each node."""
    count, corners = len(mesh.nodes), mesh.vertex_count
    ends = _ends(mesh)
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

    Of the cells on the edge it is one of the stiffest kind, since soft corners must not drag a stiff
    surface along; and of these the one that the middle lies deepest in, or least outside of.
    """
    rank = np.array([SOFTEST_FIRST.get(part.role, STIFFEST) for part in mesh.parts])
    cell, edge = np.nonzero(is_curved[mesh.cells[:, 4:] - mesh.vertex_count])
    middle = mesh.cells[cell, 4 + edge]
    corners = mesh.nodes[mesh.cells[cell, :4]]
    sides = (corners[:, 1:] - corners[:, :1]).transpose(0, 2, 1)
    inside = np.linalg.solve(sides, (mesh.nodes[middle] - corners[:, 0])[:, :, None])[:, :, 0]
    shares = np.concatenate([1 - inside.sum(axis=1, keepdims=True), inside], axis=1)
    order = np.lexsort((-shares.min(axis=1), -rank[mesh.part_of[cell]], middle))
    found, first = np.unique(middle[order], return_index=True)
    best = order[first]
    return found, cell[best], shares[best]
