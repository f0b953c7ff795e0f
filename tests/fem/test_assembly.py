"""Assembly against scikit-fem's own elasticity form, and against what the sum must not depend on."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.sparse as sp
from scipy.spatial import cKDTree
from skfem import Basis, ElementTetP2, ElementVector, MeshTet1, MeshTet2
from skfem.models.elasticity import lame_parameters, linear_elasticity

from geometries.materials import isotropic
from pipeline.fem import stiffness as elastic
from pipeline.fem.mesh import Mesh
from tests.models import own_constants, sparse, stiffness_of

E, NU = 23_000.0, 0.31


def straight_basis(mesh: Mesh) -> Basis:
    corners = mesh.nodes[: mesh.vertex_count].T.copy()
    return Basis(
        MeshTet1(corners, mesh.cells[:, :4].T.copy()), ElementVector(ElementTetP2()), intorder=2
    )


def curved_basis(mesh: Mesh) -> Basis:
    whole = MeshTet2(mesh.nodes.T.copy(), mesh.cells.T.copy())
    return Basis(whole, ElementVector(ElementTetP2()), intorder=4)


def unknowns(basis: Basis, nodes: np.ndarray) -> np.ndarray:
    """Our number of each of scikit-fem's unknowns: node by place, component by its own numbering."""
    distance, node = cKDTree(nodes).query(basis.doflocs.T)
    assert distance.max() < 1e-9
    component = np.full(basis.N, -1)
    for group in (basis.nodal_dofs, basis.edge_dofs):
        for axis in range(3):
            component[group[axis]] = axis
    numbers = 3 * node + component
    assert np.array_equal(np.sort(numbers), np.arange(3 * len(nodes)))
    return numbers


@pytest.mark.parametrize(
    ("mesh_name", "basis_of"),
    [
        pytest.param("small_straight", straight_basis, id="straight"),
        pytest.param("small", curved_basis, id="curved"),
    ],
)
def test_matrix_equals_scikit_fem(request: pytest.FixtureRequest, mesh_name: str, basis_of):
    # Gustafsson & McBain 2020, J Open Source Softw 5:2369: an independent assembly of the same form.
    mesh: Mesh = request.getfixturevalue(mesh_name)
    basis = basis_of(mesh)
    theirs = sp.coo_array(linear_elasticity(*lame_parameters(E, NU)).assemble(basis))
    numbers = unknowns(basis, mesh.nodes)
    moved = (theirs.data, (numbers[theirs.row], numbers[theirs.col]))
    ours = sparse(stiffness_of(mesh, np.tile([E, NU], (len(mesh.parts), 1))))
    difference = abs(ours - sp.csr_array(moved, shape=ours.shape)).max()
    assert difference < 1e-12 * abs(ours).max()


def test_matrix_is_symmetric(small: Mesh):
    # Betti's reciprocity; definition.
    K = sparse(stiffness_of(small, own_constants(small)))
    assert abs(K - K.T).max() < 1e-14 * abs(K).max()


def test_sum_does_not_depend_on_order_or_batches(small: Mesh, monkeypatch: pytest.MonkeyPatch):
    # Definition of a sum: parts in any order, each in small batches.
    constants = own_constants(small)
    expected = sparse(stiffness_of(small, constants))
    monkeypatch.setattr(elastic, "CHUNK", 37)
    elasticity = np.stack([isotropic(*pair) for pair in constants])
    backwards = range(len(elasticity) - 1, -1, -1)
    other = elastic.assemble(small, elastic.Pattern.of(small), elasticity, backwards)
    assert abs(sparse(other) - expected).max() < 1e-14 * abs(expected).max()


def test_whole_is_the_sum_of_moduli_times_parts(small: Mesh):
    # Linearity of the energy in Young's modulus; definition.
    constants, pattern = own_constants(small), elastic.Pattern.of(small)
    at_one = np.stack([isotropic(1.0, poisson) for _, poisson in constants])
    total = sum(
        (modulus * elastic.assemble(small, pattern, at_one, [part])
         for part, (modulus, _) in enumerate(constants)),
        start=0.0 * elastic.assemble(small, pattern, at_one, []),
    )  # fmt: skip
    expected = stiffness_of(small, constants, pattern)
    assert abs(total.blocks - expected.blocks).max() < 1e-13 * abs(expected.blocks).max()
