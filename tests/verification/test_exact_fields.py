"""Fields that quadratic cells hold exactly, whatever the cells look like: errors are round-off.

The exact displacement is imposed on the outer nodes; the nodes inside must find theirs, and strains and
stresses must be exact. All parts get the same constants, each part assembled on its own, so that a part
left out, counted twice or torn from its neighbour shows too.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from geometries.materials import isotropic
from pipeline.fem.loads import rigid_modes
from pipeline.fem.mesh import Mesh
from pipeline.fem.solve import solve
from pipeline.fem.space import Array, cell_rule, shape
from pipeline.measures.field import strain_field, stress_field
from tests.verification.helpers import outer_faces, own_constants, sparse, stiffness_of, worst

ROUND_OFF = 1e-11


@dataclass(frozen=True)
class Exact:
    """A displacement field that needs no body force, and its stress."""

    E: float
    nu: float
    displacement: Callable[[Array, Array, Array], list[Array]]
    stress: Callable[[Array, Array, Array], list[Array | float]]

    def on(self, places: Array) -> tuple[Array, Array]:
        """Displacement (p, 3) and stress (p, 6) at places (p, 3)."""
        x, y, z = places.T
        zero = np.zeros(len(places))
        return (
            np.stack([zero + u for u in self.displacement(x, y, z)], axis=1),
            np.stack([zero + s for s in self.stress(x, y, z)], axis=1),
        )


# MacNeal & Harder 1985, Finite Elem Anal Des 1:3, patch test for solids; from memory. All six strains
# are 0.001, direct stress is 2000, shear stress 400.
PATCH = Exact(
    1e6,
    0.25,
    lambda x, y, z: [5e-4 * (2 * x + y + z), 5e-4 * (x + 2 * y + z), 5e-4 * (x + y + 2 * z)],
    lambda x, y, z: [2000.0, 2000.0, 2000.0, 400.0, 400.0, 400.0],  # noqa: ARG005
)
# Pure bending of curvature k: Timoshenko & Goodier, Theory of Elasticity; from memory.
K, NU = 3e-4, 0.31
BENDING = Exact(
    23_000.0,
    NU,
    lambda x, y, z: [-K / 2 * (z**2 + NU * (x**2 - y**2)), -K * NU * x * y, K * x * z],
    lambda x, y, z: [0.0, 0.0, 23_000.0 * K * x, 0.0, 0.0, 0.0],  # noqa: ARG005
)
# Torsion of twist t a length: Timoshenko & Goodier, Theory of Elasticity; from memory.
T, SHEAR = 7e-4, 41_000.0 / (2 * 1.27)
TORSION = Exact(
    41_000.0,
    0.27,
    lambda x, y, z: [-T * y * z, T * x * z, 0.0 * z],
    lambda x, y, z: [0.0, 0.0, 0.0, 0.0, SHEAR * T * x, -SHEAR * T * y],  # noqa: ARG005
)


def outer_nodes(mesh: Mesh) -> np.ndarray:
    """Which components (n, 3) belong to nodes on the outside."""
    held = np.zeros(mesh.nodes.shape, dtype=bool)
    held[np.unique(outer_faces(mesh.cells))] = True
    return held


def solve_inside(mesh: Mesh, exact: Exact) -> Array:
    """Displacements (n, 3, 1) with the exact ones imposed on the outside."""
    held = outer_nodes(mesh)
    assert held.any(axis=1).sum() < len(mesh.nodes) - 100  # enough is left to find
    imposed = exact.on(mesh.nodes)[0][:, :, None] * held[:, :, None]
    stiffness = stiffness_of(mesh, np.tile([exact.E, exact.nu], (len(mesh.parts), 1)))
    nothing = np.zeros((*mesh.nodes.shape, 1))
    return solve(mesh, stiffness, nothing, held, prescribed=imposed).displacement


def quadrature_places(mesh: Mesh) -> Array:
    """Where stress is measured (p, 3), in the order of the cells."""
    points, _ = cell_rule(2)
    return np.einsum("qn,mni->mqi", shape(points), mesh.nodes[mesh.cells]).reshape(-1, 3)


@pytest.mark.parametrize(
    ("mesh_name", "exact"),
    [
        pytest.param("small_straight", PATCH, id="patch-straight"),
        pytest.param("small", PATCH, id="patch-curved"),
        pytest.param("small_straight", BENDING, id="bending-straight"),
        pytest.param("small_straight", TORSION, id="torsion-straight"),
    ],
)
def test_field_is_found_exactly(
    request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch, mesh_name: str, exact: Exact
):
    # The solver stops at a residual of 1e-9 of the load; here it must go on to round-off.
    monkeypatch.setattr("pipeline.fem.solve.TOLERANCE", 1e-13)
    mesh: Mesh = request.getfixturevalue(mesh_name)
    found = solve_inside(mesh, exact)
    assert worst(found[:, :, 0], exact.on(mesh.nodes)[0]) < ROUND_OFF
    stress = stress_field(mesh, np.arange(len(mesh.cells)), found, isotropic(exact.E, exact.nu)).values
    assert worst(stress[:, :, 0], exact.on(quadrature_places(mesh))[1]) < ROUND_OFF


def test_patch_strains_are_one_in_a_thousand(small: Mesh):
    # MacNeal & Harder 1985 again: the engineering shears too.
    u = PATCH.on(small.nodes)[0][:, :, None]
    strain = strain_field(small, np.arange(len(small.cells)), u).values
    np.testing.assert_allclose(strain, 1e-3, rtol=1e-9)


@pytest.mark.parametrize("mesh_name", ["small_straight", "small"])
def test_rigid_motion_costs_no_force(request: pytest.FixtureRequest, mesh_name: str):
    # Definition. Two materials, curved and straight cells.
    mesh: Mesh = request.getfixturevalue(mesh_name)
    K = sparse(stiffness_of(mesh, own_constants(mesh)))
    modes = rigid_modes(mesh.nodes, np.array([1.0, -2.0, 5.0])).reshape(-1, 6)
    forces = np.linalg.norm(K @ modes, axis=0)
    assert (forces < 1e-12 * np.abs(K).max() * np.linalg.norm(modes, axis=0)).all()


def test_exactly_six_motions_cost_no_force(tiny: Mesh):
    # Definition: one more would be a mechanism of a cell, one less a support that nobody asked for.
    values = np.linalg.eigvalsh(sparse(stiffness_of(tiny, own_constants(tiny))).toarray())
    assert (np.abs(values[:6]) < 1e-12 * values[-1]).all()
    assert values[6] > 1e-6 * values[-1]
