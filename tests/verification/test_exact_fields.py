"""Fields that quadratic cells hold exactly, whatever the cells look like: errors are round-off.

The exact displacement is imposed on the outer nodes; the nodes inside must find theirs, and strains and
stresses must be exact. All parts get the same constants, each part assembled on its own, so that a part
left out, counted twice or torn from its neighbour shows too.
"""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.fem.loads import rigid_modes
from pipeline.fem.mesh import Mesh
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.measures.field import strain_field
from pipeline.verification.body import Body
from pipeline.verification.exact import BENDING, PATCH, TORSION, Exact, misfit
from tests.models import case_of, geometry_of, own_constants, sparse, specimen, stiffness_of

ROUND_OFF = 1e-11


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
    monkeypatch.setattr("pipeline.fem.solver.solve.TOLERANCE", 1e-13)
    mesh: Mesh = request.getfixturevalue(mesh_name)
    body = Body(mesh, ((exact.E, exact.nu),) * len(mesh.parts))
    assert len(np.unique(body.outside)) < len(mesh.nodes) - 100  # enough is left to find
    displacement, stress = misfit(body, exact)
    assert displacement < ROUND_OFF
    assert stress < ROUND_OFF


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


def test_exactly_six_motions_cost_no_force():
    # Definition: one more would be a mechanism of a cell, one less a support that nobody asked for.
    case = case_of(specimen(7.0, 2.0, (9.0, 0.0, "steel")), "coarse")  # small enough for dense matrices
    tiny = build_mesh(geometry_of(case), "coarse")
    values = np.linalg.eigvalsh(sparse(stiffness_of(tiny, own_constants(tiny))).toarray())
    assert (np.abs(values[:6]) < 1e-12 * values[-1]).all()
    assert values[6] > 1e-6 * values[-1]
