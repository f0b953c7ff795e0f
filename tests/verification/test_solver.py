"""The solver against a direct one, and its refusal of what can move freely."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import scipy.sparse.linalg as spl

from pipeline.errors import SolveError
from pipeline.fem.loads import unit_loads
from pipeline.fem.mesh import Mesh
from pipeline.fem.solve import solve
from tests.verification.helpers import end_held, own_constants, sparse, stiffness_of, worst

TOP = np.array([0.0, 0.0, 17.0])


@pytest.mark.parametrize("mesh_name", ["small_straight", "small"])
def test_displacements_equal_a_direct_solution(request: pytest.FixtureRequest, mesh_name: str):
    # Definition; SciPy's factorisation of the same matrix.
    mesh: Mesh = request.getfixturevalue(mesh_name)
    stiffness, forces = stiffness_of(mesh, own_constants(mesh)), unit_loads(mesh, "proximal_end", TOP)
    free = ~end_held(mesh).ravel()
    expected = np.zeros((len(free), 6))
    matrix = sparse(stiffness)[free][:, free].tocsc()
    expected[free] = spl.splu(matrix).solve(forces.reshape(-1, 6)[free])
    found = solve(mesh, stiffness, forces, end_held(mesh)).displacement.reshape(-1, 6)
    for load in range(6):
        assert worst(found[:, load], expected[:, load]) < 1e-7


def test_prescribed_motion_carries_the_body_along(small: Mesh):
    # Definition: supports that move rigidly move the rest with them, without force.
    held = end_held(small)
    shift = np.array([0.3, -0.7, 1.1])[:, None]
    prescribed = held[:, :, None] * shift
    nothing = np.zeros((*small.nodes.shape, 1))
    found = solve(
        small, stiffness_of(small, own_constants(small)), nothing, held, prescribed=prescribed
    )
    np.testing.assert_allclose(found.displacement - shift, 0, atol=1e-8)


def with_copy(mesh: Mesh, shift: tuple[float, float, float]) -> Mesh:
    """A body and a copy of it that touches it nowhere; the proximal end is the copy's."""
    count, corners = len(mesh.nodes), mesh.vertex_count
    number = np.arange(count)
    own = np.where(number < corners, number, number + corners)
    other = np.where(number < corners, number + corners, number + count)
    nodes = np.empty((2 * count, 3))
    nodes[own], nodes[other] = mesh.nodes, mesh.nodes + shift
    copies = tuple(replace(part, name=f"free_{part.name}") for part in mesh.parts)
    return Mesh(
        nodes,
        np.vstack([own[mesh.cells], other[mesh.cells]]),
        np.concatenate([mesh.part_of, mesh.part_of + len(mesh.parts)]),
        mesh.parts + copies,
        {
            "distal_end": own[mesh.patches["distal_end"]],
            "middle": own[mesh.patches["proximal_end"]],
            "proximal_end": other[mesh.patches["proximal_end"]],
        },
        2 * corners,
    )


@pytest.mark.parametrize("loaded", ["middle", "proximal_end"])
def test_free_part_is_refused_loaded_or_not(small: Mesh, loaded: str):
    # Statics: no support, no answer.
    mesh = with_copy(small, (31.7, -12.1, 5.3))
    with pytest.raises(SolveError, match="free_layer_1"):
        solve(
            mesh,
            stiffness_of(mesh, own_constants(mesh)),
            unit_loads(mesh, loaded, TOP),
            end_held(mesh),
        )


@pytest.mark.parametrize("count", [1, 2])
def test_ball_joint_and_hinge_are_refused(small: Mesh, count: int):
    # Statics: one or two nodes held leave rotations free.
    held = np.zeros(small.nodes.shape, dtype=bool)
    held[np.unique(small.patches["distal_end"])[:count]] = True
    with pytest.raises(SolveError):
        solve(
            small,
            stiffness_of(small, own_constants(small)),
            unit_loads(small, "proximal_end", TOP),
            held,
        )


def test_slide_is_refused(small: Mesh):
    # Statics: nothing holds the body along its axis.
    held = end_held(small)
    held[:, 2] = False
    with pytest.raises(SolveError):
        solve(
            small,
            stiffness_of(small, own_constants(small)),
            unit_loads(small, "proximal_end", TOP),
            held,
        )
