"""The quadratic tetrahedron: shape functions, quadrature, Jacobians, strains.

Shape functions and rules come from scikit-fem. A cell has ten nodes: four corners, then the middles
of the edges 01, 12, 02, 03, 13, 23. Strains and stresses are vectors of six in the order
xx, yy, zz, xy, yz, zx with engineering shears.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from skfem import MeshTet
from skfem.element import ElementTetP2, ElementTriP2
from skfem.quadrature import get_quadrature
from skfem.refdom import RefTet, RefTri

from pipeline.fem.kernels.arrays import Array as Array
from pipeline.fem.kernels.arrays import Flags as Flags
from pipeline.fem.kernels.arrays import Ints as Ints
from pipeline.fem.kernels.cells import strain_within

EDGES = np.array([[0, 1], [1, 2], [0, 2], [0, 3], [1, 3], [2, 3]])
FACES = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
FACE_NODES = np.array([[0, 2, 1, 6, 5, 4], [0, 1, 3, 4, 8, 7], [0, 3, 2, 7, 9, 6], [1, 2, 3, 5, 9, 8]])
"""Corners, then edge middles, of each face, turned so that its normal points out of the cell."""


@cache
def cell_rule(order: int) -> tuple[Array, Array]:
    """Points (q, 3) and weights (q,) on the reference tetrahedron, exact to a polynomial order."""
    points, weights = get_quadrature(RefTet, order)
    return np.ascontiguousarray(points.T), weights


@cache
def fine_rule(times: int) -> tuple[Array, Array]:
    """A rule of order 2 in each of the 8ᵗ cells that the reference tetrahedron is split into."""
    points, weights = cell_rule(2)
    mesh = MeshTet.init_refdom().refined(times)
    first, *others = mesh.p.T[mesh.t]  # corners of each cell (8ᵗ, 3)
    edges = np.stack([other - first for other in others], axis=1)
    places = first[:, None] + points @ edges
    return places.reshape(-1, 3), np.tile(weights, len(first)) / len(first)


@cache
def face_rule(order: int) -> tuple[Array, Array]:
    """Points (q, 2) and weights (q,) on the reference triangle, exact to a polynomial order."""
    points, weights = get_quadrature(RefTri, order)
    return np.ascontiguousarray(points.T), weights


def cell_nodes() -> Array:
    """Where the ten nodes of a cell lie on the reference tetrahedron (10, 3)."""
    return np.array(ElementTetP2().doflocs)


def shape(points: Array) -> Array:
    """Shape functions of a cell (q, 10) at reference points (q, 3), or of a face (q, 6) at (q, 2)."""
    element, count = (ElementTetP2(), 10) if points.shape[1] == 3 else (ElementTriP2(), 6)
    return np.stack([element.lbasis(points.T, i)[0] for i in range(count)], axis=1)


def shape_gradients(points: Array) -> Array:
    """Reference gradients: (q, 10, 3) in a cell, (q, 6, 2) on a face."""
    element, count = (ElementTetP2(), 10) if points.shape[1] == 3 else (ElementTriP2(), 6)
    columns = [np.asarray(element.lbasis(points.T, i)[1]) for i in range(count)]
    return np.stack([np.broadcast_to(c, points.T.shape) for c in columns]).transpose(2, 0, 1)


def jacobians(corners: Array, points: Array) -> Array:
    """Jacobian matrices of cells.

    Parameters
    ----------
    corners : Array
        Node positions (m, 10, 3), mm.
    points : Array
        Reference points (q, 3).

    Returns
    -------
    Array
        (m, q, 3, 3), entry [i, j] = dx_i / dX_j.
    """
    return np.einsum("mni,qnj->mqij", corners, shape_gradients(points), optimize=True)


def determinants(matrices: Array) -> Array:
    """Determinants of 3 by 3 matrices (..., 3, 3), by the rule of Sarrus."""
    a, b, c = matrices[..., 0, :], matrices[..., 1, :], matrices[..., 2, :]
    return np.einsum("...i,...i->...", a, np.cross(b, c))


def inverses(matrices: Array) -> tuple[Array, Array]:
    """Inverses (..., 3, 3) and determinants (...) of 3 by 3 matrices."""
    a, b, c = matrices[..., 0, :], matrices[..., 1, :], matrices[..., 2, :]
    columns = np.stack([np.cross(b, c), np.cross(c, a), np.cross(a, b)], axis=-1)
    det = np.einsum("...i,...i->...", a, columns[..., 0])
    return columns / det[..., None, None], det


def gradients(corners: Array, points: Array) -> tuple[Array, Array]:
    """Physical gradients (m, q, 10, 3) of the shape functions and Jacobian determinants (m, q)."""
    inverse, det = inverses(jacobians(corners, points))
    return np.einsum("qnj,mqji->mqni", shape_gradients(points), inverse, optimize=True), det


def strains(nodes: Array, cells: Ints, displacement: Array, points: Array) -> tuple[Array, Array]:
    """Small strains of cells at reference points, and what their Jacobians measure.

    Parameters
    ----------
    nodes : Array
        Positions (n, 3), mm.
    cells : Ints
        Node numbers (m, 10).
    displacement : Array
        Of the nodes (n, 3, loads), mm.
    points : Array
        Reference points (q, 3).

    Returns
    -------
    strain : Array
        (m, q, 6, loads): xx, yy, zz, xy, yz, zx, engineering shears.
    det : Array
        Determinants (m, q) of the Jacobians.
    """
    moved = np.ascontiguousarray(displacement, dtype=float)
    return strain_within(nodes, cells, _slopes(points.astype(float).tobytes()), moved)


@cache
def _slopes(points: bytes) -> Array:
    """Reference gradients (q, 10, 3) at points (q, 3), which are the same ones over and over."""
    return np.ascontiguousarray(shape_gradients(np.frombuffer(points).reshape(-1, 3)))


def face_measure(corners: Array, points: Array) -> tuple[Array, Array]:
    """Area element (k, q) and unit normal (k, q, 3) of faces (k, 6, 3) at reference points (q, 2)."""
    tangents = np.einsum("kni,qnj->kqij", corners, shape_gradients(points), optimize=True)
    normal = np.cross(tangents[..., 0], tangents[..., 1])
    area = np.linalg.norm(normal, axis=-1)
    return area, normal / area[..., None]
