"""Element matrices by batched contraction, summed into 3 by 3 block rows."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from pipeline.fem.kernels.arrays import row_of
from pipeline.fem.kernels.cells import locate, scatter
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import EDGES, Array, Flags, Ints, cell_rule, gradients

CHUNK = 4096
STRAIGHT_ORDER, CURVED_ORDER = 2, 4
STRAIGHT_TOLERANCE = 1e-9

PAIRS = np.array([[0, 3, 5], [3, 1, 4], [5, 4, 2]])
"""Place of each pair of directions among the six components of a stress or a strain."""


@dataclass(frozen=True)
class Pattern:
    """Block sparsity of a node graph, and where each cell's blocks go in it.

    Parameters
    ----------
    indptr, indices : Ints
        Compressed rows over nodes.
    slots : Ints
        Position (m, k, k) of the block of each pair of a cell's k nodes.
    """

    indptr: Ints
    indices: Ints
    slots: Ints

    @classmethod
    def of(cls, mesh: Mesh) -> Pattern:
        """Pattern of a mesh; the costly part of assembly that depends on no modulus."""
        cells, count = mesh.cells, len(mesh.nodes)
        ones, starts = np.ones(cells.size), np.arange(0, cells.size + 1, cells.shape[1])
        incidence = sp.csr_array((ones, cells.ravel(), starts), shape=(len(cells), count))
        graph = sp.csr_array(incidence.T @ incidence)
        graph.sort_indices()
        indptr, indices = graph.indptr.astype(np.int32), graph.indices.astype(np.int32)
        return cls(indptr, indices, locate(indptr, indices, cells))

    @property
    def size(self) -> int:
        """Number of nodes."""
        return len(self.indptr) - 1

    @cached_property
    def rows(self) -> Ints:
        """Row of each block."""
        return row_of(self.indptr)

    @cached_property
    def diagonal(self) -> Ints:
        """Positions of the diagonal blocks."""
        return np.flatnonzero(self.rows == self.indices)


@dataclass(frozen=True)
class Stiffness:
    """Blocks (blocks, 3, 3) over a pattern, N/mm.

    Adds with another of the same mesh and scales with a number, so that the sum over parts of
    Young's modulus times the part's stiffness at unit modulus is the whole.

    Parameters
    ----------
    pattern : Pattern
        Where the blocks stand.
    blocks : Array
        Their values.
    solid : array of bool
        Cells (m,) that have a stiffness.
    """

    pattern: Pattern
    blocks: Array
    solid: Flags

    def __add__(self, other: Stiffness) -> Stiffness:
        return Stiffness(self.pattern, self.blocks + other.blocks, self.solid | other.solid)

    def __rmul__(self, factor: float) -> Stiffness:
        return Stiffness(self.pattern, factor * self.blocks, self.solid)


def assemble(
    mesh: Mesh, pattern: Pattern, elasticity: Array, parts: Iterable[int] | None = None
) -> Stiffness:
    """Stiffness of some of the parts.

    Parameters
    ----------
    mesh, pattern :
        The mesh and its pattern.
    elasticity : Array
        Stress over strain of every part (parts, 6, 6), MPa; a part of zeros is left out.
    parts : iterable of int, optional
        Numbers of the parts; all by default.

    Returns
    -------
    Stiffness
        Sum over these parts.
    """
    total, solid = np.zeros((len(pattern.indices), 3, 3)), np.zeros(len(mesh.cells), dtype=bool)
    for part in range(len(elasticity)) if parts is None else parts:
        if not elasticity[part].any():
            continue
        cells = np.flatnonzero(mesh.part_of == part)
        solid[cells] = True
        for some, order in batches(mesh, cells):
            chunk = cells[some]
            blocks = element_blocks(mesh.nodes[mesh.cells[chunk]], elasticity[part], order)
            scatter(pattern.slots[chunk], blocks, total)
    return Stiffness(pattern, total, solid)


def is_straight(corners: Array) -> Flags:
    """Which cells (m, 10, 3) have their edge middles in the middle."""
    middles = corners[:, EDGES].mean(axis=2)
    off = np.abs(corners[:, 4:] - middles).max(axis=(1, 2))
    return off < STRAIGHT_TOLERANCE * np.abs(np.ptp(corners[:, :4], axis=1)).max(axis=1)


def batches(mesh: Mesh, cells: Ints) -> Iterator[tuple[Ints, int]]:
    """Positions within `cells`, a batch at a time, and the quadrature order the batch needs.

    Order 2 is exact for straight cells.
    """
    straight = is_straight(mesh.nodes[mesh.cells[cells]])
    for chosen, order in ((straight, STRAIGHT_ORDER), (~straight, CURVED_ORDER)):
        where = np.flatnonzero(chosen)
        for start in range(0, len(where), CHUNK):
            yield where[start : start + CHUNK], order


def element_blocks(corners: Array, elasticity: Array, order: int) -> Array:
    """Element matrices of one material.

    Parameters
    ----------
    corners : Array
        Node positions (m, 10, 3), mm.
    elasticity : Array
        Stress over strain (6, 6), MPa.
    order : int
        Polynomial order of the quadrature rule: 2 is exact for straight cells.

    Returns
    -------
    Array
        (m, 10, 10, 3, 3), N/mm: entry [e, a, b, i, j] couples node a in direction i to b in j.
    """
    points, weights = cell_rule(order)
    gradient, det = gradients(corners, points)
    left = gradient * (det * weights)[:, :, None, None]
    count = len(corners)
    # products[e, (a, k), (b, l)] = sum over points of dN_a/dx_k dN_b/dx_l
    products = np.matmul(
        left.transpose(0, 2, 3, 1).reshape(count, 30, -1), gradient.reshape(count, -1, 30)
    )
    products = products.reshape(count, 10, 3, 10, 3).transpose(0, 1, 3, 2, 4)
    blocks = products.reshape(count, 100, 9) @ coupling(elasticity)
    return blocks.reshape(count, 10, 10, 3, 3)


def coupling(elasticity: Array) -> Array:
    """Stress over strain (6, 6) for products of gradients: entry [(k, l), (i, j)] is ik over jl."""
    return elasticity[PAIRS[:, None, :, None], PAIRS[None, :, None, :]].reshape(9, 9)
