"""The solver against a direct one, and its refusal of what can move freely."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
import scipy.sparse.linalg as spl

from pipeline.errors import SolveError
from pipeline.fem.kernels.lanes import LANES
from pipeline.fem.loads import unit_loads
from pipeline.fem.mesh import Mesh, MeshPart, cell_volumes
from pipeline.fem.solver.blocks import BlockMatrix
from pipeline.fem.solver.solve import solve
from pipeline.fem.space import EDGES
from tests.models import end_held, own_constants, sparse, stiffness_of, worst

TOP = np.array([0.0, 0.0, 17.0])
SOFT_ROUND_STIFF = np.array([[0.1, 0.45], [230_000.0, 0.29]])
STIFF_ROUND_SOFT = SOFT_ROUND_STIFF[::-1]


@pytest.mark.parametrize("up_to", [0, 10**9], ids=["iterative", "direct"])
@pytest.mark.parametrize("mesh_name", ["small_straight", "small"])
@pytest.mark.parametrize("constants", [None, SOFT_ROUND_STIFF, STIFF_ROUND_SOFT])
def test_displacements_equal_a_direct_solution(
    request: pytest.FixtureRequest,
    monkeypatch: pytest.MonkeyPatch,
    constants: np.ndarray | None,
    mesh_name: str,
    up_to: int,
):
    # Definition; SciPy's factorisation of the same matrix.
    monkeypatch.setattr("pipeline.fem.solver.solve.DIRECT_UP_TO", up_to)
    mesh: Mesh = request.getfixturevalue(mesh_name)
    constants = own_constants(mesh) if constants is None else constants
    stiffness, forces = stiffness_of(mesh, constants), unit_loads(mesh, "proximal_end", TOP)
    free = ~end_held(mesh).ravel()
    expected = np.zeros((len(free), 6))
    matrix = sparse(stiffness)[free][:, free].tocsc()
    expected[free] = spl.splu(matrix).solve(forces.reshape(-1, 6)[free])
    solution = solve(mesh, stiffness, forces, end_held(mesh))
    assert (solution.iterations == 0) == (up_to > 0)
    found = solution.displacement.reshape(-1, 6)
    for load in range(6):
        assert worst(found[:, load], expected[:, load]) < 1e-7


def test_superposed_loads_equal_a_direct_solution(small: Mesh):
    # Linearity; definition.
    stiffness, held = stiffness_of(small, own_constants(small)), end_held(small)
    forces = unit_loads(small, "proximal_end", TOP)
    shares = np.array([31.0, -17.0, -730.0, 2100.0, -900.0, 5300.0])
    together = solve(small, stiffness, (forces @ shares)[:, :, None], held).displacement[:, :, 0]
    superposed = solve(small, stiffness, forces, held).displacement @ shares
    assert worst(superposed, together) < 1e-8


def test_more_loads_than_lanes_are_solved_in_turns(small: Mesh):
    # Definition: twelve loads at once are six and six.
    stiffness, held = stiffness_of(small, own_constants(small)), end_held(small)
    forces = unit_loads(small, "proximal_end", TOP)
    both = solve(small, stiffness, np.concatenate([forces, 2 * forces], axis=2), held)
    assert worst(both.displacement[:, :, 6:], 2 * both.displacement[:, :, :6]) < 1e-8


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
    with pytest.raises(
        SolveError, match=r"free_layer_1.* slide along the shaft.* turn about the shaft"
    ):
        solve(
            mesh,
            stiffness_of(mesh, own_constants(mesh)),
            unit_loads(mesh, loaded, TOP),
            end_held(mesh),
        )


@pytest.mark.parametrize(
    ("components", "motion"),
    [
        ([0, 1], "slide along the shaft$"),
        ([1, 2], "slide medially$"),
        ([2], "can slide medially, slide anteriorly, turn about the shaft$"),
        ([], "turn about the shaft$"),
    ],
)
def test_the_free_motion_is_named(small: Mesh, components: list[int], motion: str):
    # Statics: which of the six rigid motions a support leaves.
    held = end_held(small) & np.isin(np.arange(3), components)
    with pytest.raises(SolveError) as caught:
        solve(
            small,
            stiffness_of(small, own_constants(small)),
            unit_loads(small, "proximal_end", TOP),
            held,
        )
    assert re.search(motion, str(caught.value).split(" (a mechanism)")[0])


@pytest.mark.parametrize("count", [1, 2])
def test_ball_joint_and_hinge_are_refused(small: Mesh, count: int):
    # Statics: one or two nodes held leave rotations free.
    held = np.zeros(small.nodes.shape, dtype=bool)
    held[np.unique(small.patches["distal_end"])[:count]] = True
    with pytest.raises(SolveError, match="can turn about"):
        solve(
            small,
            stiffness_of(small, own_constants(small)),
            unit_loads(small, "proximal_end", TOP),
            held,
        )


def test_a_hinge_inside_a_body_is_refused():
    # Statics: two cells that share an edge alone turn about it, though one of them is held.
    corners = np.array([[0, 0, 0], [1.1, 0, 0], [0, 1.3, 0], [0.2, 0.1, 1.2], [0.4, -1.4, 0.1],
                        [0.3, -0.9, -1.3]])  # fmt: skip
    tetrahedra = np.array([[0, 1, 2, 3], [0, 1, 4, 5]])
    ends = np.sort(tetrahedra[:, EDGES].reshape(-1, 2), axis=1)
    pairs, middle = np.unique(ends, axis=0, return_inverse=True)
    nodes = np.vstack([corners, corners[pairs].mean(axis=1)])
    cells = np.hstack([tetrahedra, len(corners) + middle.reshape(2, 6)])
    part = MeshPart("both", "cortex", "cortical", float(cell_volumes(nodes[cells]).sum()))
    mesh = Mesh(nodes, cells, np.zeros(2, dtype=int), (part,), {}, len(corners))
    held = np.zeros(nodes.shape, dtype=bool)
    held[cells[0]] = True
    forces = np.zeros((*nodes.shape, 1))
    forces[5, 2] = 1.0
    with pytest.raises(SolveError, match="mechanism inside"):
        solve(mesh, stiffness_of(mesh, own_constants(mesh)), forces, held)


def test_a_shift_strains_nothing_to_the_last_digit(small: Mesh):
    # A stiffness has no force for a movement of all nodes alike; a body on soft tissue moves so, and
    # far, and its forces would drown in what rounding leaves. Definition.
    stiffness = stiffness_of(small, own_constants(small))
    K = BlockMatrix(stiffness.pattern, stiffness.blocks.reshape(-1, 9))
    shift = np.broadcast_to(np.array([1.7, -0.3, 2.9])[:, None], (len(small.nodes), 3, LANES)).copy()
    assert (K @ shift == 0).all()
    moved = np.random.default_rng(3).standard_normal(shift.shape)
    expected = sparse(stiffness) @ moved.reshape(-1, LANES)
    assert worst((K @ moved).reshape(-1, LANES), expected) < 1e-12
