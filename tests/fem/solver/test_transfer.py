"""The corner level: what it can represent, and what its matrix is."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.sparse as sp

from pipeline.fem.kernels.arrays import Rows
from pipeline.fem.kernels.lanes import LANES
from pipeline.fem.mesh import Mesh
from pipeline.fem.solver.blocks import BlockMatrix
from pipeline.fem.solver.transfer import WEAK, Corners, corner_weights
from pipeline.fem.space import EDGES, Array
from pipeline.fem.stiffness import Pattern
from tests.models import end_held, own_constants, sparse, stiffness_of


def as_sparse(matrix: Rows, columns: int) -> sp.csr_array:
    blocks = sp.bsr_array(
        (matrix[2].reshape(-1, 3, 3), matrix[1], matrix[0]),
        shape=(3 * (len(matrix[0]) - 1), 3 * columns),
    )
    return sp.csr_array(blocks)


def carried(mesh: Mesh, moves: Array, turns: Array) -> Array:
    """Movements of all nodes (n, 3) from those of the corners and from turns at every corner."""
    level = Corners.of(mesh, Pattern.of(mesh))
    turning = np.unique(mesh.cells[mesh.cells_of("cortex"), :4])
    coarse = np.concatenate([moves, turns[turning]])
    return (as_sparse(level.up, len(coarse)) @ coarse.ravel()).reshape(-1, 3)


@pytest.mark.parametrize("mesh_name", ["small_straight", "small"])
def test_the_matrix_is_the_projected_one_of_all_nodes(request: pytest.FixtureRequest, mesh_name: str):
    # Galerkin: P' K P with what is held cut from P, by SciPy; weak springs hold the turns; definition.
    mesh: Mesh = request.getfixturevalue(mesh_name)
    stiffness = stiffness_of(mesh, own_constants(mesh))
    held = np.random.default_rng(2).random(mesh.nodes.shape) < 0.2  # of some nodes a component or two
    free = (~(held | end_held(mesh))).astype(float)
    level = Corners.of(mesh, stiffness.pattern).moving(free)
    count = len(level.down[0]) - 1
    assert mesh.vertex_count == len(level.moves) < count
    found = as_sparse(
        level.matrix(BlockMatrix(stiffness.pattern, stiffness.blocks.reshape(-1, 9))), count
    )
    P = as_sparse(level.up, count)
    assert abs(P[free.ravel() == 0]).max() == 0
    assert (
        abs(P[:, : free[: mesh.vertex_count].size][:, free[: mesh.vertex_count].ravel() == 0]).max()
        == 0
    )
    expected = P.T @ sparse(stiffness) @ P
    own = expected.diagonal()
    springs = np.where(np.arange(3 * count) >= 3 * mesh.vertex_count, WEAK * own, 0.0)
    expected = expected + sp.diags_array(np.where(own == 0, 1.0, springs))
    assert abs(found - expected).max() < 1e-12 * abs(expected).max()
    assert abs(as_sparse(level.down, len(mesh.nodes)) - P.T).max() == 0


def test_linear_fields_are_on_the_level(small: Mesh):
    # Barycentric coordinates reproduce linear functions, in curved cells too; middles less than
    # 0.01 mm off their chords are left on them. Definition.
    weights = corner_weights(small)
    places = weights @ small.nodes[: small.vertex_count]
    assert np.abs(places - small.nodes).max() < 0.01
    middles = np.zeros((len(small.nodes), 3))
    middles[small.cells[:, 4:]] = small.nodes[small.cells[:, EDGES]].mean(axis=2)
    off = np.linalg.norm(middles - small.nodes, axis=1)[small.vertex_count :]
    assert off.max() > 0.1  # so the mean of two corners would have missed them by as much
    assert np.allclose(weights.sum(axis=1), 1.0)


def test_rigid_motions_are_on_the_level(small: Mesh):
    # u = a + w x r, with the turn w at every corner; definition.
    shift, turn = np.array([0.3, -0.7, 1.1]), np.array([0.02, 0.05, -0.03])
    motion = shift + np.cross(turn, small.nodes)
    found = carried(small, motion[: small.vertex_count], np.tile(turn, (small.vertex_count, 1)))
    assert np.abs(found - motion).max() < 0.01 * np.linalg.norm(turn)


def test_pure_bending_is_on_the_level_where_edges_are_straight(small_straight: Mesh):
    # A beam in pure bending: u = k (z x, 0, -x²/2), turning by k x about y. Its middle lies an eighth
    # of the difference of the turns times the length off the chord (Euler and Bernoulli's beam).
    curvature, (x, _, z) = 0.01, small_straight.nodes.T
    bent = curvature * np.stack([z * x, 0 * x, -(x**2) / 2], axis=1)
    turns = curvature * np.stack([0 * x, x, 0 * x], axis=1)
    middles = small_straight.cells[small_straight.cells_of("cortex"), 4:]
    corners = small_straight.vertex_count
    found = carried(small_straight, bent[:corners], turns[:corners])
    off = np.abs(found - bent)[middles].max()
    flat = carried(small_straight, bent[:corners], 0 * turns[:corners])
    # The level's edges bow square to their length alone: what stretches along them is not there.
    assert off < 0.8 * np.abs(flat - bent)[middles].max()


def test_a_small_system_is_its_own_corner_level(small_straight: Mesh):
    # Definition.
    stiffness = stiffness_of(small_straight, own_constants(small_straight))
    level = Corners.everywhere(stiffness.pattern)
    values = stiffness.blocks.reshape(-1, 9)
    found = level.matrix(BlockMatrix(stiffness.pattern, values))
    assert np.array_equal(found[2], values)
    assert LANES == 8  # the width that the README tells
